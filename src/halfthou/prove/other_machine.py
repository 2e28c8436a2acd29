"""The same job on another machine of the shop: everything side by side, and what must change in the program."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from halfthou.base.errors import Complaint
from halfthou.base.finding import Finding, Severity
from halfthou.base.stamp import Stamp
from halfthou.base.table import Rows
from halfthou.base.units import Display, duration
from halfthou.base.value import Unknown, Value
from halfthou.nouns.answers import Proof, ToolTime
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Machine
from halfthou.nouns.other_machine import Capped, Fit, Mapped, OtherMachine, Placed
from halfthou.nouns.program import Program
from halfthou.prove.motion import motion_of
from halfthou.prove.other_machine_fit import Ran, binding_of, capped_of, fits_of
from halfthou.prove.other_machine_map import (
    codes_mapped,
    offsets_mapped,
    registers_mapped,
    stops_mapped,
    tools_mapped,
)
from halfthou.prove.reach import magazine_findings, spindle_findings, window_findings, windows_of
from halfthou.prove.revision import Half, time_changes, title
from halfthou.prove.revision_findings import finding_changes
from halfthou.prove.revision_tables import machine_differences

LONGER = (
    "times on the other machine are as programmed; where its spindle or feed is capped, the feed is not lowered in proportion "
    "(see what is capped)"
)


def ran_of(half: Half) -> tuple[Ran, ...]:
    """Operation by operation: moves, where they go, how long each takes."""
    out, first = [], 0
    for moves, sweeps in zip(half.moves, half.sweeps, strict=True):
        timing = half.proof.timing[first : first + len(moves.moves)]
        out.append(Ran(moves=moves, sweeps=sweeps, timing=timing))
        first += len(moves.moves)
    return tuple(out)


def other_machine(
    here: Half, there: Proof | None, there_job: Job | None, machine: Machine, refused: Sequence[Complaint],
    programs: Sequence[Sequence[Program]], placed: Sequence[Placed], stamp: Stamp,
) -> OtherMachine:  # fmt: skip
    """Put both machines side by side.

    here: the job proved on its own machine; there: its proof on `machine`, None when the program is refused there (the
    complaints are then in `refused`, and limits and times are judged on the moves of the own machine); stamp: of the other.
    """
    job = here.job
    show = Display(length_unit=job.length_unit)
    ran = ran_of(here)
    tools = tools_mapped(job, ran, machine, show)
    mapped = (
        *tools, *registers_mapped(job, ran, machine, there_job.registers if there_job else (), show),
        *offsets_mapped(job, ran, machine, show), *stops_mapped(ran, tools), *codes_mapped(programs, job.machine, machine, show),
    )  # fmt: skip
    fits = fits_of(job, ran, machine, show)
    capped = capped_of(job, ran, machine, show)
    stand_in = there if there is not None else _stand_in(here, ran, machine)
    findings, kept = finding_changes(
        stand_in.findings, here.proof.findings, [op.name for op in job.ops], [op.name for op in job.ops]
    )
    pairs = [(k, k) for k in range(len(job.ops))]
    said = [*stand_in.not_checked]
    if there is None:
        said.append(f"contacts, surfaces and tables on {machine.name}: the program as it is does not run there")
    if job.found is not None:
        said.append(
            f"the tables found at {job.machine.name}'s control belong to it and are not used for {machine.name}"
        )
    return OtherMachine(
        here=here.proof.stamp, there=stamp, title=title(job).split(", machine ")[0], here_name=job.machine.name,
        there_name=machine.name, length_unit=job.length_unit, invented=job.invented, here_verdict=here.proof.verdict,
        here_words=here.proof.words, there_verdict=there.verdict if there is not None else None,
        there_words=there.words if there is not None else _refusal(machine, refused), refused=tuple(refused),
        mapped=mapped, fits=fits, capped=capped, binding=binding_of(here.proof.timing, stand_in.timing),
        times=time_changes(stand_in, here.proof, pairs), placed=tuple(placed),
        must=_must(refused, mapped, fits, capped, stand_in.findings if there is not None else (), machine, show),
        habits=machine_differences(machine, job.machine, show), findings=findings, findings_kept=kept,
        not_checked=tuple(dict.fromkeys(said)),
        assumptions=tuple(dict.fromkeys((*_placing(placed), LONGER, *stand_in.assumptions))),
        first_piece=(
            f"A change of machine calls for a new first-piece check: what was proved and measured on {job.machine.name} does not "
            f"carry over to {machine.name}. Work offsets, tool lengths, radius entries and the machine's own errors are others there."
        ),
    )  # fmt: skip


def _refusal(machine: Machine, refused: Sequence[Complaint]) -> str:
    n = len(refused)
    return f"not run on {machine.name}: the program as it is would be refused there ({n} thing{'s' if n != 1 else ''} to mend)."


def _placing(placed: Sequence[Placed]) -> list[str]:
    if not placed:
        return ["no work offset is planned: over-travel on either machine is judged by the length of the program only"]
    return [
        "the work offsets of the other machine stand in for those found at its set-up: "
        + "; ".join(dict.fromkeys(f"{p.op}: {p.how}" for p in placed))
    ]


def _stand_in(here: Half, ran: Sequence[Ran], machine: Machine) -> Proof:
    """What can be said of a machine that refuses the program: limits and times of the moves of the own machine."""
    job = replace(here.job, machine=machine)
    found: list[Finding] = []
    times: list[ToolTime] = []
    cycles: list[Value | Unknown] = []
    timing: list[Rows] = []
    assumed: list[str] = []
    for k, op in enumerate(ran):
        motion = motion_of(op.moves, job, k)
        windows = windows_of(op.moves, op.sweeps, job, k, {})
        found += [*window_findings(op.moves, job, k, windows), *spindle_findings(op.moves, job, k),
                  *magazine_findings(op.moves, job, k), *motion.findings]  # fmt: skip
        times += motion.tool_times
        cycles.append(motion.cycle)
        timing.append(motion.timing)
        assumed += motion.assumptions
    values = [c for c in cycles if isinstance(c, Value)]
    total: Value | Unknown = (
        Value(best=sum(v.best for v in values), u=0.0, unit="s", bound=sum(v.bound for v in values))
        if len(values) == len(cycles)
        else Unknown(reason="one operation has no time")
    )
    assumed.append(f"times on {machine.name} are those of the moves {here.job.machine.name} makes")
    return replace(
        here.proof, job=job, findings=tuple(found), timing=np.concatenate(timing), cycle=total, cycle_ops=tuple(cycles),
        tool_times=tuple(times), assumptions=tuple(assumed), not_checked=(),
    )  # fmt: skip


def _must(
    refused: Sequence[Complaint], mapped: Sequence[Mapped], fits: Sequence[Fit], capped: Sequence[Capped],
    findings: Sequence[Finding], machine: Machine, show: Display,
) -> tuple[str, ...]:  # fmt: skip
    """What must change before the job can run there, one sentence each."""
    said = [f"{c.place}: {c.what} {c.do}".strip() for c in refused]
    for one in mapped:
        if one.fits is False:
            said.append(f"{one.what} ({one.kind}): {one.note}")
    for cap in capped:
        feed = f"; the feed in proportion (× {cap.share_ratio:.3f})" if cap.what == "S" else ""
        longer = f", at most {duration(cap.slower_s)} longer" if cap.slower_s > 0.05 else ""
        said.append(f"T{cap.tool}: {cap.what} {cap.asked} is beyond {cap.there} ({cap.place}){feed}{longer}")
    own = ("travel", "lowest S", "coolant")
    for fit in fits:
        if fit.fits_there is False and any(word in fit.what for word in own):
            said.append(f"{fit.what}: {fit.asked} asked, {machine.name} has {fit.there}")
    short = {fit.what[0] for fit in fits if fit.fits_there is False and " travel, " in fit.what}
    told = ("P102", "P103", "P110", "P111", "P112", "P113", "P401")
    for finding in findings:
        too_long = finding.code == "P101" and finding.what[0] in short  # the length of the program says it already
        if finding.severity is Severity.STOP and finding.code not in told and not too_long:
            said.append(f"{finding.code} {finding.place}: {finding.what} {finding.do}".strip())
    return tuple(dict.fromkeys(said))
