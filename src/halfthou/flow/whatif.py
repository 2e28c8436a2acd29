"""Runs the what-if variants of a job and keeps what is new."""

from collections.abc import Sequence
from dataclasses import replace

from halfthou.base.errors import CannotAnswer, InputError
from halfthou.base.finding import Finding, Severity
from halfthou.base.watch import Watch
from halfthou.flow.run import Run, run_job
from halfthou.nouns.job import Job
from halfthou.nouns.program import Program
from halfthou.prove.whatif import differences, variants


def what_if(
    job: Job, programs: Sequence[Sequence[Program]], base: Run, found: Sequence[Finding], *, pitch_mm: float,
    threads: int | None, watch: Watch,
) -> tuple[list[Finding], list[str]]:  # fmt: skip
    """New findings of every variant, and the variants that could not be run."""
    slashes = any(reading.has_block_delete for reading in base.readings)
    tried: list[Finding] = []
    said: list[str] = []
    all_ = variants(job, slashes)
    if not all_:
        said.append("what if: no work offset, stock band or block delete to vary")
    for k, variant in enumerate(all_):
        watch.step("what if", k, len(all_))
        try:
            run = run_job(
                variant.job, programs, pitch_mm=max(pitch_mm, 1.0), threads=threads, watch=watch,
                block_delete=variant.block_delete, near=False,
            )  # fmt: skip
        except (InputError, CannotAnswer) as error:
            tried += _refused(variant.words, variant.code, error, found)
            continue
        tried += differences(found, run.findings, variant)
    return folded(tried), said


def folded(tried: Sequence[Finding]) -> list[Finding]:
    """One finding a code and severity; the other variants of it as further lines."""
    out: dict[tuple[str, Severity], Finding] = {}
    for finding in tried:
        key = (finding.code, finding.severity)
        first = out.get(key)
        if first is None:
            out[key] = finding
        else:
            more = (*first.more, f"{finding.place}: {finding.what}")
            out[key] = replace(first, more=more, count=first.count + finding.count)
    return list(out.values())


def _refused(words: str, code: str, error: Exception, found: Sequence[Finding]) -> list[Finding]:
    """A variant that the control would refuse is itself an answer."""
    if not isinstance(error, InputError) or not error.complaints:
        return []
    first = error.complaints[0]
    if any(f.place.line == first.place.line and f.severity == Severity.STOP for f in found):
        return []
    own_alarm = first.kind == "program-alarm"
    why = (
        "The program itself notices it."
        if own_alarm
        else f"The control would stop there ({first.code}). {first.why}".strip()
    )
    return [
        Finding(
            code=code, severity=Severity.NOTE if own_alarm else Severity.CARE, place=first.place,
            what=f"If {words}: {first.what}", why=why, do="" if own_alarm else first.do,
        )
    ]  # fmt: skip
