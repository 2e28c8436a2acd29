"""Roundings of corners as stretches of their own: a corner is driven at its speed over its whole length, not in a point.

A corner rounded with radius R takes R·cot(t/2) off both neighbours (t the angle between them) and is R·(π − t) long. Every
block becomes three pieces: half the rounding before it, what is left, half the rounding after it; the pieces of a rounding
may not be run faster than the corner's speed. In a line of several blocks a rounding may reach over more than one.
Check: never below the time-optimal library on the rounded path (tests/laws/test_motion_paths.py).
"""

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]


@kernel
def in_pieces(length: F8, most: F8, run: I8, cut: F8, arc: F8, speed: F8, out_length: F8, out_most: F8) -> None:
    """Fill out_length, out_most f8 (3n,): pieces 3k, 3k + 1, 3k + 2 of block k.

    length, most f8 (n,) of the blocks; run i8 (n,): blocks of one straight line share a number; cut, arc, speed f8 (n+1,)
    of the corner before each block (cut 0: no rounding).
    """
    n = length.shape[0]
    for k in range(n):
        out_length[3 * k] = 0.0
        out_length[3 * k + 1] = length[k]
        out_length[3 * k + 2] = 0.0
        for p in range(3):
            out_most[3 * k + p] = most[k]
    for i in range(1, n):
        if cut[i] <= 0.0:
            continue
        shrink = 0.5 * arc[i] / cut[i]  # the rounding is shorter than the two ends it replaces
        for side in range(2):
            left = cut[i]
            k = i - 1 if side == 0 else i
            own = run[k]
            while left > 1e-15 and k >= 0 and k < n and run[k] == own:
                part = min(left, out_length[3 * k + 1])
                p = 3 * k + 2 if side == 0 else 3 * k
                out_length[3 * k + 1] -= part
                out_length[p] += part * shrink
                out_most[p] = min(most[k], speed[i])
                left -= part
                k += -1 if side == 0 else 1
