"""Removal of an operation whose program turns a rotary axis: one removal a stretch of constant angle, then back at rest.

Each stretch cuts the stock as it lies at its angle, on a grid of its own whose rays stand upright there. Its start is
taken along lines through everything cut before (remove_lines.py): ends are right to the moves' own error and, where
level arcs were cut, CHORD_MM more; nothing is resampled. The answer is an empty removal in the program frame at rest.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import CannotAnswer
from halfthou.base.limits import CHORD_MM
from halfthou.base.table import Rows, lock
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.cut import ENGAGED, CutRecord, Grid
from halfthou.nouns.frame import Pose
from halfthou.nouns.job import Job
from halfthou.nouns.moves import MoveList
from halfthou.prove.remove import Near, Removal, remove
from halfthou.prove.remove_lines import box_of_record, laid_on, laid_record
from halfthou.prove.turning import Stretch, angles_of, axis_number, back_to, centre_of, pose_at, stretches_of

F8 = NDArray[np.float64]


def remove_turned(
    moves: MoveList, sweeps: Rows, job: Job, op: int, place: int, *, shift_mm: F8, pitch_mm: float, first_row: int = 0,
    before: Removal | None = None, threads: int | None = None, watch: Watch = QUIET, rays: bool = True,
) -> Removal:  # fmt: skip
    """As `remove`, with the stock turned wherever the program turned the rotary axis of the machine.

    Raises CannotAnswer, Cancelled.
    """
    parts = stretches_of(angles_of(moves.moves, job.machine.rotary))
    made = _stretches(moves, sweeps, job, op, place, parts, shift_mm, pitch_mm, first_row, before, threads, watch, rays)
    if len(made) == 1:
        return made[0]
    return _at_rest(made, parts, moves, job, shift_mm, first_row)


def stock_now(
    moves: MoveList, sweeps: Rows, job: Job, op: int, place: int, *, shift_mm: F8, pitch_mm: float,
    before: Removal | None = None,
) -> Removal:  # fmt: skip
    """The stock after these moves as it lies at their last angle; no depth elements, only points can be asked."""
    parts = stretches_of(angles_of(moves.moves, job.machine.rotary))
    return _stretches(moves, sweeps, job, op, place, parts, shift_mm, pitch_mm, 0, before, None, QUIET, False)[-1]


def _stretches(
    moves: MoveList, sweeps: Rows, job: Job, op: int, place: int, parts: tuple[Stretch, ...], shift_mm: F8,
    pitch_mm: float, first_row: int, before: Removal | None, threads: int | None, watch: Watch, rays: bool,
) -> list[Removal]:  # fmt: skip
    rotary = job.machine.rotary
    made: list[Removal] = []
    for part in parts:
        rows = slice(part.first, part.last)
        own = replace(moves, moves=lock(moves.moves[rows]))
        begin = None
        if made:
            assert rotary is not None
            last, angle = made[-1], parts[len(made) - 1].angle_rad
            begin = _begin(made[0].start, last, pose_at(rotary, part.angle_rad - angle, shift_mm), job, shift_mm)
        made.append(
            remove(
                own, lock(sweeps[rows]), job, op, place, shift_mm=shift_mm, pitch_mm=pitch_mm,
                first_row=first_row + part.first, before=made[-1] if made else before, threads=threads, watch=watch,
                rays=rays, begin=begin,
            )
        )  # fmt: skip
    return made


def _begin(first: CutRecord, last: Removal, on: Pose, job: Job, shift_mm: F8) -> tuple[CutRecord, Pose]:
    """What a stretch starts from: the one before, turned on by `on` (program axes); grid axes through the centre line."""
    rotary = job.machine.rotary
    assert rotary is not None
    middle = centre_of(rotary) - shift_mm
    middle[axis_number(rotary)] = 0.0
    # y_new = on(y_old), y = grid + shift on both sides
    to_old = back_to(on)
    back = Pose(
        turn=to_old.turn, shift_mm=to_old.turn @ middle + to_old.shift_mm - last.shift_mm
    )  # fmt: skip
    if not len(last.record.spans):
        raise CannotAnswer("nothing is left of the part to turn")
    pose = Pose(turn=np.eye(3), shift_mm=middle)
    error = max(last.record.error_mm, CHORD_MM)
    record = laid_record(
        last, back, last.op, last.place, first.grid.pitch_mm, pose, error, corners_mm=_corners(first, last)
    )
    return record, back


def _corners(first: CutRecord, last: Removal) -> F8:
    """Corners f8 (8,3) of the box of the stock before the first cut, in the grid axes of the last stretch."""
    low, high = box_of_record(first)
    points = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    chain: list[Removal] = []
    own: Removal | None = last
    while own is not None and own.start is not first:
        chain.append(own)
        own = own.before
    for step in reversed(chain):
        assert step.back is not None
        points = (points - step.back.shift_mm) @ step.back.turn
    return points


def _at_rest(
    made: list[Removal], parts: tuple[Stretch, ...], moves: MoveList, job: Job, shift_mm: F8, first_row: int
) -> Removal:
    """An empty removal in the grid of the first stretch that knows all rows of the operation."""
    rotary = job.machine.rotary
    assert rotary is not None
    first, last = made[0], made[-1]
    grid = first.record.grid
    poses = [_grid_pose(part, made[k], grid, rotary_pose(job, part, shift_mm)) for k, part in enumerate(parts)]
    error = max(last.record.error_mm, CHORD_MM)
    after = first_row + len(moves.moves) - 1
    record = laid_on(last, poses[-1], grid, last.op, last.place, after, error)
    engaged = [own.engaged for own in made if len(own.engaged)]
    return replace(
        first, start=record, record=record, removed=lock(_removed(made, parts, job, shift_mm)),
        engaged=lock(np.concatenate(engaged) if engaged else np.zeros(0, dtype=ENGAGED)), moves=moves,
        first_row=first_row, events=lock(first.events[:0].copy()), near=_empty(first), keyframes=((0, record),),
        before=last, back=poses[-1], sides={},
        stretches=tuple(zip([first_row + part.first for part in parts], made, poses, strict=True)),
    )  # fmt: skip


def rotary_pose(job: Job, part: Stretch, shift_mm: F8) -> Pose:
    """Program frame at rest to the program axes of a stretch."""
    assert job.machine.rotary is not None
    return pose_at(job.machine.rotary, part.angle_rad, shift_mm)


def _grid_pose(part: Stretch, own: Removal, grid: Grid, pose: Pose) -> Pose:
    """Grid axes at rest to the grid axes of a stretch."""
    return Pose(turn=pose.turn, shift_mm=pose.turn @ grid.pose.shift_mm + pose.shift_mm - own.shift_mm)


def _removed(made: list[Removal], parts: tuple[Stretch, ...], job: Job, shift_mm: F8) -> Rows:
    """REMOVED of all stretches in row order; first points in the program frame at rest, low_z_mm at the angle of the cut."""
    out = []
    for own, part in zip(made, parts, strict=True):
        rows = own.removed.copy()
        back = back_to(rotary_pose(job, part, shift_mm))
        some = rows["rays"] > 0
        rows["first_point_mm"][some] = rows["first_point_mm"][some] @ back.turn.T + back.shift_mm
        out.append(rows)
    return np.concatenate(out)


def _empty(removal: Removal) -> Near:
    near = removal.near
    return replace(near, first=np.zeros_like(near.first), index=near.index[:0])
