"""Loads of a run from its removals: table, summary a tool, findings, and what could not be worked out."""

from dataclasses import dataclass, replace

import numpy as np

from halfthou.base.finding import Finding
from halfthou.base.table import Rows
from halfthou.base.watch import QUIET, Watch
from halfthou.flow.run import Run
from halfthou.nouns.learned import Learned, LoadReadings
from halfthou.nouns.loads import Loads
from halfthou.physics.groups import cutting_of
from halfthou.prove.chatter import chatter_findings, chatter_of
from halfthou.prove.learned import UNKNOWN, learned_of, taught
from halfthou.prove.load_findings import load_findings
from halfthou.prove.load_sum import summary
from halfthou.prove.load_walls import walls_left
from halfthou.prove.loads import LoadRun, loads_of


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadAnswer:
    """Loads of a run, or why there are none. `run` is what further questions (feeds, chatter) start from."""

    loads: Loads | None
    run: LoadRun | None
    findings: tuple[Finding, ...]
    not_checked: tuple[str, ...]
    taken: tuple[str, ...] = ()  # what the readings taught, and what was taken for granted with them


def load_answer(run: Run, timing: Rows, watch: Watch = QUIET, readings: LoadReadings | None = None) -> LoadAnswer:
    """timing: TIMING rows aligned with the job-wide moves. readings: spindle loads read at the machine, to learn from.

    Raises ReadingError when the readings do not fit the program.
    """
    job = run.job
    cutting = cutting_of(job.work) if job.work is not None else None
    if cutting is None and readings is not None:
        cutting = UNKNOWN
    if cutting is None:
        name = f"the material {job.material!r}" if job.material else "the material (none is named)"
        why = f"cutting forces, deflection, chatter, tool life: how {name} cuts is not known ([[material]] in the shop file)"
        return LoadAnswer(loads=None, run=None, findings=(), not_checked=(why,))
    pitch = max(removal.record.grid.pitch_mm for own in run.removals for removal in own)
    engaged = [removal.engaged for own in run.removals for removal in own]
    found = loads_of(engaged, run.moves, timing, job, cutting, pitch, watch)
    learned: Learned | None = None
    if readings is not None:
        cutting, learned = learned_of(readings, found, run.moves, job)
        found = loads_of(engaged, run.moves, timing, job, cutting, pitch, watch)
    loads = replace(summary(found, job), learned=learned)
    walls = np.zeros(len(found.table), dtype=bool)
    for op, removals in enumerate(run.removals):
        watch.step("walls left", op, len(run.removals))
        walls |= walls_left(
            found.table, found.engaged, run.sweeps[op], op, removals, run.shifts[op], run.rows[op].start
        )
    chatter, unseen = chatter_of(found, run.moves, job, watch)
    loads = replace(loads, chatter=chatter, not_checked=(*loads.not_checked, *unseen))
    findings = (*load_findings(loads, run.moves, job, walls), *chatter_findings(chatter, run.moves, job))
    taken = taught(learned) if learned is not None else ()
    return LoadAnswer(loads=loads, run=found, findings=findings, not_checked=loads.not_checked, taken=taken)
