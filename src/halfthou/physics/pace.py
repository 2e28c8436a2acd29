"""How long moves take on a machine whose habits are numbers to be found: the model behind calibration from readings.

A richer sister of `drive`: accelerations an axis, ramps rounded in a fixed time, corners of several families, arcs,
a least time a block, a short look-ahead, seconds at every rest. Every number is one entry of a parameter vector, so
that `pace_fit` can find it from readings and say how well.

Sources: trapezoid and S ramp as in `drive` (Biagiotti, Melchiorri 2008, ch. 3), with a ramp rounded in the time
t = a/j; corner rounded within d: v² = a·d·s/(1 − s), s = sin(half the angle between the segments), by plane geometry;
speed jump: v = dv/|change of direction|; look-ahead by a backward and a forward pass. Range: straight, circular or
helical blocks, constant limits inside a block.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.base.table import Rows
from halfthou.nouns.moves import Kind, MoveList

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
STILL = (Kind.DWELL, Kind.TOOL_CHANGE, Kind.STOP, Kind.DECLARED)

#: The entries of a parameter vector f8 (NAMES,), in mm and s.
NAMES = (
    "accel", "accel_x", "accel_y", "accel_z", "accel_rapid", "accel_arc", "round", "corner", "block", "rest_feed",
    "rest_rapid", "rapid", "rapid_z", "feed", "change", "run_up", "spindle", "aux", "long", "short", "arc", "fast",
    "split",
)  # fmt: skip
INDEX = {name: k for k, name in enumerate(NAMES)}
ROUNDED, JUMP, AXIS_JUMP, CUBE, CAPPED, CAPPED_CUBE = range(6)
"""Corner families: v² = c·s/(1 − s); v = c/|Δu|; v = c/largest axis of |Δu|; v³ = c·(s/(1 − s))²; the first with a
radius that fits into half of the shorter block; the same with v³ = j·r² beside v² = a·r."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """What is not a number: the corner family, where the machine comes to rest, how far it looks ahead."""

    corner: int = ROUNDED
    rest_rapid_feed: bool = True
    rest_rapid_rapid: bool = True
    dog_leg: bool = False
    blocks_ahead: int = 0  # 0: as far as needed
    fixed_time: bool = False  # ramps are not rounded; the programmed speed takes the rounding time to reach, or longer


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The moves as the model needs them; m travelling moves of n rows.

    order i8 (m,) row of each; length_mm, feed_mm_per_s, radius_mm f8 (m,); share, way_mm f8 (m,3) largest part of the
    direction on an axis, way on an axis; rest u1 (m,) 1: comes to rest before it whatever the habits; turn f8 (m,4)
    at its start: s, |Δu|, largest axis of |Δu|, 1 if straight on; fast b (m,); fixed_s, spin_ratio f8 (n,) dwell and
    share of the spindle's speed range changed; change, spins, aux f8 (n,) counts.
    """

    order: I8
    length_mm: F8
    feed_mm_per_s: F8
    radius_mm: F8
    share: F8
    way_mm: F8
    rest: NDArray[np.uint8]
    turn: F8
    fast: NDArray[np.bool_]
    fixed_s: F8
    spin_ratio: F8
    change: F8
    spins: F8
    aux: F8
    rapid_mm_per_s: F8  # f8 (3,) as the machine file says
    feed_limit_mm_per_s: float


