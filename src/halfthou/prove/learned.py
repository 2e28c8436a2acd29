"""How the material cuts, learned from spindle loads that were read at a few blocks of this job.

Promise: kc with the interval that readings, idle power, drive losses and what was held before leave it; mc only where
the chips of the blocks differ enough; errors are those of blocks left out. Idle power that was not read is a guess with a
band, and is said. What a drive shows is kc over its efficiency: forces keep the doubt of the efficiency.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import Complaint, ReadingError
from halfthou.base.value import Result, Unknown, Value
from halfthou.nouns.job import Job
from halfthou.nouns.learned import Learned, LearnedPoint, LoadReadings, LoadRow
from halfthou.nouns.loads import NO_TEETH
from halfthou.nouns.material import Band, Cutting
from halfthou.nouns.moves import MoveList
from halfthou.physics.groups import CHIP_MM, RADIAL
from halfthou.physics.learn import PowerFit, PowerPrior, power_fit
from halfthou.prove.loads import LoadRun

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

NINE_OF_TEN = 1.6448536269514722  # standard deviations either side
MC_STD = 0.06  # of mc within a group of materials (from memory: 0.15 … 0.35 for all that is milled)
EFFICIENCY = (0.80, 0.85, 0.90)
"""Cutting power over power at the drive where it is not stated (direct and geared drives, from memory)."""
STATED_RATIO = 0.02  # doubt of an efficiency that is stated
IDLE_RATIO, IDLE_STD_RATIO = 0.08, 0.05
"""Idle power over rated power where nobody read it: 3 … 15 % (from memory)."""
IDLE_READ_RATIO = 0.10  # doubt of an idle power that is stated: it changes with speed and warm bearings (from memory)
UNKNOWN = Cutting(
    kc11_mpa=Band(low=400.0, best=1300.0, high=4200.0), mc=0.25, radial=RADIAL, chip_mm=CHIP_MM,
    source="anything that is milled (from memory)",
)  # fmt: skip
"""Held before the readings for a material nobody described."""
STEPS = (0.01, 0.1, 1.0, 10.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Matched:
    """Readings set against the loads: watts at the drive, cutting power and chip the model gives, block numbers."""

    watts: F8
    model_w: F8
    chip_mm: F8
    block: I8
    rows: tuple[LoadRow, ...]
    tool: I8


def learned_of(readings: LoadReadings, run: LoadRun, moves: MoveList, job: Job) -> tuple[Cutting, Learned]:
    """(coefficients to use, what was learned). run: loads with the coefficients held before.

    Raises ReadingError with every complaint when readings do not fit the program.
    """
    complaints: list[Complaint] = []
    rated, rated_said = _rated(readings, job)
    matched = _match(readings, run, moves, job, rated, complaints)
    if complaints or matched is None:
        raise ReadingError(complaints)
    step = _step_w(readings.rows, rated)
    prior, idle_said = _prior(readings, run.cutting, rated, matched)
    fit = power_fit(
        matched.watts, matched.model_w, matched.chip_mm, np.full(len(matched.watts), step / 2), matched.block, prior
    )
    mc = run.cutting.mc + (fit.mc_change if fit.mc_told else 0.0)
    if not fit.mc_told and abs(fit.mc_change) > 0:  # hold mc where the readings do not tell it
        fit = power_fit(
            matched.watts, matched.model_w, matched.chip_mm, np.full(len(matched.watts), step / 2), matched.block,
            replace(prior, mc_std=1e-6),
        )  # fmt: skip
        fit = replace(fit, mc_std=prior.mc_std, mc_told=False)
    cutting = _cutting(run.cutting, fit, mc, matched, readings)
    return cutting, _answer(readings, run.cutting, cutting, fit, mc, matched, prior, (rated_said, idle_said))


def _rated(readings: LoadReadings, job: Job) -> tuple[float | None, str]:
    """(power that 100 % stands for, where that comes from)."""
    if readings.rated_w is not None:
        return readings.rated_w, ""
    curve = job.machine.spindle.curve
    if not curve:
        return None, ""
    top = max(power for _, _, power in curve)
    percent = any(row.load_ratio is not None for row in readings.rows) or readings.idle_ratio is not None
    return top, f"100 % is taken as {top:.0f} W, the highest power of the machine file's curve" if percent else ""


def _match(
    readings: LoadReadings, run: LoadRun, moves: MoveList, job: Job, rated: float | None, complaints: list[Complaint]
) -> _Matched | None:
    """Each reading against the stretches of its block."""
    watts, model, chip, block, tools, kept = [], [], [], [], [], []
    number: dict[tuple[int, int, int], int] = {}
    for row in readings.rows:
        reading = row.power_w if row.power_w is not None else None
        if reading is None:
            if rated is None:
                what = "percent of an unknown power: neither the file nor the machine's curve tells the rated power"
                complaints.append(
                    Complaint(code="F711", place=row.place, what=what, do="rated_power_w = … above the columns")
                )
                continue
            reading = (row.load_ratio or 0.0) * rated
        found = _stretches(row, run, moves, job, complaints)
        if found is None:
            continue
        mine, key = found
        time = run.table["time_s"][mine].astype(np.float64)
        power = float((run.table["power_w"][mine] * time).sum() / time.sum())
        thick = float((run.table["chip_mean_mm"][mine] * time).sum() / time.sum())
        watts.append(reading)
        # slower than programmed: thinner chips in proportion, power with their (1 − mc)
        model.append(power * row.feed_ratio ** (1.0 - run.cutting.mc))
        chip.append(max(thick * row.feed_ratio, 1e-4))
        block.append(number.setdefault(key, len(number)))
        tools.append(key[2])
        kept.append(row)
    idle = readings.idle_w if readings.idle_w is not None else _of(readings.idle_ratio, rated)
    if idle is not None:
        for row, value in zip(kept, watts, strict=True):
            if value <= idle:
                what = f"{value:.0f} W while cutting is not more than the {idle:.0f} W of a spindle in air"
                complaints.append(Complaint(code="F711", place=row.place, what=what, do="read it while the block cuts"))
    if not watts:
        return None
    return _Matched(
        watts=np.array(watts), model_w=np.array(model), chip_mm=np.array(chip), block=np.array(block, dtype=np.int64),
        rows=tuple(kept), tool=np.array(tools, dtype=np.int64),
    )  # fmt: skip


def _name(file: str) -> str:
    """The last part of a path, in small letters."""
    return file.replace("\\", "/").rsplit("/", 1)[-1].lower()


def _of(ratio: float | None, rated: float | None) -> float | None:
    return None if ratio is None or rated is None else ratio * rated


def _stretches(
    row: LoadRow, run: LoadRun, moves: MoveList, job: Job, complaints: list[Complaint]
) -> tuple[I8, tuple[int, int, int]] | None:
    """(rows of the loads table of a reading's block, (operation, block, tool)); None after a complaint."""

    def wrong(code: str, what: str, do: str) -> None:
        complaints.append(Complaint(code=code, place=row.place, what=what, do=do))

    names = [op.name.lower() for op in job.ops]
    if row.operation and row.operation.lower() not in names:
        wrong(
            "F202", f"the operation {row.operation!r} is not in the job", f"known: {', '.join(o.name for o in job.ops)}"
        )
        return None
    ops = [names.index(row.operation.lower())] if row.operation else list(range(len(names)))
    table = run.table
    move = moves.moves[table["move"]]
    files = [_name(p.file) for p in moves.programs]
    if row.program and _name(row.program) not in files:
        wrong("F712", f"the program {row.program!r} is not in the job", f"known: {', '.join(dict.fromkeys(files))}")
        return None
    wanted = [k for k, name in enumerate(files) if not row.program or name == _name(row.program)]
    here = np.isin(table["op"], ops) & (move["line"] == row.line) & np.isin(move["program"], wanted)
    there = sorted({(int(op), int(p)) for op, p in zip(table["op"][here], move["program"][here], strict=True)})
    if not here.any():
        wrong(
            "F712", f"line {row.line} takes nothing off" if row.line <= max((len(p.lines) for p in moves.programs), default=0)
            else f"line {row.line} is not in the program",
            "give the line of a block that cuts, in this revision of the program",
        )  # fmt: skip
        return None
    if len({op for op, _ in there}) > 1 or len({p for _, p in there}) > 1:
        wrong("F712", f"line {row.line} cuts in more than one operation or program", "name the operation and the file")
        return None
    mine = np.flatnonzero(here)
    tools = sorted({int(t) for t in table["tool"][mine]})
    if row.tool >= 0 and row.tool not in tools:
        wrong("F712", f"line {row.line} is cut by T{tools[0]}, not by T{row.tool}", "is it the line of this revision?")
        return None
    if row.tool < 0 and len(tools) > 1:
        wrong("F712", f"line {row.line} is cut by T{', T'.join(map(str, tools))}", "name the tool")
        return None
    tool = row.tool if row.tool >= 0 else tools[0]
    mine = mine[table["tool"][mine] == tool]
    usable = mine[
        ((table["inside"][mine] & NO_TEETH) == 0) & (table["power_w"][mine] > 0) & (table["chip_mean_mm"][mine] > 0)
    ]
    if not len(usable):
        wrong("F712", f"the loads of line {row.line} are not known (teeth not stated, or a tap)", "take another block")
        return None
    return usable, (int(table["op"][usable[0]]), row.line * 1000 + there[0][1], tool)


def _step_w(rows: Sequence[LoadRow], rated: float | None) -> float:
    """The step of the meter: the largest of a few that all readings are multiples of."""
    percent = [100 * row.load_ratio for row in rows if row.load_ratio is not None]
    values = percent or [row.power_w for row in rows if row.power_w is not None]
    step = STEPS[0]
    for one in STEPS:
        if all(abs(v / one - round(v / one)) < 1e-6 for v in values):
            step = one
    return step * (rated or 0.0) / 100 if percent else step


def _prior(readings: LoadReadings, cutting: Cutting, rated: float | None, matched: _Matched) -> tuple[PowerPrior, str]:
    """(what is held before the readings, what is said of the idle power)."""
    idle = readings.idle_w if readings.idle_w is not None else _of(readings.idle_ratio, rated)
    if idle is not None:
        std, said = (
            max(IDLE_READ_RATIO * idle, 1.0),
            f"idle power {idle:.0f} W as stated, ± {100 * IDLE_READ_RATIO:.0f} %",
        )
    elif rated is not None:
        idle, std = IDLE_RATIO * rated, IDLE_STD_RATIO * rated
        said = f"idle power was not read: {idle:.0f} ± {std:.0f} W is held before the readings (3 … 15 % of the rated power, from memory)"
    else:
        idle = 0.3 * float(matched.watts.min())
        std, said = (
            0.3 * float(matched.watts.min()),
            "idle power was not read and no rated power is known: a third of the lowest reading, ± as much",
        )
    efficiency = readings.efficiency_ratio or EFFICIENCY[1]
    doubt = (
        STATED_RATIO if readings.efficiency_ratio else (EFFICIENCY[2] - EFFICIENCY[0]) / 2 / NINE_OF_TEN / efficiency
    )
    low, high = cutting.spread()
    return PowerPrior(
        ln_kc_std=math.log(high / low) / (2 * NINE_OF_TEN), mc_std=MC_STD, idle_w=idle, idle_std_w=std,
        efficiency=efficiency, efficiency_std=doubt * efficiency,
    ), said  # fmt: skip


def _cutting(before: Cutting, fit: PowerFit, mc: float, matched: _Matched, readings: LoadReadings) -> Cutting:
    """The coefficients to use. kc at the pivot is kc1.1 before · pivot^(−mc before) · what was learned.

    The band is that of one block's load: the doubt of kc and the scatter of single blocks about it.
    """
    best = before.kc11_mpa.best * fit.kc_ratio * fit.pivot_mm ** (mc - before.mc)
    factor = math.exp(NINE_OF_TEN * math.hypot(fit.kc_std, fit.scatter_ratio))
    chips = float(matched.chip_mm.min()) / 1.5, float(matched.chip_mm.max()) * 1.5
    blocks = len(np.unique(matched.block))
    return replace(
        before, kc11_mpa=Band(low=best / factor, best=best, high=best * factor), mc=mc, chip_mm=chips,
        source=f"learned from {len(matched.watts)} readings at {blocks} blocks ({_name(readings.file)})",
    )  # fmt: skip


def _answer(
    readings: LoadReadings, before: Cutting, cutting: Cutting, fit: PowerFit, mc: float, matched: _Matched,
    prior: PowerPrior, said: Sequence[str],
) -> Learned:  # fmt: skip
    n, blocks = len(matched.watts), len(np.unique(matched.block))
    split = fit.split
    mean, noise, model = _errors(fit, n, blocks)
    words = [text for text in said if text]
    if not fit.idle_told and readings.idle_w is None and readings.idle_ratio is None:
        words.append(
            "the readings do not tell the idle power: its doubt stays in kc; read the spindle in air at the same speed"
        )
    spread = float(matched.chip_mm.max() / matched.chip_mm.min())
    if fit.mc_told:
        words.append(f"mc is told: the chips of the blocks differ by a factor of {spread:.1f}")
    else:
        words.append(f"mc {mc:.2f} is kept: chips that differ by a factor of {spread:.1f} do not tell it")
    if not readings.efficiency_ratio:
        words.append(
            f"the drive shows kc over its efficiency, known to {100 * fit.drive_std:.0f} %; {EFFICIENCY[0]:.2f} … {EFFICIENCY[2]:.2f} is taken for the efficiency (from memory)"
        )
    if math.isnan(split.noise_ratio):
        words.append("no block was read twice: the noise of the readings cannot be told from the error of the model")
    efficiency = prior.efficiency * math.exp(NINE_OF_TEN * prior.efficiency_std / prior.efficiency)
    return Learned(
        file=readings.file, readings=n, blocks=blocks, kc11_mpa=cutting.kc11_mpa, before_mpa=before.kc11_mpa, mc=mc,
        mc_std=fit.mc_std, mc_told=fit.mc_told, pivot_mm=fit.pivot_mm,
        chip_mm=(float(matched.chip_mm.min()), float(matched.chip_mm.max())),
        idle=Value(best=fit.idle_w, u=fit.idle_std_w, unit="W"),
        efficiency=Band(low=prior.efficiency**2 / efficiency, best=prior.efficiency, high=min(1.0, efficiency)),
        left_out=mean, noise=noise, model=model, said=tuple(words),
        points=tuple(
            LearnedPoint(place=row.place, note=row.note, tool=int(tool), reading_w=float(w), told_w=float(t))
            for row, tool, w, t in zip(matched.rows, matched.tool, matched.watts, fit.left_out_w, strict=True)
        ),
    )  # fmt: skip


def taught(own: Learned) -> tuple[str, ...]:
    """What was learned in words, for the list of what a proof takes for granted."""
    kc, before = own.kc11_mpa, own.before_mpa
    error = (
        f"a reading left out is told to {100 * own.left_out.best:.1f} % on average"
        if isinstance(own.left_out, Value)
        else own.left_out.reason
    )
    first = (
        f"loads use kc1.1 {kc.best:.0f} MPa ({kc.low:.0f} … {kc.high:.0f}), learned from {own.readings} readings at "
        f"{own.blocks} blocks of {_name(own.file)}; before: {before.best:.0f} ({before.low:.0f} … {before.high:.0f}); {error}"
    )
    return (first, *own.said)


def _errors(fit: PowerFit, n: int, blocks: int) -> tuple[Result, Result, Result]:
    """(mean error of left-out readings, noise of repeats, the model's part), each a share or the reason for none."""
    split = fit.split
    if blocks < 3:
        few = Unknown(reason=f"{blocks} block{'s' if blocks > 1 else ''} read: a left-out error needs at least 3")
        return few, few if math.isnan(split.noise_ratio) else _share(split.noise_ratio, split.noise_dof), few
    mean = _share(split.mean_ratio, blocks)
    if math.isnan(split.noise_ratio):
        none = Unknown(reason="no block was read twice")
        return mean, none, none
    return mean, _share(split.noise_ratio, split.noise_dof), _share(split.model_ratio, blocks)


def _share(value: float, dof: int) -> Value:
    """A share with its own doubt, value/√(2·dof) (a standard deviation from few values)."""
    return Value(best=value, u=value / math.sqrt(2.0 * max(1, dof)), unit="1", dof=float(dof))
