"""Simulated controllers: how long a program really takes on a machine that no file describes fully.

Written from the formulas of motion time (trapezoids, S ramps, corners, look-ahead) and common practice only, apart
from the product and with habits it has no exact counterpart for: smoothing filters, ramps of constant time, torque
falling with speed, other braking than speeding up, corner rules with a stop angle, blends capped by short blocks, a
block rate, a short look-ahead, random tool changes that depend on the way round the magazine, spindles waited for or
not, time stamps that are rounded and late. Every one is drawn at random (`draw_controller`).
"""

import math
import random
from dataclasses import dataclass

import numba
import numpy as np

from tests.oracle.controller_programs import Event

TRAPEZOID, JERK, FIXED_TIME, FADING = 0, 1, 2, 3


@dataclass
class Controller:
    """One machine; mm and s."""

    rapid: tuple[float, float, float]
    feed_limit: float
    accel: np.ndarray
    brake_ratio: float
    rapid_accel_ratio: float
    arc_accel: float
    arc_jerk: float  # 0: none
    ramp: int
    ramp_q: float
    filter_s: float
    corner: int
    corner_q: float
    corner_q2: float
    stop_cosine: float
    block_s: float
    ahead: int
    rest_mixed: bool
    rest_rapids: bool
    dog_leg: bool
    settle_feed: float
    settle_rapid: float
    tick_s: float
    change_s: float
    change_spread: float
    change_step_s: float
    spindle_run_up: float
    spindle_s: float
    spindle_waits: bool
    spindle_top: float
    aux_s: float
    stamp_s: float
    late_s: float
    stamps_raw: bool
    # what the machine file says of it
    said_accel: tuple[float, float, float] | None
    said_change: float | None
    said_run_up: float | None


def draw_controller(draw: random.Random) -> Controller:
    """A machine at random."""

    def log(low: float, high: float) -> float:
        return math.exp(draw.uniform(math.log(low), math.log(high)))

    a = log(1200, 8000)
    accel = np.array([a * draw.uniform(0.85, 1.15), a * draw.uniform(0.85, 1.15), a * draw.uniform(0.6, 1.4)])
    ramp = draw.choice((TRAPEZOID, TRAPEZOID, JERK, JERK, FIXED_TIME, FADING))
    rapid = draw.choice((12000, 15000, 20000, 24000, 30000, 36000, 48000)) / 60
    corner = draw.randrange(5)
    quick = (rapid, rapid, rapid * draw.choice((0.6, 0.75, 1.0)))
    q = {TRAPEZOID: 0.0, JERK: a / log(0.02, 0.15), FIXED_TIME: log(0.02, 0.08), FADING: rapid * draw.uniform(1, 1.5)}
    filter_s = log(0.01, 0.1) if ramp in (TRAPEZOID, FADING) or draw.random() < 0.3 else 0.0
    tolerance = log(0.003, 0.06)
    corner_q = {
        0: tolerance, 1: 8 * tolerance / max(filter_s, 0.02), 2: log(3, 40), 3: tolerance,
        4: tolerance,
    }[corner]  # fmt: skip
    said = None
    if draw.random() < 0.5:
        said = tuple(float(v) * log(0.7, 1.4) for v in accel)
    change, run_up = log(1.5, 9), log(0.6, 4)
    return Controller(
        rapid=quick, feed_limit=rapid * draw.choice((0.3, 0.5, 1.0)), accel=accel, brake_ratio=draw.uniform(0.75, 1.1),
        rapid_accel_ratio=draw.choice((1.0, 1.0, draw.uniform(0.8, 1.6))), arc_accel=a * draw.uniform(0.3, 1.2),
        arc_jerk=draw.choice((0.0, a / log(0.02, 0.1))), ramp=ramp, ramp_q=q[ramp], filter_s=filter_s, corner=corner,
        corner_q=corner_q, corner_q2=a / log(0.02, 0.1),
        stop_cosine=math.cos(math.radians(draw.choice((60, 100, 135, 181)))) if corner == 3 else -2.0,
        block_s=draw.choice((0.0, log(0.0004, 0.006))), ahead=int(log(15, 800)), rest_mixed=draw.random() < 0.7,
        rest_rapids=draw.random() < 0.6, dog_leg=draw.random() < 0.2, settle_feed=draw.choice((0.0, log(0.005, 0.08))),
        settle_rapid=draw.choice((0.0, log(0.01, 0.15))), tick_s=draw.choice((0.0, 0.001, 0.002, 0.004, 0.008)),
        change_s=change, change_spread=log(0.005, 0.12), change_step_s=draw.choice((0.0, log(0.02, 0.2))),
        spindle_run_up=run_up, spindle_s=draw.choice((0.0, log(0.05, 0.4))), spindle_waits=draw.random() < 0.8,
        spindle_top=draw.choice((8000, 10000, 12000, 15000)), aux_s=draw.choice((0.0, log(0.02, 0.5))),
        stamp_s=draw.choice((0.001, 0.01, 0.01, 0.1)), late_s=draw.choice((0.0, 0.002, 0.01)),
        stamps_raw=draw.random() < 0.5, said_accel=said,
        said_change=change * log(0.7, 1.4) if draw.random() < 0.5 else None,
        said_run_up=run_up * log(0.7, 1.4) if draw.random() < 0.5 else None,
    )  # fmt: skip


