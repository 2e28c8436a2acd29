"""This job against another revision of it: both are proved, then compared. And: does an earlier proof still hold?"""

from dataclasses import dataclass
from pathlib import Path

from halfthou.base.version import __version__
from halfthou.base.watch import QUIET, Watch
from halfthou.files.job import load_job
from halfthou.files.old_proof import OldProof, read_old_proof
from halfthou.flow.prove import Proved, ProveOptions, inputs_of, prove_loaded
from halfthou.nouns.answers import Proof
from halfthou.nouns.revision import Revision
from halfthou.nouns.still import InputChange, Still
from halfthou.prove.revision import Half, revision


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """The proof of this job, and what it does differently from the other one."""

    proof: Proof
    revision: Revision


def against(path: Path, other: Path, options: ProveOptions | None = None, watch: Watch = QUIET) -> Against:
    """Prove the job at `path` and the one at `other`, and compare them: blocks, surfaces, times, findings, tables, machine.

    Tables as found that the options name are used for this job only. Raises as `prove`, for either job.
    """
    options = options or ProveOptions()
    loaded, older = load_job(path), load_job(other)
    plain = ProveOptions(pitch_mm=options.pitch_mm, what_if=options.what_if, threads=options.threads)
    before = prove_loaded(older, plain, watch)
    now = prove_loaded(loaded, options, watch)
    return Against(proof=now.proof, revision=revision(half_of(now), half_of(before), watch))


def half_of(proved: Proved) -> Half:
    """What the comparison needs of a proof and the run behind it."""
    run = proved.run
    return Half(
        proof=proved.proof, moves=tuple(reading.moves for reading in run.readings), sweeps=run.sweeps,
        shifts=run.shifts, removals=run.removals,
    )  # fmt: skip


def still(path: Path, old: Path, options: ProveOptions | None = None) -> Still:
    """Whether the proof kept as JSON at `old` was made from the files of the job as they are now.

    Only hashes are compared, nothing is run. Raises InputError when the job or the JSON cannot be read.
    """
    options = options or ProveOptions()
    earlier: OldProof = read_old_proof(old)
    now = dict(inputs_of(load_job(path), options))
    before = dict(earlier.stamp.inputs)
    changes = [
        InputChange(role=role, now=now.get(role, ""), before=before.get(role, ""))
        for role in sorted(now.keys() | before.keys())
        if now.get(role) != before.get(role)
    ]
    return Still(
        stamp=earlier.stamp, file=str(old), job=str(path), changes=tuple(changes), inputs=len(now),
        tool_version=__version__, schema=earlier.schema,
    )  # fmt: skip
