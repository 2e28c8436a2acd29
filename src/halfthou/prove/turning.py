"""A rotary axis between cuts: stretches of one angle, and where things on the axis lie at an angle.

The axis stands at 0 when a program starts; bodies, stock and design are given as they lie then. The part turns about
the centre line of the machine file, in the table frame: x_at_angle = centre + R(angle) · (x − centre).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.nouns.frame import Pose
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Rotary
from halfthou.nouns.stock import BodyMesh, Prism

F8 = NDArray[np.float64]
STAND_STILL = ("table", "setter")
"""Kinds of bodies that do not turn unless the job says so; all others do."""
SAME_RAD = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Rows first..last (last not included) of an operation, cut at one angle."""

    first: int
    last: int
    angle_rad: float


def angles_of(rows: Rows, rotary: Rotary | None) -> F8:
    """Angle of the axis f8 (n,) in force at the end of each MOVE row; zeros without an axis."""
    if rotary is None:
        return np.zeros(len(rows))
    return np.array(rows["turn_rad"][:, "AB".index(rotary.axis)], dtype=np.float64)


def stretches_of(angles: F8) -> tuple[Stretch, ...]:
    """Runs of rows at one angle (whole turns do not count), in order. The first is at 0 and may be empty."""
    out: list[Stretch] = []
    start, now = 0, 0.0
    for row, angle in enumerate(angles.tolist()):
        if _apart(angle, now):
            out.append(Stretch(first=start, last=row, angle_rad=now))
            start, now = row, angle
    out.append(Stretch(first=start, last=len(angles), angle_rad=now))
    return tuple(out)


def _apart(a: float, b: float) -> bool:
    turn = (a - b) % (2 * math.pi)
    return min(turn, 2 * math.pi - turn) > SAME_RAD


def matrix(rotary: Rotary, angle_rad: float) -> F8:
    """Rotation f8 (3,3) of the part from angle 0 to an angle; quarter turns exactly."""
    quarter = angle_rad / (math.pi / 2)
    if abs(quarter - round(quarter)) < 1e-12:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        c, s = math.cos(angle_rad), math.sin(angle_rad)
    if rotary.left_handed:
        s = -s
    if rotary.axis == "A":
        return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def axis_number(rotary: Rotary) -> int:
    """0 for an axis about X, 1 about Y."""
    return "AB".index(rotary.axis)


def centre_of(rotary: Rotary) -> F8:
    """A point f8 (3,) of the centre line, table frame; 0 along it."""
    a, b = rotary.centre_mm
    return np.array([0.0, a, b] if rotary.axis == "A" else [a, 0.0, b])


def pose_at(rotary: Rotary, angle_rad: float, shift_mm: F8) -> Pose:
    """Program frame at rest to the program axes at an angle: y = turn · x + shift. shift_mm: program to table frame."""
    turn, centre = matrix(rotary, angle_rad), centre_of(rotary) - shift_mm
    centre[axis_number(rotary)] = 0.0
    return Pose(turn=turn, shift_mm=centre - turn @ centre)


def back_to(pose: Pose) -> Pose:
    """The way back."""
    return Pose(turn=pose.turn.T, shift_mm=-(pose.turn.T @ pose.shift_mm))


def turns(body: Prism) -> bool:
    """Whether a body of a place turns with the axis."""
    return body.kind not in STAND_STILL if body.turns is None else body.turns


def mesh_of(prism: Prism) -> BodyMesh:
    """A prism as closed triangles, outward; a mesh as it is."""
    if prism.mesh is not None:
        return prism.mesh
    foot = prism.footprint_mm
    x, y = foot[:, 0], foot[:, 1]
    if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0:
        foot = foot[::-1]
    n = len(foot)
    low = np.column_stack([foot, np.full(n, prism.low_z_mm)])
    high = np.column_stack([foot, np.full(n, prism.high_z_mm)])
    faces = [[0, k + 1, k] for k in range(1, n - 1)] + [[n, n + k, n + k + 1] for k in range(1, n - 1)]
    for k in range(n):
        m = (k + 1) % n
        faces += [[k, m, n + m], [k, n + m, n + k]]
    return BodyMesh(vertices_mm=np.concatenate([low, high]), faces=np.array(faces, dtype=np.int32))


def turned_body(prism: Prism, pose: Pose) -> Prism:
    """A body as it lies at an angle: triangles, with the box round them. Nothing of it may be cut then."""
    mesh = mesh_of(prism)
    points = mesh.vertices_mm @ pose.turn.T + pose.shift_mm
    low, high = points.min(axis=0), points.max(axis=0)
    foot = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return replace(
        prism, footprint_mm=foot, low_z_mm=float(low[2]), high_z_mm=float(high[2]), may_cut_mm=0.0,
        mesh=replace(mesh, vertices_mm=points),
    )  # fmt: skip


def body_at(body: Prism, job: Job, angle_rad: float, shift_mm: F8) -> Prism:
    """A body of a place as it lies while the axis stands at an angle."""
    rotary = job.machine.rotary
    if rotary is None or not turns(body) or not _apart(angle_rad, 0.0):
        return body
    return turned_body(body, pose_at(rotary, angle_rad, shift_mm))


def job_at(job: Job, op: int, angle_rad: float, shifts: tuple[F8, ...]) -> Job:
    """The job with the turning bodies of one operation as they lie at an angle, for the search for contacts.

    The stock is no longer the raw one: its kind is "from", so that nobody takes the raw shape for it.
    """
    places = []
    for place, shift in zip(job.ops[op].places, shifts, strict=True):
        bodies = tuple(body_at(body, job, angle_rad, shift) for body in place.bodies)
        places.append(replace(place, bodies=bodies, stock=replace(place.stock, kind="from")))
    ops = list(job.ops)
    ops[op] = replace(ops[op], places=tuple(places))
    return replace(job, ops=tuple(ops))
