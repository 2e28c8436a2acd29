"""Chatter: the depth at which each milling tool starts to vibrate by itself, against the depth it cuts.

Promise: zero-order limit for the worst cuts of each tool, the periodic limit for the one that decides, the smaller used;
a band over stiffness, frequency, damping and material. A flank that rubs on its own waves is in it only as a
threshold of their length (WAVE_MM). Not in it: runout, uneven pitch, a thin part that vibrates itself. The contact is one arc beside the wall with the area that was met.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.chatter import Chart, Chatter, Dynamics, Limit
from halfthou.nouns.job import Job
from halfthou.nouns.loads import NO_TEETH
from halfthou.nouns.material import Cutting
from halfthou.nouns.moves import MoveList
from halfthou.physics.stability import Cut, spring_mode
from halfthou.physics.stability_fast import periodic_limit
from halfthou.physics.stability_many import many_limits
from halfthou.physics.strip_force import THIN_MM, ball_lead
from halfthou.prove.dynamics import dynamics_of
from halfthou.prove.load_tool import LoadTool
from halfthou.prove.loads import AT_WALL, LoadRun

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

MEMBERS = 96  # combinations of the bands for the deciding cut
CHART = {True: (44, 24), False: (18, 72)}  # speeds and combinations of a chart; measured: narrow band, sharp lobes
QUANTILES = (0.05, 0.5, 0.95)
LEAST_TURNS = 10.0  # a cut that lasts fewer turns of the spindle has no time to build up (choice, no source)
WAVE_MM = (0.07, 0.2, 1.0)
"""Waves on the surface (cutting speed over frequency) shorter than this are taken as damped out by the flank that rubs on
them: λ = π·K·W²/(0.35·Ktc) with an indentation force K of 20 Ktc a mm and a land W of 0.02, 0.035, 0.075 mm; Ktc drops out.
All from memory, form derived."""
STILL = 1e9  # factor on the stiffness of a mode that is damped out
LEAST_DEPTH_MM = 0.01
MOST_MM = 1e3  # stands for "no limit" in bands


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cuts:
    """Distinct cuts of one tool in one operation, one row each."""

    row: I8  # of the loads table
    rpm: F8
    depth: F8
    width: F8
    arc: F8  # (n, 2)
    edge: F8  # mm/s
    ktc: F8
    lead: F8
    turns: F8
    group: I8  # of every row of the tool


def stability_limit(
    dynamics: Dynamics, teeth: int, cutting: Cutting, *, rpm: float, arc_rad: tuple[float, float], chip_mm: float,
    edge_mm_per_s: float, lead: float = 1.0, periodic: bool = True,
) -> Limit:  # fmt: skip
    """Limit depth of one cut. arc_rad: tooth angle at entry and exit from the left of the travel; chip_mm: mean chip;

    lead: mean sin κ of the edge. Ktc is the slope of the force at that chip, (1 − mc)·kc1.1·h^(−mc).
    """
    modes, scale, radial, wave = _draws(dynamics, cutting, MEMBERS)
    modes = _damped(modes, edge_mm_per_s / wave)
    nominal = _damped(np.array([dynamics.modes]), np.array([edge_mm_per_s / WAVE_MM[1]]))
    ktc = float(ktc_mpa(cutting, np.array([chip_mm]))[0])
    n = len(modes)
    arcs, speed = np.tile(np.array([arc_rad]), (n, 1)), np.full(n, rpm)
    zero, hertz, _ = many_limits(
        nominal, teeth, np.array([ktc]), np.array([cutting.radial.best * lead]), arcs[:1], speed[:1]
    )
    every, _, _ = many_limits(modes, teeth, ktc * scale, radial * lead, arcs, speed)
    low, best, high = _band(every)
    plain = float(zero[0]) if zero[0] < STILL / 1000 else math.inf
    found, said = math.nan, "not asked for" if math.isfinite(plain) else "every mode is damped out by the flank"
    if periodic and math.isfinite(plain):
        own = tuple(spring_mode(k, hz, z) for hz, k, z in nominal[0].tolist() if k < STILL)
        cut = Cut(teeth=teeth, ktc_mpa=float(ktc), ratio=cutting.radial.best * lead, arc=arc_rad, x=own, y=own)
        both = periodic_limit(cut, rpm, plain)
        found, said = both.limit_mm, both.reason
    factor = min(1.0, found / plain) if math.isfinite(found) else 1.0
    return Limit(
        best_mm=factor * best, low_mm=factor * low, high_mm=high, zero_order_mm=plain, periodic_mm=found,
        periodic_said=said, vibration_hz=float(hertz[0]),
    )  # fmt: skip


def ktc_mpa(cutting: Cutting, chip_mm: F8) -> F8:
    """Slope of the cutting force over chip thickness at a mean chip: (1 − mc)·kc1.1·h^(−mc), MPa.

    Chips thinner than the coefficients were taken at get the slope at that end: what kc grows by below it is the force
    of the edge itself, which does not follow the vibration (edge-force model, edge_force.py).
    """
    slope: F8 = (1.0 - cutting.mc) * cutting.kc11_mpa.best * np.clip(chip_mm, *cutting.chip_mm) ** (-cutting.mc)
    return slope


def _band(limits: F8) -> tuple[float, float, float]:
    low, best, high = np.quantile(np.minimum(limits, MOST_MM), QUANTILES)
    return float(low), float(best), float(high)


def _damped(modes: F8, most_hertz: F8) -> F8:
    """Modes f8 (n, k, 3) with those above a frequency f8 (n,) held still."""
    out = modes.copy()
    out[..., 1] *= np.where(modes[..., 0] > most_hertz[:, None], STILL, 1.0)
    return out


def _draws(dynamics: Dynamics, cutting: Cutting, count: int) -> tuple[F8, F8, F8, F8]:
    """Combinations: (modes f8 (n, k, 3), factor on Ktc, radial share, length of damped waves mm), even over their bands.

    A fixed additive sequence (no chance); logarithmic between low and high, half of each on its side of the best.
    """
    k = len(dynamics.modes)
    golden = 1.0
    for _ in range(40):  # positive root of x^(d + 1) = x + 1
        golden = (1.0 + golden) ** (1.0 / (k + 6.0))
    share = np.mod(0.5 + np.outer(np.arange(1, count + 1), golden ** -np.arange(1.0, k + 6.0)), 1.0)

    def spread(column: int, low: float, high: float) -> F8:
        side = np.where(share[:, column] < 0.5, math.log(low), math.log(high))
        return np.asarray(np.exp(np.abs(2 * share[:, column] - 1) * side))

    modes = np.tile(np.array([dynamics.modes]), (count, 1, 1))
    hertz, damping = spread(k, *dynamics.hertz_band_ratio), spread(k + 1, *dynamics.damping_band_ratio)
    for m, band in enumerate(dynamics.stiffness_bands_ratio):
        stiff = spread(m, *band)
        modes[:, m, 0] *= hertz if dynamics.measured else hertz * np.sqrt(stiff)
        modes[:, m, 1] *= stiff
        modes[:, m, 2] *= damping
    r = cutting.radial
    radial = r.best * spread(k + 3, r.low / r.best, r.high / r.best)
    low, best, high = WAVE_MM
    return modes, spread(k + 2, *cutting.spread()), radial, best * spread(k + 4, low / best, high / best)


def chatter_of(
    run: LoadRun, moves: MoveList, job: Job, watch: Watch = QUIET
) -> tuple[tuple[Chatter, ...], tuple[str, ...]]:
    """(one entry a milling tool and operation in the order of use, what was not judged)."""
    found: list[Chatter] = []
    keys = np.stack([run.table["op"], run.table["tool"]], axis=1).astype(np.int64)
    order = list(dict.fromkeys(map(tuple, keys.tolist())))
    known: dict[int, Dynamics] = {}
    for done, (op, number) in enumerate(order):
        watch.step("chatter", done, len(order))
        mine = np.flatnonzero((keys[:, 0] == op) & (keys[:, 1] == number))
        tool = next(t for t in run.tools if t.tool.number == number)
        cuts = _cuts(run, moves, mine, tool)
        if cuts is None:
            continue
        if number not in known:
            known[number] = dynamics_of(tool, job)
        one = _judge(run, cuts, tool, known[number], job, op, mine)
        if one is not None:
            found.append(one)
    said = ["chatter: a thin part or clamping that vibrates itself, runout and uneven teeth"] if found else []
    return tuple(found), tuple(said)


def _cuts(run: LoadRun, moves: MoveList, mine: I8, tool: LoadTool) -> _Cuts | None:
    """The distinct side cuts of a tool; None when it takes none or its teeth are not known."""
    table = run.table[mine]
    some = np.flatnonzero(
        (table["way"] != 2) & ((table["inside"] & NO_TEETH) == 0) & (table["depth_mm"] > LEAST_DEPTH_MM)
    )
    if not len(some) or tool.teeth == 0 or tool.tool.kind == "tap":
        return None
    table, engaged, move = table[some], run.engaged[mine[some]], moves.moves[table["move"][some]]
    depth = table["depth_mm"].astype(np.float64)
    corner = tool.tool.diameter_mm / 2 if tool.tool.kind == "ball" else tool.tool.corner_mm
    inner = engaged["reach_mm"].astype(np.float64) - corner
    low = np.minimum(depth, corner)
    radius = np.maximum(inner + np.sqrt(np.maximum(0.0, 2 * corner * low - low * low)), 1e-3)
    area = table["mm3_per_s"] / np.maximum(move["feed_mm_per_s"], 1e-9)
    width = np.minimum(area / depth, 2 * radius)
    arc = _arcs(engaged, width, radius, tool.tool.left_hand)
    ok = (width > 1e-3 * radius) & (arc[:, 1] - arc[:, 0] > 1e-3)
    if not ok.any():
        return None
    chip = table["chip_mean_mm"].astype(np.float64)
    rpm = np.abs(move["spindle_rpm"]).astype(np.float64)
    key = np.stack(
        [rpm, np.round(40 * width / radius), np.round(arc[:, 0] * 20), np.round(np.log(depth) / 0.05),
         np.round(np.log(np.maximum(chip, THIN_MM)) / 0.1), ~ok], axis=1,
    )  # fmt: skip
    _, group = np.unique(key, axis=0, return_inverse=True)
    group = group.reshape(-1)
    deepest = np.lexsort((-width, -depth, group))
    first = deepest[np.unique(group[deepest], return_index=True)[1]]
    turns = np.bincount(group, weights=table["time_s"] * rpm / 60.0)
    own = first[ok[first]]
    index = np.full(len(first), -1, dtype=np.int64)
    index[group[own]] = np.arange(len(own))
    lead = ball_lead(depth[own], corner) * math.sin(tool.lead_rad)
    return _Cuts(
        row=mine[some[own]], rpm=rpm[own], edge=table["edge_mm_per_s"][own].astype(np.float64), depth=depth[own], width=width[own], arc=arc[own],
        ktc=ktc_mpa(run.cutting, chip[own]), lead=lead, turns=turns[group[own]], group=_spread_out(index[group], some, len(mine)),
    )  # fmt: skip


def _spread_out(group: I8, some: I8, count: int) -> I8:
    out = np.full(count, -1, dtype=np.int64)
    out[some] = group
    return out


def _arcs(engaged: np.ndarray, width: F8, radius: F8, left_hand: bool) -> F8:
    """Entry and exit of a tooth, rad from the left of the travel (clockwise tool), f8 (n, 2): one arc at the wall it meets."""
    right, left = engaged["right"].astype(np.float64), engaged["left"].astype(np.float64)
    if left_hand:
        right, left = -left, -right
    share = width / radius
    middle = np.clip(0.5 * (right + left), -1 + share / 2, 1 - share / 2)
    at_right, at_left = right <= -AT_WALL, left >= AT_WALL
    low = np.where(at_right & ~at_left, -1.0, np.where(at_left & ~at_right, 1.0 - share, middle - share / 2))
    low = np.clip(low, -1.0, 1.0)
    high = np.clip(low + share, -1.0, 1.0)
    return np.stack([math.pi / 2 - np.arcsin(high), math.pi / 2 - np.arcsin(low)], axis=1)


def _judge(
    run: LoadRun, cuts: _Cuts, tool: LoadTool, dynamics: Dynamics, job: Job, op: int, mine: I8
) -> Chatter | None:
    """The deciding cut of a tool: the deepest against its limit that lasts LEAST_TURNS, those as bad counted in."""
    n = len(cuts.row)
    free = np.tile(np.array([dynamics.modes]), (n, 1, 1))
    for modes in (_damped(free, cuts.edge / WAVE_MM[1]), free):
        limit, _, least = many_limits(
            modes, tool.teeth, cuts.ktc, run.cutting.radial.best * cuts.lead, cuts.arc, cuts.rpm
        )
        against = limit if dynamics.measured else least  # lobes of an estimate lie anywhere
        if np.any(against < MOST_MM):
            break
    ratio = cuts.depth / np.minimum(against, MOST_MM)
    order = np.argsort(-ratio, kind="stable")
    lasting = np.cumsum(cuts.turns[order]) >= LEAST_TURNS
    if not lasting.any():
        return None
    k = int(order[np.argmax(lasting)])
    row = int(cuts.row[k])
    arc = float(cuts.arc[k, 0]), float(cuts.arc[k, 1])
    chip = float(run.table["chip_mean_mm"][row])
    own = stability_limit(
        dynamics,
        tool.teeth,
        run.cutting,
        rpm=float(cuts.rpm[k]),
        arc_rad=arc,
        chip_mm=chip,
        edge_mm_per_s=float(cuts.edge[k]),
        lead=float(cuts.lead[k]),
    )
    over = ratio > ratio[k] * own.best_mm / cuts.depth[k]
    blocks = np.unique(run.table["move"][mine][over[cuts.group] & (cuts.group >= 0)]) if over.any() else ()
    chart = _chart(dynamics, tool, run.cutting, job, cuts, k, own)
    return Chatter(
        op=op, tool=tool.tool.number, name=tool.tool.name, row=row, move=int(run.table["move"][row]),
        speed_rpm=float(cuts.rpm[k]), depth_mm=float(cuts.depth[k]), width_mm=float(cuts.width[k]), arc_rad=arc, limit=own,
        dynamics=dynamics, blocks=len(blocks), other_rpm=_other(chart, dynamics, float(cuts.rpm[k]), float(cuts.depth[k])),
        chart=chart,
    )  # fmt: skip


def _chart(dynamics: Dynamics, tool: LoadTool, cutting: Cutting, job: Job, cuts: _Cuts, k: int, own: Limit) -> Chart:
    """Limit over the speeds that machine and tool allow, up to twice the job's; the cut itself stays as it is."""
    now = float(cuts.rpm[k])
    top = min([v for v in (job.machine.spindle.most_rpm, tool.tool.most_rpm) if v] + [2.0 * now])
    low, top = max(0.4 * now, job.machine.spindle.least_rpm, 1.0), max(top, now)
    count, members = CHART[dynamics.measured]
    speeds = np.unique(np.append(np.linspace(min(low, now), top, count), now))
    modes, scale, radial, wave = _draws(dynamics, cutting, members)
    lobes = np.linspace(min(low, now), top, 140)
    n, m, extra = len(speeds), len(modes), len(lobes)
    rpm = np.append(np.repeat(speeds, m), lobes)
    every = np.concatenate([np.tile(modes, (n, 1, 1)), np.tile(np.array([dynamics.modes]), (extra, 1, 1))])
    shortest = np.append(np.tile(wave, n), np.full(extra, WAVE_MM[1]))
    limit, _, _ = many_limits(
        _damped(every, cuts.edge[k] * rpm / now / shortest), tool.teeth,
        cuts.ktc[k] * np.append(np.tile(scale, n), np.ones(extra)),
        cuts.lead[k] * np.append(np.tile(radial, n), np.full(extra, cutting.radial.best)),
        np.tile(cuts.arc[k], (n * m + extra, 1)), rpm,
    )  # fmt: skip
    limit = np.minimum(limit, MOST_MM)
    factor = min(1.0, own.periodic_mm / own.zero_order_mm) if math.isfinite(own.periodic_mm) else 1.0
    low_mm, best_mm, high_mm = np.quantile(limit[: n * m].reshape(n, m), QUANTILES, axis=1)
    return Chart(
        speed_rpm=speeds, low_mm=factor * low_mm, best_mm=factor * best_mm, high_mm=high_mm, lobes_rpm=lobes,
        lobes_mm=limit[n * m :],
    )  # fmt: skip


