"""What bounds the feed and the speed of a tool: each limit told as the feed it allows over the programmed one.

Law: at one speed every force, torque and power of the load model goes with the chip as c^(1−mc) (specific force
kc1.1·h^(−mc)), chips go with c, power also with the speed. Limits are taken at the highest load of the coefficients' band.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import DESIGN_MM
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.nouns.feeds import FeedLimit
from halfthou.nouns.job import Job
from halfthou.nouns.moves import MoveList
from halfthou.physics.spindle import curve_at
from halfthou.prove.load_tool import LoadTool
from halfthou.prove.loads import LoadRun

F8 = NDArray[np.float64]
Key = tuple[int, int]  # operation, tool number


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """Depth of the cut that decides on chatter, and where chatter starts there at some speed (band of the dynamics)."""

    depth_mm: float
    low_mm: float
    best_mm: float
    measured: bool  # modes from a tap test
    move: int
    words: str


Stable = Callable[[Key, float], Steady | None]  # (operation and tool, speed ratio); None: not judged

MOST_RATIO = 1.5
"""Most a word is raised in one step when the tool's chip range is stated (our rule, no source): try, look, ask again."""
BLIND_RATIO = 1.2
"""The same when it is not stated: what the edge stands is then not known (our rule, no source)."""
LEAST_RATIO = 0.5
"""Below this share of the feed it is not the feed that has to change (our rule, no source)."""
SMALL_RATIO = 0.03
"""Changes below this are not worth a word (our rule, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedCase:
    """What suggestions are made from. engaged: tables of the places; walls u1: rows of `loads.table` whose wall stays."""

    job: Job
    moves: MoveList
    rows: tuple[slice, ...]  # of each operation
    engaged: tuple[Rows, ...]
    loads: LoadRun
    walls: NDArray[np.bool_]
    bend_limit_mm: float | None = None  # stated in the call
    stable: Stable | None = None
    stable_said: str = "stability: not judged here"


@dataclass(frozen=True, slots=True)
class Bounded:
    """One tool in one operation: its load rows and what bounds it."""

    key: Key
    table: Rows
    rpm: F8
    walls: NDArray[np.bool_]
    tool: LoadTool
    top_feed: float  # highest programmed feed, cutting or not


def speed_of(case: FeedCase, own: Bounded) -> tuple[float, str, list[str]]:
    """(ratio of speed at which an edge lasts the minutes of the material's life line, what holds it, words).

    1 where no life line is known for the tool. The line is one point and an exponent; the law knows no feed.
    """
    tool, line = own.tool.tool, case.loads.cutting.life
    if line is None:
        return 1.0, "", []
    if tool.edge != "carbide":
        said = "speed left as it is: the life line is for carbide, and the tool list does not say this tool is"
        return 1.0, "", [said]
    fastest = float(own.table["edge_mm_per_s"].max())
    if tool.life_s:  # what the shop saw at the programmed speed
        ratio = (tool.life_s / line.life_s) ** line.n
        of = "from the life in the tool list and the exponent of the life line"
    else:
        ratio, of = line.speed_mm_per_s / max(fastest, 1e-9), "the speed of the life line"
    said = f"speed for {line.life_s / 60:g} min of life is {ratio:.2f} times the programmed one ({of}; the law knows no feed)"
    held = "life"
    words = [said]
    rpm, spindle = float(own.rpm.max()), case.job.machine.spindle
    tops = [(MOST_RATIO, "step", f"a step of {MOST_RATIO:g} at a time")]
    if tool.most_rpm is not None:
        tops.append((tool.most_rpm / rpm, "marked rpm", f"the {tool.most_rpm:.0f} rpm marked on it"))
    if np.isfinite(spindle.most_rpm) and spindle.most_rpm > 0:
        tops.append((spindle.most_rpm / rpm, "spindle rpm", f"the spindle's {spindle.most_rpm:.0f} rpm"))
    top, name, why = min(tops)
    if ratio > top:
        ratio, held = max(1.0, top), name
        words.append(f"speed held by {why}")
    if ratio < max(LEAST_RATIO, spindle.least_rpm / float(own.rpm.min())):
        return 1.0, "", [*words, "speed left as it is: that is less than half of it, or below the spindle's least"]
    return (ratio, held, words) if abs(ratio - 1.0) > SMALL_RATIO else (1.0, "", words)


def limits_of(case: FeedCase, own: Bounded, speed: float) -> tuple[list[FeedLimit], list[str]]:
    """(what bounds the feed at this speed ratio, lowest first; what could not be judged)."""
    found: list[FeedLimit] = []
    open_: list[str] = []
    low, high = case.loads.cutting.spread()
    power = 1.0 / (1.0 - min(case.loads.cutting.mc, 0.95))

    def by_load(name: str, share: F8, words: str, high_: float = high, low_: float = low) -> None:
        share = np.nan_to_num(share)
        k = int(np.argmax(share))
        b = float(share[k])
        if b <= 0:
            return
        a, m, z = (speed * (1.0 / (b * x)) ** power for x in (high_, 1.0, low_))
        text = f"{_percent(b)}, up to {_percent(b * high_)} {words}"
        found.append(
            FeedLimit(name=name, used_ratio=a, best_ratio=m, most_ratio=z, move=int(own.table["move"][k]), words=text)
        )

    if case.loads.cutting.life is None:
        open_.append("life, so the speed is left as it is: the material has no life line")
    _spindle(case, own, speed, by_load, open_)
    _bending(case, own, by_load, open_)
    _chip(case, own, speed, found, open_)
    _stability(case, own, speed, found, open_)
    top = case.job.machine.feed_limit_mm_per_s
    show = Display(length_unit=case.job.length_unit)
    if top is not None:
        ratio = max(1.0, top / own.top_feed)
        found.append(_exact("machine feed", ratio, f"the machine's {show.feed(top)}"))
    else:
        open_.append("feed of the machine: not stated")
    step = MOST_RATIO if own.tool.tool.chip_high_mm else BLIND_RATIO
    found.append(_exact("step", step * min(1.0, speed), f"a step of {step:g} at a time"))
    return sorted(found, key=lambda one: one.used_ratio), open_


def _stability(case: FeedCase, own: Bounded, speed: float, found: list[FeedLimit], open_: list[str]) -> None:
    """Where chatter is likely by measured modes the feed is not raised; elsewhere stability does not bind a feed.

    The limit of depth grows with the chip as c^mc (slope of the force), so in this model a higher feed at the same
    speed never brings chatter nearer. Another speed may, which counts for measured modes; estimated lobes lie anywhere.
    """
    told = case.stable(own.key, speed) if case.stable is not None else None
    if told is None:
        open_.append(case.stable_said)
        return
    likely = told.measured and told.depth_mm > told.best_mm
    found.append(_exact("stability", speed if likely else math.inf, told.words, told.move))


def _percent(share: float) -> str:
    value = 100 * share
    return f"{value:.0f} %" if value >= 10 else f"{value:.2g} %"


def _exact(name: str, ratio: float, words: str, move: int = -1) -> FeedLimit:
    return FeedLimit(name=name, used_ratio=ratio, best_ratio=ratio, most_ratio=ratio, move=move, words=words)


ByLoad = Callable[..., None]


def _spindle(case: FeedCase, own: Bounded, speed: float, by_load: ByLoad, open_: list[str]) -> None:
    """Continuous power; peak torque against the short-time curve where there is one."""
    spindle = case.job.machine.spindle
    if not spindle.curve:
        open_.append("power and torque: the machine file states no curve of the spindle")
        return
    power, torque = np.zeros(len(own.table)), np.zeros(len(own.table))
    for rpm in np.unique(own.rpm).tolist():
        mine = own.rpm == rpm
        steady_nmm, steady_w = curve_at(spindle.curve, _within(spindle.curve, rpm * speed))
        short = spindle.short_curve
        short_nmm = curve_at(short, _within(short, rpm * speed))[0] if short else steady_nmm
        power[mine] = own.table["power_w"][mine] * speed / steady_w
        torque[mine] = own.table["peak_nm"][mine] * 1000.0 / short_nmm
    by_load("power", power, "of the continuous power")
    by_load("torque", torque, f"of the {'short-time' if spindle.short_curve else 'continuous'} torque")


def _within(curve: Sequence[tuple[float, float, float]], rpm: float) -> float:
    return min(max(rpm, curve[0][0]), curve[-1][0])


def _bending(case: FeedCase, own: Bounded, by_load: ByLoad, open_: list[str]) -> None:
    """Where the wall stays: into it against the gouge limit, off it against the left-over limit."""
    job = case.job
    stated = case.bend_limit_mm
    gouge, left = stated or job.gouge_mm or DESIGN_MM, stated or job.left_over_mm or DESIGN_MM
    bend = own.table["bend_mm"].astype(np.float64)
    share = np.where(own.walls, np.abs(bend) / np.where(bend > 0, gouge, left), 0.0)
    if not np.any(share > 0):
        if np.any(bend != 0):
            open_.append("bending: every wall it leaves is cut again later")
        return
    low, high = case.loads.cutting.spread()
    tool = own.tool
    show = Display(length_unit=job.length_unit)
    by_load(
        "bending", share, f"of {show.length(gouge)} into or {show.length(left)} off the wall it leaves ({tool.said})",
        high * tool.stiffness_n_per_mm / tool.stiffness_low_n_per_mm,
        low * tool.stiffness_n_per_mm / tool.stiffness_high_n_per_mm,
    )  # fmt: skip


def _chip(case: FeedCase, own: Bounded, speed: float, found: list[FeedLimit], open_: list[str]) -> None:
    """The chip range of the tool's maker; from feed, speed and geometry alone."""
    most = own.tool.tool.chip_high_mm
    if not most:
        open_.append("chip of one tooth: the tool list states no range")
        return
    k = int(np.argmax(own.table["chip_high_mm"]))
    thick = float(own.table["chip_high_mm"][k])
    if thick > 0:
        show = Display(length_unit=case.job.length_unit)
        words = f"{show.length(thick)} of the {show.length(most)} its maker gives"
        found.append(_exact("chip", speed * most / thick, words, int(own.table["move"][k])))
