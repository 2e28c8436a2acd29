"""Arrays of numbers and the checks every law of number makes before it starts."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from halfthou.base.errors import CannotAnswer

Vec = NDArray[np.float64]


def vec(values: ArrayLike | Sequence[float], least: int = 1, what: str = "values") -> Vec:
    """The values as a flat array of finite floats; CannotAnswer if there are fewer than `least` or one is not finite."""
    out = np.asarray(values, dtype=np.float64).ravel()
    if out.size < least:
        raise CannotAnswer(f"{out.size} {what} given, at least {least} needed")
    if not np.all(np.isfinite(out)):
        raise CannotAnswer(f"one of the {what} is not a finite number")
    return out


def table(values: ArrayLike, columns: int, least: int, what: str = "points") -> Vec:
    """The values as an (n, columns) array of finite floats with n >= least, else CannotAnswer."""
    out = np.asarray(values, dtype=np.float64)
    if out.ndim != 2 or out.shape[1] != columns:
        raise CannotAnswer(f"{what} must come as rows of {columns} numbers, not with shape {out.shape}")
    if out.shape[0] < least:
        raise CannotAnswer(f"{out.shape[0]} {what} given, at least {least} needed")
    if not np.all(np.isfinite(out)):
        raise CannotAnswer(f"one of the {what} is not a finite number")
    return out


def positive(value: float, what: str) -> float:
    """The value if it is finite and above zero, else CannotAnswer."""
    if not (np.isfinite(value) and value > 0):
        raise CannotAnswer(f"{what} must be above zero, not {value}")
    return float(value)


def share(value: float, what: str) -> float:
    """The value if it lies strictly between 0 and 1 (a probability, coverage or confidence), else CannotAnswer."""
    if not 0.0 < value < 1.0:
        raise CannotAnswer(f"{what} must lie between 0 and 1, not {value}")
    return float(value)


def sd(values: ArrayLike | Sequence[float]) -> float:
    """Sample standard deviation (divisor n - 1), unit of the values; at least two values.

    >>> sd([1.0, 2.0, 3.0])
    1.0
    """
    return float(np.std(vec(values, 2), ddof=1))