@numba.njit(cache=True)
def _ramp(mode, v0, v1, a, q):
    """Time from v0 up to v1 (or mirrored down)."""
    dv = v1 - v0
    if dv <= 0.0:
        return 0.0
    if mode == 1:
        return a / q + dv / a if dv * q >= a * a else 2.0 * math.sqrt(dv / q)
    if mode == 3:
        return q / (0.6 * a) * math.log((1.0 - 0.6 * v0 / q) / (1.0 - 0.6 * v1 / q))
    return dv / a


@numba.njit(cache=True)
def _most(mode, v0, h, limit, a, q):
    """Fastest speed up to limit reached from v0 within h."""
    if limit <= v0 or 0.5 * (v0 + limit) * _ramp(mode, v0, limit, a, q) <= h:
        return limit
    low, high = v0, limit
    for _ in range(45):
        mid = 0.5 * (low + high)
        if 0.5 * (v0 + mid) * _ramp(mode, v0, mid, a, q) <= h:
            low = mid
        else:
            high = mid
    return low


@numba.njit(cache=True)
def _stretch(mode, h, v0, v1, limit, a, b, q):
    """Time over h from v0 to v1 under limit; a speeding up, b braking."""
    low, high = max(v0, v1), max(limit, v0, v1)
    way = 0.5 * ((v0 + high) * _ramp(mode, v0, high, a, q) + (v1 + high) * _ramp(mode, v1, high, b, q))
    if way > h:
        for _ in range(45):
            mid = 0.5 * (low + high)
            way = 0.5 * ((v0 + mid) * _ramp(mode, v0, mid, a, q) + (v1 + mid) * _ramp(mode, v1, mid, b, q))
            if way <= h:
                low = mid
            else:
                high = mid
        high = low
        way = 0.5 * ((v0 + high) * _ramp(mode, v0, high, a, q) + (v1 + high) * _ramp(mode, v1, high, b, q))
    return _ramp(mode, v0, high, a, q) + _ramp(mode, v1, high, b, q) + max(0.0, h - way) / high


@numba.njit(cache=True)
def _chain(mode, h, top, acc, node, brake, q, ahead, out):
    """A chain of moves from rest to rest. node: speed limits at the starts of the moves."""
    n = len(h)
    speed = np.zeros(n + 1)
    speed[:n] = node
    speed[0] = 0.0
    if ahead < n:  # must be able to stop at the end of the last move it has read
        for k in range(n):
            v = 0.0
            for i in range(min(n, k + ahead) - 1, k - 1, -1):
                v = _most(mode, v, h[i], min(speed[i] if i > k else 1e9, top[i]), acc[i] * brake, q)
            speed[k] = min(speed[k], v)
    for k in range(n - 1, -1, -1):
        speed[k] = min(speed[k], _most(mode, speed[k + 1], h[k], max(speed[k], speed[k + 1]), acc[k] * brake, q))
    for k in range(n):
        speed[k + 1] = min(speed[k + 1], _most(mode, speed[k], h[k], max(speed[k], speed[k + 1]), acc[k], q))
        out[k] = _stretch(mode, h[k], speed[k], speed[k + 1], top[k], acc[k], acc[k] * brake, q)