def _other(chart: Chart, dynamics: Dynamics, rpm: float, depth: float) -> float | None:
    """The nearest speed whose low end carries the depth; only told where the modes were measured."""
    if not dynamics.measured:
        return None
    good = chart.speed_rpm[chart.low_mm > 1.02 * depth]  # rounded to 10 rpm below
    if not len(good):
        return None
    nearest = float(good[int(np.argmin(np.abs(good - rpm)))])
    return None if nearest == rpm else round(nearest / 10.0) * 10.0


def chatter_findings(found: Sequence[Chatter], moves: MoveList, job: Job) -> Iterator[Finding]:
    """P711: deeper than the best estimate of the limit (CARE; a NOTE when only estimated and within the band).

    P712: deeper than the low end only.
    """
    show = Display(length_unit=job.length_unit)
    for one in found:
        limit = one.limit
        if one.depth_mm <= limit.low_mm:
            continue
        likely = one.depth_mm > limit.best_mm
        care = likely and (one.dynamics.measured or one.depth_mm > limit.high_mm)
        yield Finding(
            code="P711" if likely else "P712", severity=Severity.CARE if care else Severity.NOTE,
            place=moves.place(one.move), op=one.op, tool=one.tool, move=one.move, part="cutter", count=max(1, one.blocks),
            what=(
                f"T{one.tool} {one.name}: cuts {show.length(one.depth_mm)} deep, {show.length(one.width_mm)} wide at "
                f"{one.speed_rpm:.0f} rpm; chatter is {'likely' if likely else 'possible'}: the limit is "
                f"{_depth(limit.best_mm, show)} ({_depth(limit.low_mm, show)} … {_depth(limit.high_mm, show)})."
            ),
            why=(
                f"{_methods(limit, show)} Tip dynamics {one.dynamics.said}; the band holds nine of ten combinations of "
                "stiffness, frequency, damping, material and flank, and the limit is its middle."
            ),
            do=_change(one, show), limit_mm=limit.best_mm,
            amount=Value(best=one.depth_mm, u=0.0, unit="mm", bound=0.05 * one.depth_mm),
        )  # fmt: skip


