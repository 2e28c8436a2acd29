"""Where a short line that starts in material leaves it, and which sweep it leaves into; vertices put onto surfaces.

A line leaves material where the first of all sweeps (and the outside of the raw stock) begins. Sweeps are taken in order;
one takes the end over only if it covers the line LABEL short of the end found so far, and its own beginning is then
halved down to END_MM. That is repeated until no sweep covers the end. Levels are the operations in order, each in axes
of its own (turned over, laid on the side).
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.sweep import swept
from halfthou.geometry.touch import nearest_side, side_of_sweep

F8 = NDArray[np.float64]
I1 = NDArray[np.int8]
I8 = NDArray[np.int64]

END_MM = 1e-10
UNKNOWN = -1_000_000_000  # no sweep and no raw surface was found


@kernel
def _covers(event: Any, piece: Any, segments: Any, x: float, y: float, z: float) -> bool:
    if z <= event["low_z"] or x < event["bx0"] or x > event["bx1"] or y < event["by0"] or y > event["by1"]:
        return False
    low, high = swept(event, piece, segments, x, y)
    return bool(low < z < high)


@kernel
def exits(
    a: F8, b: F8, c0: int, c1: int, turn: F8, shift: F8, low_mm: F8, side: I8, list_from: I8, first: I8, index: I8, square: float,
    events: Any, pieces: Any, segments: Any, label: float, t: F8, surface: I8, kind: I1,
) -> None:  # fmt: skip
    """Ends of the lines a[n] → b[n] (f8 (n,3)), rows c0 … c1; a in material.

    turn f8 (levels,3,3), shift (levels,3): x_level = turn · x + shift. low_mm f8 (levels,2), side i8 (levels,2): corner and
    number of the list squares; list_from i8 (levels,): where a level's squares begin in `first`; index: event rows.
    t, surface, kind come with the raw end (t 1 and UNKNOWN where b is in the raw stock) and leave as the end.
    """
    levels = turn.shape[0]
    p = np.zeros((levels, 3))
    d = np.zeros((levels, 3))
    for n in range(c0, c1):
        length = 0.0
        for r in range(3):
            length += (b[n, r] - a[n, r]) ** 2
        length = math.sqrt(length)
        if length <= 0.0:
            continue
        for v in range(levels):
            for r in range(3):
                s = shift[v, r]
                e = 0.0
                for q in range(3):
                    s += turn[v, r, q] * a[n, q]
                    e += turn[v, r, q] * (b[n, q] - a[n, q])
                p[v, r] = s
                d[v, r] = e
        end = t[n]
        if end <= 0.0:
            continue
        known = surface[n] != -1_000_000_000
        for _round in range(64):
            changed = False
            for v in range(levels):
                look = end - label / length if known else end
                if look <= 0.0:
                    break
                x = p[v, 0] + look * d[v, 0]
                y = p[v, 1] + look * d[v, 1]
                z = p[v, 2] + look * d[v, 2]
                i = int(math.floor((x - low_mm[v, 0]) / square))
                j = int(math.floor((y - low_mm[v, 1]) / square))
                if i < 0 or j < 0 or i >= side[v, 0] or j >= side[v, 1]:
                    continue
                at = list_from[v] + i * side[v, 1] + j
                for s in range(first[at], first[at + 1]):
                    e = index[s]
                    piece = pieces[events[e]["piece"]]
                    if not _covers(events[e], piece, segments, x, y, z):
                        continue
                    out = 0.0
                    in_ = look
                    while (in_ - out) * length > 1e-10:
                        middle = 0.5 * (in_ + out)
                        if _covers(
                            events[e], piece, segments, p[v, 0] + middle * d[v, 0], p[v, 1] + middle * d[v, 1],
                            p[v, 2] + middle * d[v, 2],
                        ):  # fmt: skip
                            in_ = middle
                        else:
                            out = middle
                        if in_ == out or middle == 0.0:
                            break
                    end = in_
                    surface[n] = e
                    known = True
                    changed = True
                    look = end - label / length
                    if look <= 0.0:
                        break
                    x = p[v, 0] + look * d[v, 0]
                    y = p[v, 1] + look * d[v, 1]
                    z = p[v, 2] + look * d[v, 2]
            if not changed or end <= 0.0:
                break
        t[n] = end
        e = surface[n]
        if e >= 0:
            v = 0
            while v < levels - 1 and e >= side[v, 2]:
                v += 1
            kind[n] = nearest_side(
                events[e], pieces[events[e]["piece"]], segments, p[v, 0] + end * d[v, 0], p[v, 1] + end * d[v, 1],
                p[v, 2] + end * d[v, 2],
            )  # fmt: skip


@kernel
def plane_at(
    surface: int, kind: int, x: F8, turn: F8, shift: F8, side: I8, events: Any, pieces: Any, segments: Any, raw: F8,
    raw_form: I1, out: F8,
) -> None:  # fmt: skip
    """out f8 (4,): distance of x above the surface (positive in air) and the way into the air.

    surface ≥ 0: event row with its side `kind`; −1 − k: raw surface k, a plane raw[k] = (normal, offset), or (form 1) an
    upright cylinder raw[k] = (cx, cy, r, 0). side[v, 2]: event row after the last of level v. Raw surfaces are in level 0.
    """
    v = 0
    if surface >= 0:
        while v < side.shape[0] - 1 and surface >= side[v, 2]:
            v += 1
    px = turn[v, 0, 0] * x[0] + turn[v, 0, 1] * x[1] + turn[v, 0, 2] * x[2] + shift[v, 0]
    py = turn[v, 1, 0] * x[0] + turn[v, 1, 1] * x[1] + turn[v, 1, 2] * x[2] + shift[v, 1]
    pz = turn[v, 2, 0] * x[0] + turn[v, 2, 1] * x[1] + turn[v, 2, 2] * x[2] + shift[v, 2]
    if surface >= 0:
        away, gx, gy, gz = side_of_sweep(
            events[surface], pieces[events[surface]["piece"]], segments, kind, px, py, pz
        )  # fmt: skip
        away = -away
        gx = -gx
        gy = -gy
        gz = -gz
    else:
        k = -1 - surface
        if raw_form[k] == 1:
            dx = px - raw[k, 0]
            dy = py - raw[k, 1]
            r = max(math.sqrt(dx * dx + dy * dy), 1e-12)
            away = r - raw[k, 2]
            gx = dx / r
            gy = dy / r
            gz = 0.0
        else:
            gx = raw[k, 0]
            gy = raw[k, 1]
            gz = raw[k, 2]
            away = gx * px + gy * py + gz * pz - raw[k, 3]
    out[0] = away
    for q in range(3):
        out[1 + q] = turn[v, 0, q] * gx + turn[v, 1, q] * gy + turn[v, 2, q] * gz


@kernel
def normals(
    at: F8, surface: I8, kind: I1, turn: F8, shift: F8, side: I8, events: Any, pieces: Any, segments: Any, raw: F8,
    raw_form: I1, out: F8,
) -> None:  # fmt: skip
    """out f8 (n,3): the way into the air at points on known surfaces; 0 where the surface is unknown."""
    plane = np.zeros(4)
    for n in range(at.shape[0]):
        if surface[n] == -1_000_000_000:
            continue
        plane_at(surface[n], kind[n], at[n], turn, shift, side, events, pieces, segments, raw, raw_form, plane)
        for q in range(3):
            out[n, q] = plane[1 + q]
