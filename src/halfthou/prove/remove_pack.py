"""Intervals of many lines, packed end to end or as a table with room to spare."""

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.nouns.cut import SPAN

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]


def unpack_spans(
    first: I8, ends: F8, labels: NDArray[np.int32], room: int
) -> tuple[F8, F8, NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
    """Packed intervals as tables (n, room): low, high, low_move, high_move, and the count of each line."""
    n = len(first) - 1
    count = np.diff(first)
    low, high = np.zeros((n, room)), np.zeros((n, room))
    low_move, high_move = np.full((n, room), -1, dtype=np.int32), np.full((n, room), -1, dtype=np.int32)
    for k in range(int(count.max(initial=0))):
        has = np.flatnonzero(count > k)
        at = first[:-1][has] + k
        low[has, k], high[has, k] = ends[at, 0], ends[at, 1]
        low_move[has, k], high_move[has, k] = labels[at, 0], labels[at, 1]
    return low, high, low_move, high_move, count.astype(np.int32)


def pack_spans(
    low: F8, high: F8, low_move: NDArray[np.int32], high_move: NDArray[np.int32], count: NDArray[np.int32]
) -> tuple[I8, Rows]:
    """(first i8 (n+1), SPAN rows) of such tables."""
    first = np.zeros(len(count) + 1, dtype=np.int64)
    np.cumsum(count, out=first[1:])
    spans = np.zeros(int(first[-1]), dtype=SPAN)
    for k in range(int(count.max(initial=0))):
        has = np.flatnonzero(count > k)
        at = first[:-1][has] + k
        spans["low_mm"][at], spans["high_mm"][at] = low[has, k], high[has, k]
        spans["low_move"][at], spans["high_move"][at] = low_move[has, k], high_move[has, k]
    return first, spans
