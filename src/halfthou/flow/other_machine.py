"""The same job on another machine of the shop: proved on both, with work offsets that stand in for those of the other."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from halfthou.base.errors import CannotAnswer, Complaint, InputError, JobError
from halfthou.base.place import Place
from halfthou.base.stamp import Stamp
from halfthou.base.watch import QUIET, Watch
from halfthou.files.job import Loaded, load_job, machine_unknown
from halfthou.flow.against import half_of
from halfthou.flow.prove import ProveOptions, prove_loaded
from halfthou.nc.survey import survey, unknowns
from halfthou.nouns.answers import Proof
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Machine
from halfthou.nouns.other_machine import OtherMachine, Placed
from halfthou.prove.other_machine import other_machine, ran_of
from halfthou.prove.other_machine_map import placed_on


@dataclass(frozen=True, slots=True, kw_only=True)
class BothMachines:
    """The proof on the job's own machine, the one on the other (None when it refuses the program), and both side by side."""

    here: Proof
    there: Proof | None
    sides: OtherMachine


def on_other_machine(path: Path, name: str, options: ProveOptions | None = None, watch: Watch = QUIET) -> BothMachines:
    """Prove the job at `path` on its own machine and on `name` of the same shop file.

    Tables as found that the job or the options name belong to the own machine. Raises InputError when the job cannot be used
    on its own machine or no machine has that name, CannotAnswer, Cancelled; what the other machine refuses is an answer.
    """
    options = options or ProveOptions()
    loaded = load_job(path)
    machine = next((one for one in loaded.machines if one.name == name), None)
    if machine is None:
        raise JobError([machine_unknown(name, [one.name for one in loaded.machines])])
    here = half_of(prove_loaded(loaded, options, watch))
    other, refused = _loaded_there(path, name)
    plain = ProveOptions(pitch_mm=options.pitch_mm, what_if=options.what_if, threads=options.threads)
    there: Proof | None = None
    job: Job | None = None
    placed: tuple[Placed, ...] = ()
    stamp = _stamp(here.proof.stamp, name)
    if other is None:
        refused = [*refused, *_unknown(loaded, machine)]
    else:
        job, placed = placed_on(other.job, here.job, ran_of(here))
        try:
            proof = prove_loaded(replace(other, job=job), plain, watch).proof
            stamp = _stamp(proof.stamp, name)
            there = replace(proof, stamp=stamp)
        except (InputError, CannotAnswer) as error:
            refused = list(error.complaints) if isinstance(error, InputError) else [_cannot(str(error), name)]
    sides = other_machine(here, there, job, machine, refused, loaded.programs, placed, stamp)
    return BothMachines(here=here.proof, there=there, sides=sides)


def _loaded_there(path: Path, name: str) -> tuple[Loaded | None, list[Complaint]]:
    """The job with the other machine in place of its own; what the files then complain of is due to that machine."""
    try:
        return load_job(path, name), []
    except InputError as error:
        return None, list(error.complaints)


def _unknown(loaded: Loaded, machine: Machine) -> list[Complaint]:
    found: list[Complaint] = []
    for own in loaded.programs:
        if own:
            found += unknowns(survey(own[0], own[1:], machine.control), own)
    return found


def _cannot(text: str, name: str) -> Complaint:
    return Complaint(code="", place=Place(file=name), what=text)


def _stamp(stamp: Stamp, name: str) -> Stamp:
    kept: Sequence[tuple[str, str]] = [pair for pair in stamp.options if pair[0] != "machine"]
    return replace(stamp, options=(*kept, ("machine", name)))
