"""The stock left after any move as a mesh, from a run or from a job's files, with deviations from the design; written out."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from halfthou.base.errors import Complaint, InputError
from halfthou.base.place import Place
from halfthou.base.watch import QUIET, Watch
from halfthou.files.out_3mf import write_3mf
from halfthou.files.out_glb import write_glb
from halfthou.files.out_stl import write_stl
from halfthou.flow.run import Run
from halfthou.nouns.job import PartPlace
from halfthou.nouns.mesh import LABELS, Mesh
from halfthou.prove.surface_deviation import NEAREST_MM, with_deviation
from halfthou.prove.surface_mesh import surface_mesh

STL_BITS = 16
ENDINGS = (".stl", ".3mf", ".glb")


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceAsk:
    """Which state is wanted: after a row of the job-wide move table, or after an operation by name; None: the end.

    place: name of the place on the table, None the first one of the operation.
    """

    after_move: int | None = None
    after_op: str | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceAnswer:
    """The mesh (program coordinates of its place), the operation and place it is of, and what is to be said about it."""

    mesh: Mesh
    op: str
    place: str
    after_move: int
    said: tuple[str, ...]


def _wrong(what: str, do: str) -> InputError:
    return InputError([Complaint(code="F593", place=Place(file="the call"), what=what, do=do)])


def check_ending(path: Path) -> None:
    """Raises InputError (F592) for a file name whose ending names no mesh format."""
    if path.suffix.lower() not in ENDINGS:
        what = f"the ending {path.suffix or '(none)'} of {path.name} names no mesh format"
        complaint = Complaint(code="F592", place=Place(file=str(path)), what=what, do="use .stl, .3mf or .glb")
        raise InputError([complaint])


def which(run: Run, ask: SurfaceAsk) -> tuple[int, int, int | None]:
    """(operation, place, row or None for the end of the operation); raises InputError (F593)."""
    ops = run.job.ops
    op, row = len(ops) - 1, ask.after_move
    if row is not None and ask.after_op is not None:
        raise _wrong("a move and an operation are both named", "name one of them")
    if ask.after_op is not None:
        names = [own.name for own in ops]
        if ask.after_op not in names:
            raise _wrong(f"there is no operation {ask.after_op!r}", f"name one of: {', '.join(names)}")
        op = names.index(ask.after_op)
    if row is not None:
        n = len(run.moves.moves)
        if not 0 <= row < n:
            raise _wrong(f"there is no move {row}", f"moves of this job count from 0 to {n - 1}")
        op = next(k for k, rows in enumerate(run.rows) if rows.start <= row < rows.stop)
    places = [own.name for own in ops[op].places]
    if ask.place is None:
        return op, 0, row
    if ask.place not in places:
        raise _wrong(f"{ops[op].name} has no place {ask.place!r}", f"name one of: {', '.join(places)}")
    return op, places.index(ask.place), row


def mesh_of(
    run: Run, ask: SurfaceAsk | None = None, *, threads: int | None = None, watch: Watch = QUIET
) -> SurfaceAnswer:
    """The stock of one place after a move or an operation. Raises InputError (F593), Cancelled."""
    ask = ask or SurfaceAsk()
    op, k, row = which(run, ask)
    job, removal = run.job, run.removals[op][k]
    place = job.ops[op].places[k]
    said: list[str] = []
    if ask.place is None and len(job.ops[op].places) > 1:
        said.append(f"{job.ops[op].name} has {len(job.ops[op].places)} places; this is {place.name}")
    mesh = surface_mesh(removal, after_move=row, name=job.name or "part", threads=threads, watch=watch)
    mesh, more = _deviating(mesh, run, place, threads, watch)
    pitch, error = removal.record.grid.pitch_mm, removal.record.error_mm
    said += [
        *more,
        f"points on one smooth surface lie on it to {1e-6 + error:.2g} mm; bounded by the pitch of {pitch:g} mm: what is "
        "narrower across the tool axis may be missing, edges that leave their cell are cut short, skins nearer than that "
        "may run through each other",
    ]
    return SurfaceAnswer(
        mesh=mesh, op=job.ops[op].name, place=place.name, said=tuple(said),
        after_move=run.rows[op].stop - 1 if row is None else row,
    )  # fmt: skip


def _deviating(mesh: Mesh, run: Run, place: PartPlace, threads: int | None, watch: Watch) -> tuple[Mesh, list[str]]:
    design = run.job.design
    if design is None:
        return mesh, ["no deviations: the job has no design"]
    if place.design_shift_mm is None:
        return mesh, [f"no deviations: {place.name} does not say where the design lies"]
    turn = np.eye(3) if place.design_turn is None else np.asarray(place.design_turn, dtype=np.float64)
    mesh = with_deviation(mesh, design, turn, np.array(place.design_shift_mm), threads, watch)
    assert mesh.deviation_mm is not None
    known = mesh.deviation_mm[~np.isnan(mesh.deviation_mm)]
    said = [f"deviations from the design by the shortest way; not known beyond {NEAREST_MM:g} mm"]
    if len(known):
        said.append(f"from {known.min():+.4f} to {known.max():+.4f} mm (- inside the design) at {len(known)} points")
    if design.chord_mm > 0:
        said.append(f"faces of the design without a form of their own are known to {design.chord_mm:g} mm")
    return mesh, said


def write_mesh(mesh: Mesh, path: Path, limit_mm: float | None = None, watch: Watch = QUIET) -> tuple[str, ...]:
    """Write by the file's ending; limit_mm: deviation at which the colours are full. Returns what is to be said.

    Raises InputError (F591 not writable, F592 ending not known, F593 nothing left to write), Cancelled.
    """
    check_ending(path)
    if not len(mesh.triangles):
        raise _wrong("nothing is left of the stock there", "name an earlier move or operation")
    if path.suffix.lower() == ".stl":
        return write_stl(mesh, path, _labels_of_stl(mesh))
    return write_3mf(mesh, path, limit_mm, watch) if path.suffix.lower() == ".3mf" else write_glb(mesh, path, limit_mm)


def _labels_of_stl(mesh: Mesh) -> tuple[str, ...]:
    """The most labels that fit into the 16 bits of a triangle; the move tells its operation and tool anyway."""
    for labels in (LABELS, ("tool", "move"), ("move",)):
        if sum((int(getattr(mesh, name).max()) + 1).bit_length() for name in labels) <= STL_BITS:
            return labels
    return LABELS