def course_of(
    moves: MoveList, rapid_mm_per_s: F8, most_rpm: float, feed_limit_mm_per_s: float,
    feed_ratio: F8 | float = 1.0, rapid_ratio: F8 | float = 1.0,
) -> Course:  # fmt: skip
    """The course of the moves; overrides f8 (n,) or one number scale programmed feeds and the rapids' speed."""
    rows = moves.moves
    n = len(rows)
    shape = _shape(rows)
    travels = ~np.isin(rows["kind"], STILL) & (shape.length > 0)
    order = np.flatnonzero(travels).astype(np.int64)
    fast = rows["kind"][order] == Kind.RAPID
    quick = np.broadcast_to(np.asarray(rapid_ratio, float), (n,))[order]
    feed = rows["feed_mm_per_s"][order] * np.broadcast_to(np.asarray(feed_ratio, float), (n,))[order]
    before = np.concatenate([[0.0], rows["spindle_rpm"][:-1]]) if n else np.zeros(0)
    spin = np.abs(rows["spindle_rpm"] - before)
    cool = np.concatenate([[0], rows["coolant"][:-1]]) if n else np.zeros(0)
    aux = (rows["coolant"] != cool).astype(float)
    return Course(
        order=order, length_mm=shape.length[order], feed_mm_per_s=np.where(fast, quick, np.maximum(feed, 1e-6)),
        radius_mm=shape.radius[order], share=shape.share[order],
        way_mm=np.abs(rows["end_mm"] - rows["start_mm"])[order],
        rest=_rests(rows, moves.states, order, spin > 0, aux > 0), turn=_turns(shape, order), fast=fast,
        fixed_s=np.where(np.isin(rows["kind"], (Kind.DWELL, Kind.DECLARED)), rows["dwell_s"], 0.0),
        spin_ratio=np.minimum(spin / max(most_rpm, 1.0), 2.0), change=(rows["kind"] == Kind.TOOL_CHANGE).astype(float),
        spins=(spin > 0).astype(float), aux=aux, rapid_mm_per_s=rapid_mm_per_s, feed_limit_mm_per_s=feed_limit_mm_per_s,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Shape:
    length: F8
    first: F8
    last: F8
    radius: F8
    share: F8


def _shape(rows: Rows) -> _Shape:
    """Length, end directions, radius (inf for lines), largest part of the direction on each axis, of every row."""
    start, end, centre = rows["start_mm"], rows["end_mm"], rows["centre_mm"]
    delta = end - start
    length = np.linalg.norm(delta, axis=1)
    first = delta / np.where(length > 0, length, 1.0)[:, None]
    last = first.copy()
    share = np.abs(first)
    radius = np.full(len(rows), np.inf)
    for normal in (0, 1, 2):
        arcs = np.flatnonzero((rows["kind"] == Kind.ARC) & (rows["normal"] == normal))
        i, j = (normal + 1) % 3, (normal + 2) % 3
        a, b = start[arcs] - centre[arcs], end[arcs] - centre[arcs]
        r = (np.hypot(a[:, i], a[:, j]) + np.hypot(b[:, i], b[:, j])) / 2
        sweep = rows["sweep_rad"][arcs]
        around = np.maximum(np.abs(sweep) * r, 1e-12)
        whole = np.hypot(around, delta[arcs, normal])
        flat, up = around / whole, delta[arcs, normal] / whole
        length[arcs], radius[arcs] = whole, r / np.maximum(flat, 1e-9) ** 2
        angle = np.arctan2(a[:, j], a[:, i])
        for part, out in ((0.0, first), (1.0, last)):
            turned = angle + sweep * part + np.sign(sweep) * np.pi / 2
            out[arcs, i], out[arcs, j], out[arcs, normal] = np.cos(turned) * flat, np.sin(turned) * flat, up
        tangents = angle[:, None] + sweep[:, None] * np.linspace(0, 1, 33) + (np.sign(sweep) * np.pi / 2)[:, None]
        share[arcs, i] = np.abs(np.cos(tangents)).max(axis=1, initial=0.0) * flat
        share[arcs, j] = np.abs(np.sin(tangents)).max(axis=1, initial=0.0) * flat
        share[arcs, normal] = np.abs(up)
    return _Shape(length, first, last, radius, share)


def _rests(rows: Rows, states: Rows, order: I8, spins: NDArray[np.bool_], aux: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """1: comes to rest before the move for certain; 2: between rapid and feed; 4: between two rapids."""
    rest = np.zeros(len(order), dtype=np.uint8)
    if not len(order):
        return rest
    path = states["path"][rows["state"]] if len(states) else np.full(len(rows), 640)
    a, b = order[:-1], order[1:]
    kind = rows["kind"]
    hard = (b != a + 1) | (kind[a] == Kind.PROBE) | (kind[b] == Kind.PROBE) | (path[b] != 640) | spins[b] | aux[b]
    one, two = kind[a] == Kind.RAPID, kind[b] == Kind.RAPID
    rest[0] = 1
    rest[1:] = np.where(hard, 1, np.where(one & two, 4, np.where(one != two, 2, 0)))
    return rest


def _turns(shape: _Shape, order: I8) -> F8:
    turn = np.zeros((len(order), 4))
    if len(order) < 2:
        return turn
    a, b = shape.last[order[:-1]], shape.first[order[1:]]
    cosine = np.clip(np.einsum("ij,ij->i", a, b), -1.0, 1.0)
    turn[1:, 0] = np.sqrt(0.5 * (1.0 + cosine))
    turn[1:, 1] = np.linalg.norm(b - a, axis=1)
    turn[1:, 2] = np.abs(b - a).max(axis=1)
    turn[1:, 3] = turn[1:, 1] < 1e-6
    return turn


def pace_rows_s(course: Course, vector: F8, habits: Habits) -> F8:
    """Seconds of each row, f8 (n,), under a parameter vector f8 (NAMES,)."""
    out = course.fixed_s.copy()
    p = vector
    out += course.change * p[INDEX["change"]] + course.spin_ratio * p[INDEX["run_up"]]
    out += course.spins * p[INDEX["spindle"]] + course.aux * p[INDEX["aux"]]
    if len(course.order):
        seconds = np.zeros(len(course.order))
        stops = 1 | (2 if habits.rest_rapid_feed else 0) | (4 if habits.rest_rapid_rapid else 0)
        travel_s(
            course.length_mm, course.feed_mm_per_s, course.radius_mm, course.share, course.way_mm, course.rest,
            course.turn, course.fast, course.rapid_mm_per_s, course.feed_limit_mm_per_s, p, habits.corner, stops,
            habits.dog_leg, habits.blocks_ahead, habits.fixed_time, seconds,
        )  # fmt: skip
        out[course.order] += seconds
    return out


@kernel
def rounded_s(dv: float, a: float, t: float) -> float:
    """Time of a speed change dv ≥ 0 at acceleration a with the ramp rounded in t s (jerk a/t)."""
    if dv <= 0.0:
        return 0.0
    if dv >= a * t:
        return t + dv / a
    return float(2.0 * np.sqrt(dv * t / a))


@kernel
def reach(v: float, h: float, a: float, t: float) -> float:
    """Highest speed reached from v over h."""
    if t == 0.0:
        return float(np.sqrt(v * v + 2.0 * a * h))
    b = a * t
    if (2.0 * v + b) * t <= h:  # the ramp is long enough to reach the full acceleration
        return float(0.5 * (-b + np.sqrt(b * b + 4.0 * (v * v - b * v + 2.0 * a * h))))
    k = h * np.sqrt(a / t)  # (2 v + s²) s = k, s² = speed gained
    s = min(k / (2.0 * v + 1e-12), k ** (1.0 / 3.0))
    for _ in range(30):
        step = (s * (2.0 * v + s * s) - k) / (2.0 * v + 3.0 * s * s)
        s -= step
        if abs(step) <= 1e-12 * s:
            break
    return float(v + s * s)


@kernel
def stretch_s(h: float, v0: float, v1: float, most: float, a: float, t: float) -> float:
    """Time for h mm from v0 to v1 under `most`; v0 and v1 can be reached from each other over h."""
    top = max(most, v0, v1)
    up = rounded_s(top - v0, a, t)
    down = rounded_s(top - v1, a, t)
    rest = h - 0.5 * ((v0 + top) * up + (v1 + top) * down)
    if rest >= 0.0:
        return up + down + rest / top
    low = max(v0, v1)
    if t == 0.0:
        top = max(low, np.sqrt(a * h + 0.5 * (v0 * v0 + v1 * v1)))
        return float(max((2.0 * top - v0 - v1) / a, 2.0 * h / (v0 + v1 + 2.0 * top)))
    f_low = h - 0.5 * (v0 + v1) * rounded_s(abs(v1 - v0), a, t)
    if f_low <= 0.0:
        return 2.0 * h / (v0 + v1 + 1e-12)
    high, f_high, side = top, rest, 0
    for _ in range(40):  # regula falsi with halving, on way left over
        mid = low + (high - low) * f_low / (f_low - f_high)
        f_mid = h - 0.5 * ((v0 + mid) * rounded_s(mid - v0, a, t) + (v1 + mid) * rounded_s(mid - v1, a, t))
        if abs(f_mid) <= 1e-10 * h:
            break
        if f_mid > 0.0:
            low, f_low = mid, f_mid
            if side == 1:
                f_high *= 0.5
            side = 1
        else:
            high, f_high = mid, f_mid
            if side == -1:
                f_low *= 0.5
            side = -1
    return rounded_s(mid - v0, a, t) + rounded_s(mid - v1, a, t) + max(0.0, f_mid) / mid


@kernel
def corner_of(
    family: int, c: float, s: float, jump: float, axis_jump: float, half: float, a: float, t: float
) -> float:  # fmt: skip
    """Speed through a corner; see the families. half: half of the shorter block; a, t: acceleration, rounding time."""
    if jump < 1e-6:
        return 1e18
    sharp = s / max(1.0 - s, 1e-12)
    if family == 0:
        return float(np.sqrt(c * sharp))
    if family == 1:
        return c / jump
    if family == 2:
        return c / axis_jump
    if family == 3:
        return float((c * sharp**2) ** (1.0 / 3.0))
    r = min(c / a * sharp, half * 2.0 * s / jump)  # |Δu| = 2·sin(half the turn), s = its cosine
    v = np.sqrt(a * r)
    if family == 5 and t > 1e-6:
        v = min(v, (a / t * r * r) ** (1.0 / 3.0))
    return float(v)


@kernel
def travel_s(
    h: F8, feed: F8, radius: F8, share: F8, way: F8, rest: NDArray[np.uint8], turn: F8, fast: NDArray[np.bool_],
    rapid: F8, feed_limit: float, p: F8, family: int, stops: int, dog_leg: bool, ahead: int, fixed_time: bool, out: F8,
) -> None:  # fmt: skip
    """Seconds of m travelling moves, with rests; the arrays are those of `Course`, p a parameter vector."""
    m = h.shape[0]
    axis_a = np.array([p[0] * p[1], p[0] * p[2], p[0] * p[3]])
    axis_v = np.array([rapid[0] * p[11], rapid[1] * p[11], rapid[2] * p[12]])
    t, block = p[6], p[8]
    full = t
    if fixed_time:
        t = 0.0
    begin = 0
    most, a, plain = np.empty(m), np.empty(m), np.empty(m)
    speed = np.zeros(m + 1)
    for k in range(m):
        top, acc = 1e18, 1e18
        for i in range(3):
            if share[k, i] > 1e-9:
                top = min(top, axis_v[i] / share[k, i])
                acc = min(acc, axis_a[i] / share[k, i])
        if fast[k]:
            top, acc = top * feed[k], acc * p[4]
        else:
            top = min(top, feed_limit, feed[k] * p[13])
        plain[k] = h[k] / top
        if fixed_time:
            acc = min(acc, top / full)
        if radius[k] < 1e17:
            top = min(top, np.sqrt(acc * p[5] * radius[k]))
        if block > 0.0:
            top = min(top, h[k] / block)
        most[k], a[k] = top, acc
    # speed limits at the starts; 0 where it rests
    for k in range(m):
        if k == 0 or (rest[k] & stops) or (dog_leg and (fast[k] or fast[k - 1])):
            speed[k] = 0.0
        else:
            half = 0.5 * min(h[k - 1], h[k])
            v = corner_of(
                family, p[7], turn[k, 0], turn[k, 1], turn[k, 2], half, min(a[k - 1], a[k]), t
            )  # fmt: skip
            speed[k] = min(v, most[k], most[k - 1])
    if ahead > 0:
        short_sight(h, a, t, speed, ahead)
    for k in range(m - 1, 0, -1):
        if speed[k] > speed[k + 1]:
            speed[k] = min(speed[k], reach(speed[k + 1], h[k], a[k], t))
    for k in range(m):
        if speed[k + 1] > speed[k]:
            speed[k + 1] = min(speed[k + 1], reach(speed[k], h[k], a[k], t))
        if dog_leg and fast[k]:
            longest = 0.0
            for i in range(3):
                if way[k, i] > 0.0:
                    one = stretch_s(way[k, i], 0.0, 0.0, axis_v[i] * feed[k], axis_a[i] * p[4], t)
                    longest = max(longest, one)
            seconds = longest
        else:
            seconds = stretch_s(h[k], speed[k], speed[k + 1], most[k], a[k], t)
        extra = max(0.0, seconds - plain[k])
        if fast[k]:
            seconds += extra * (p[21] - 1.0)
        elif radius[k] < 1e17:
            seconds += extra * (p[20] - 1.0)
        elif h[k] < 1.0:  # dense blocks (choice of the model, no source)
            seconds += extra * (p[19] - 1.0)
        else:
            seconds += extra * (p[18] - 1.0)
        out[k] = seconds
        if k == 0 or (rest[k] & stops) or (dog_leg and (fast[k] or fast[k - 1])):
            begin = k
        if k == m - 1 or (rest[k + 1] & stops) or (dog_leg and (fast[k] or fast[k + 1])):
            still = p[10] if fast[k] else p[9]
            lead = still * p[22] / (1.0 + p[22])  # a filter delays: part of the rest shows at the start
            out[begin] += lead
            out[k] += still - lead


@kernel
def short_sight(h: F8, a: F8, t: float, speed: F8, ahead: int) -> None:
    """Limit speeds so that the machine can stop within the next `ahead` blocks."""
    m = h.shape[0]
    way = 0.0
    last = 0
    for k in range(m):
        if k > last:
            last = k
            way = 0.0
        while last < m and last < k + ahead:
            way += h[last]
            last += 1
        speed[k] = min(speed[k], reach(0.0, max(way, 1e-9), a[k], t))
        way -= h[k]
