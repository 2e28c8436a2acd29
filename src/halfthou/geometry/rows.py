"""Lower ends of one event over a row of rays at once: closed forms without branches, so that the compiler uses vectors.

Only what has a closed form without a search: level legs (and plunges) of flat, bull-nosed and conical pieces, straight
legs at any slope of balls. Everything else answers kind 0 and goes ray by ray (`sweep.swept_low`). Both give the same
heights up to rounding (tests/laws/test_rows.py).
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]

NO, FLAT, BALL, ROUND, CONE = 0, 1, 2, 3, 4  # kinds of closed form


@kernel
def form_of(event: Any, piece: Any, segments: Any, out: F8) -> int:
    """Kind of closed form; out f8 (6,): flat radius, corner radius or slope, its height, reach², z, lean."""
    if event["form"] != 0:
        return 0
    first = piece["low_first"]
    n = piece["low_last"] - first
    slope = event["slope"] if event["length"] > 0.0 else 0.0
    level = slope == 0.0
    seg = segments[first]
    out[3] = piece["reach"] * piece["reach"]
    out[4] = min(event["z0"], event["z1"]) if level else event["z0"]
    out[5] = slope / math.sqrt(1.0 + slope * slope)
    if n == 1 and seg["form"] == 1 and seg["cr"] == 0.0 and seg["ra"] == 0.0 and seg["rad"] == seg["rb"]:
        out[0] = 0.0
        out[1] = seg["rad"]
        out[2] = seg["ch"]
        return 2
    if not level:
        return 0
    if n == 1 and seg["form"] == 0 and seg["slope"] == 0.0:
        out[2] = seg["ha"]
        return 1
    at = first
    if n == 2 and seg["form"] == 0 and seg["slope"] == 0.0:
        at = first + 1
    elif n != 1:
        return 0
    seg = segments[at]
    if seg["form"] == 1 and seg["ra"] == seg["cr"]:
        out[0] = seg["cr"]
        out[1] = seg["rad"]
        out[2] = seg["ch"]
        return 3
    if seg["form"] == 0:
        out[0] = seg["ra"]
        out[1] = seg["slope"]
        out[2] = seg["ha"]
        return 4
    return 0


@kernel
def low_row(
    kind: int, form: F8, px: float, y: F8, y0: float, ux: float, uy: float, length: float, slope: float, out: F8
) -> None:
    """Lower ends out f8 (n,) over the rays (px, y[k] − y0) from the start of the leg; 1e300 where it does not reach."""
    r0 = form[0]
    r1 = form[1]
    h = form[2] + form[4]
    reach2 = form[3]
    lean = form[5]
    if kind == 2:
        for k in range(out.shape[0]):
            u = px * ux + (y[k] - y0) * uy
            v = (y[k] - y0) * ux - px * uy
            left = reach2 - v * v
            safe = left if left > 0.0 else 0.0
            at = u - lean * math.sqrt(safe)
            at = at if at > 0.0 else 0.0
            at = at if at < length else length
            q = left - (at - u) * (at - u)
            root = math.sqrt(q if q > 0.0 else 0.0)
            out[k] = h + slope * at - root if q >= 0.0 else 1e300
        return
    for k in range(out.shape[0]):
        u = px * ux + (y[k] - y0) * uy
        v = (y[k] - y0) * ux - px * uy
        at = u if u > 0.0 else 0.0
        at = at if at < length else length
        out[k] = v * v + (at - u) * (at - u)
    if kind == 1:
        for k in range(out.shape[0]):
            out[k] = h if out[k] <= reach2 else 1e300
    elif kind == 3:
        square = r1 * r1
        for k in range(out.shape[0]):
            d = out[k]
            off = math.sqrt(d) - r0
            off = off if off > 0.0 else 0.0
            q = square - off * off
            low = h - math.sqrt(q if q > 0.0 else 0.0)
            out[k] = low if d <= reach2 else 1e300
    else:
        for k in range(out.shape[0]):
            d = out[k]
            off = math.sqrt(d) - r0
            low = h + r1 * (off if off > 0.0 else 0.0)
            out[k] = low if d <= reach2 else 1e300