def _methods(limit: Limit, show: Display) -> str:
    """Both methods at the best estimates."""
    if not math.isfinite(limit.zero_order_mm):
        return "At the best estimates the flank damps every wave out, at the low end of the band it does not."
    both = f"At the best estimates {_depth(limit.zero_order_mm, show)} by the zero-order method"
    if math.isnan(limit.periodic_mm):
        return f"{both}, near {limit.vibration_hz:.0f} Hz; the periodic force: {limit.periodic_said}."
    return f"{both}, {_depth(limit.periodic_mm, show)} with the periodic force, near {limit.vibration_hz:.0f} Hz."


def _change(one: Chatter, show: Display) -> str:
    """The smallest change that clears it."""
    limit = one.limit
    do = f"Take at most {_depth(limit.best_mm, show)} a pass here ({_depth(limit.low_mm, show)} clears the low end)"
    if one.depth_mm <= limit.best_mm:
        do = f"Listen to the first part; {_depth(limit.low_mm, show)} a pass clears the low end"
    if one.other_rpm:
        return f"{do}, or run at {one.other_rpm:.0f} rpm with the same feed per tooth."
    if one.dynamics.measured:
        return f"{do}; no speed from 0.4 to 2 times this one that machine and tool allow carries the depth."
    return f"{do}; a tap test of the tool in this spindle narrows the band and tells a speed that carries more."


def _depth(value_mm: float, show: Display) -> str:
    return show.length(value_mm) if value_mm < MOST_MM else "any depth"
