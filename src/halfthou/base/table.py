"""A read-only table of rows with a declared dtype."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.void]


def dtype(*fields: tuple[str, str] | tuple[str, str, tuple[int, ...]]) -> np.dtype[Any]:
    """An aligned structured dtype from (name, format[, shape]) fields."""
    return np.dtype(list(fields), align=True)


def lock(rows: NDArray[Any]) -> NDArray[Any]:
    """The same array, read-only from now on."""
    rows.flags.writeable = False
    return rows


def empty(row: np.dtype[Any], n: int = 0) -> Rows:
    """A zeroed table of n rows, still writable; lock it when it is filled."""
    return np.zeros(n, dtype=row)