class _Path:
    """Moves of one rest-to-rest chain, gathered."""

    def __init__(self) -> None:
        self.moves: list[int] = []


def _tangents(events: list[Event]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Length, first and last direction, radius, largest part on each axis."""
    n = len(events)
    h, first, last, radius, part = np.zeros(n), np.zeros((n, 3)), np.zeros((n, 3)), np.full(n, np.inf), np.zeros((n, 3))
    for k, e in enumerate(events):
        if e.kind not in ("rapid", "line", "arc"):
            continue
        d = np.subtract(e.end, e.start)
        if e.kind != "arc":
            h[k] = math.sqrt(float(d @ d))
            if h[k] > 0:
                first[k] = last[k] = d / h[k]
                part[k] = np.abs(first[k])
            continue
        r = math.hypot(e.start[0] - e.centre[0], e.start[1] - e.centre[1])
        a0 = math.atan2(e.start[1] - e.centre[1], e.start[0] - e.centre[0])
        flat = abs(e.sweep) * r
        h[k] = math.hypot(flat, d[2])
        c, up, sign = flat / h[k], d[2] / h[k], math.copysign(1, e.sweep)
        for vec, at in ((first, a0), (last, a0 + e.sweep)):
            vec[k] = (-math.sin(at) * sign * c, math.cos(at) * sign * c, up)
        part[k] = (c, c, abs(up))
        radius[k] = r / c**2
    return h, first, last, radius, part


def _limits(c: Controller, events: list[Event], h, radius, part, feed_ratio, rapid_ratio):
    """Top speed and acceleration of every move."""
    fast = np.array([e.kind == "rapid" for e in events])
    feed = np.array([e.feed for e in events]) * feed_ratio
    share = np.maximum(part, 1e-9)
    quick = (np.array(c.rapid) / share).min(axis=1)
    acc = (c.accel / share).min(axis=1)
    top = np.where(fast, quick * rapid_ratio, np.minimum(np.minimum(feed, c.feed_limit), quick))
    bent = np.isfinite(radius)
    top[bent] = np.minimum(top[bent], np.sqrt(c.arc_accel * radius[bent]))
    if c.arc_jerk > 0:
        top[bent] = np.minimum(top[bent], np.cbrt(c.arc_jerk * radius[bent] ** 2))
    if c.block_s > 0:
        top = np.minimum(top, np.maximum(h, 1e-9) / c.block_s)
    acc = np.where(fast, acc * c.rapid_accel_ratio, acc)
    if c.ramp == FIXED_TIME:  # full commanded speed in a fixed time, so slow moves speed up slowly
        acc = np.minimum(acc, np.where(fast, quick * rapid_ratio, np.maximum(feed, 1e-6)) / c.ramp_q)
    return np.maximum(top, 1e-6), acc, fast


def _nodes(c: Controller, h, first, last, acc, top) -> np.ndarray:
    """Speed limit at the start of every move from the turn there."""
    n = len(h)
    node = np.full(n, 1e9)
    if n < 2:
        return node
    a, b = last[:-1], first[1:]
    cosine = np.clip((a * b).sum(axis=1), -1, 1)
    bend = cosine < 1 - 1e-9
    s = np.sqrt(np.maximum(0.0, 0.5 * (1 + cosine)))  # sin of half the angle between the segments
    slow = np.minimum(acc[:-1], acc[1:])
    round_ = c.corner_q * s / np.maximum(1 - s, 1e-12)
    jump = np.linalg.norm(b - a, axis=1)
    axis = np.abs(b - a)
    half = 0.5 * np.minimum(h[:-1], h[1:])
    if c.corner in (0, 3):
        v = np.sqrt(slow * round_)
    elif c.corner == 1:
        v = c.corner_q / np.maximum(jump, 1e-9)
    elif c.corner == 2:
        v = (c.corner_q * np.array([1.0, 1.0, 0.8]) / np.maximum(axis, 1e-9)).min(axis=1)
    else:  # the blend may not use more than half a move; its radius limits by acceleration and by jerk
        tangent = np.sqrt(np.maximum(0.0, 1 - s * s)) / np.maximum(s, 1e-6)
        r = np.minimum(round_, half / np.maximum(tangent, 1e-9))
        v = np.minimum(np.sqrt(slow * r), np.cbrt(c.corner_q2 * r * r))
    v = np.where(cosine < c.stop_cosine, 0.0, v)
    node[1:] = np.where(bend, np.minimum(v, 1e9), 1e9)
    node[1:] = np.minimum(node[1:], np.minimum(top[:-1], top[1:]))
    return node


def _dog_leg(c: Controller, e: Event, ratio: float) -> float:
    longest = 0.0
    for i in range(3):
        way = abs(e.end[i] - e.start[i])
        if way > 0:
            a = c.accel[i] * c.rapid_accel_ratio
            longest = max(longest, _stretch(c.ramp, way, 0.0, 0.0, c.rapid[i] * ratio, a, a * c.brake_ratio, c.ramp_q))
    return longest


@dataclass
class Clocked:
    """What the clock saw: total, (time, line) at the start of every event, and true seconds of every event."""

    total_s: float
    stamps: list[tuple[float, int]]
    start_s: np.ndarray


def run(
    c: Controller, events: list[Event], draw: random.Random, feed_ratio: float = 1.0, rapid_ratio: float = 1.0
) -> Clocked:
    """Run a program once."""
    h, first, last, radius, part = _tangents(events)
    top, acc, fast = _limits(c, events, h, radius, part, feed_ratio, rapid_ratio)
    node = _nodes(c, h, first, last, acc, top)
    now, slot, rpm = 0.0, 0, 0.0
    start = np.zeros(len(events))
    pending: list[int] = []

    def flush(now: float) -> float:
        if not pending:
            return now
        i, j = pending[0], pending[-1] + 1
        out = np.zeros(j - i)
        if c.dog_leg and fast[i] and j - i == 1:
            out[0] = _dog_leg(c, events[i], rapid_ratio)
        else:
            _chain(c.ramp, h[i:j], top[i:j], acc[i:j], node[i:j].copy(), c.brake_ratio, c.ramp_q, c.ahead, out)
        starts = np.concatenate([[0.0], np.cumsum(out)])
        whole = starts[-1] + c.filter_s
        if c.tick_s > 0:
            whole = math.ceil(whole / c.tick_s) * c.tick_s
        lag = 0.0 if c.stamps_raw else 0.5 * c.filter_s
        start[i:j] = now + np.where(np.arange(j - i) > 0, starts[:-1] + lag, 0.0)
        pending.clear()
        return now + whole + (c.settle_rapid if fast[j - 1] else c.settle_feed)

    for k, e in enumerate(events):
        moving = e.kind in ("rapid", "line", "arc")
        if pending:
            was, own = fast[pending[-1]], fast[k]
            rests = not moving or (c.dog_leg and (was or own))
            rests |= moving and ((was != own and c.rest_mixed) or (was and own and c.rest_rapids))
            if rests:
                now = flush(now)
        if moving:
            if h[k] > 0:
                pending.append(k)
            start[k] = now
            continue
        start[k] = now
        if e.kind == "dwell":
            now += e.value
        elif e.kind == "change":
            step = abs(int(e.value) - slot)
            step = min(step, 24 - step)
            slot = int(e.value)
            now += c.change_s * math.exp(draw.gauss(0, c.change_spread)) + c.change_step_s * step
        elif e.kind == "spindle":
            if c.spindle_waits:
                now += c.spindle_s + c.spindle_run_up * abs(e.value - rpm) / c.spindle_top
            rpm = e.value
        elif e.kind == "aux":
            now += c.aux_s
    now = flush(now)
    stamps, seen = [], None
    for k, e in enumerate(events):
        if e.line != seen:
            late = draw.uniform(0, c.late_s)
            stamps.append((math.floor((start[k] + late) / c.stamp_s) * c.stamp_s, e.line))
            seen = e.line
    stamps.append((math.floor(now / c.stamp_s) * c.stamp_s, 0))
    return Clocked(total_s=now, stamps=stamps, start_s=np.append(start, now))
