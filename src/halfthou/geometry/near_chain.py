"""Turned profiles cut into convex pieces, and standing bodies packed for the clearance search."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from halfthou.geometry.near_mesh import BOTH, CUTTER, REST, Solids
from halfthou.geometry.near_solid import below, no_solids, pack_solids
from halfthou.nouns.machine import Machine
from halfthou.nouns.stock import Prism
from halfthou.nouns.tool import Tool, Zone

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

ZONES = 6  # number of `Zone` values: columns of the clearance tables
ARC_FIT_MM = 0.01  # profile points this near the true corner arc are taken to mean that arc
ARC_SAG_RATIO = 0.05  # and its chords must stay this near, in radii: a cone is no ball


@dataclass(frozen=True, slots=True, kw_only=True)
class Chains:
    """Convex turned pieces of several tools.

    Tool row k owns pieces first_piece[k]:first_piece[k+1] (the last row is the bare spindle nose, tool -1). Piece g
    is the solid of revolution of chain[first_point[g]:first_point[g+1]] (radius, height above the tip; heights never
    fall, radius concave over height), grown by round_mm[g] in every direction.
    """

    first_piece: I8
    first_point: I8
    chain_mm: F8
    zone: U1
    round_mm: F8

    def pieces(self, tool: int) -> range:
        """The pieces of a tool row; -1 is the bare nose."""
        row = len(self.first_piece) - 2 if tool < 0 else tool
        return range(int(self.first_piece[row]), int(self.first_piece[row + 1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Bodies:
    """Standing bodies in the table frame. low/high/cut_high f8 (b,): cut_high is the top the cutter must respect."""

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    places: tuple[int, ...]  # index of the op's place, -1 = belongs to the machine
    first_point: I8
    foot_mm: F8
    low_mm: F8
    high_mm: F8
    cut_high_mm: F8
    solids: Solids = field(default_factory=no_solids)  # bodies that are meshes; they have no footprint
    error_mm: F8 = field(default_factory=lambda: np.zeros(0))  # (b,): how far the true faces may lie off those searched
    as_is: tuple[int, ...] = ()  # meshes that could not be cut level: may_cut is not granted there


def convex_pieces(profile_mm: F8, zone: U1) -> list[tuple[int, F8]]:
    """(zone, points f8 (m,2)) of maximal convex turned pieces of one zone; level profile pieces bound no volume.

    Radius and height as in `Tool.profile_mm`. A frustum joins the piece below it when it has the same zone, starts
    where that one ends and does not lean further outward.
    """
    pieces: list[tuple[int, list[tuple[float, float]]]] = []
    for i in range(len(zone)):
        (r0, h0), (r1, h1) = profile_mm[i], profile_mm[i + 1]
        if h1 - h0 <= 1e-9:
            continue
        if pieces and pieces[-1][0] == int(zone[i]):
            points = pieces[-1][1]
            (ra, ha), (rb, hb) = points[-2], points[-1]
            joined = abs(hb - h0) <= 1e-9 and abs(rb - r0) <= 1e-9
            if joined and (r1 - r0) * (hb - ha) <= (rb - ra) * (h1 - h0) + 1e-12:
                points.append((float(r1), float(h1)))
                continue
        pieces.append((int(zone[i]), [(float(r0), float(h0)), (float(r1), float(h1))]))
    return [(z, np.array(points)) for z, points in pieces]


def true_corner(tool: Tool) -> float:
    """Corner radius of a ball or bull tool when its profile means that arc, else 0 (the profile is used as it is)."""
    corner = tool.diameter_mm / 2 if tool.kind == "ball" else tool.corner_mm if tool.kind == "bull" else 0.0
    radius = tool.diameter_mm / 2
    if corner <= 0 or corner > radius + 1e-9:
        return 0.0
    low = 0
    while low < len(tool.zone) and tool.zone[low] in (Zone.CUTTING, Zone.STYLUS):
        low += 1
    if low == 0 or tool.profile_mm[low, 1] < 2 * corner - 1e-9:
        return 0.0  # the upper half of the round would stick out of the tool
    on = tool.profile_mm[tool.profile_mm[:, 1] <= corner + 1e-9]
    middle = (on[1:] + on[:-1]) / 2
    for points, fit_mm in ((on, ARC_FIT_MM), (middle, ARC_SAG_RATIO * corner)):
        off = np.hypot(np.maximum(points[:, 0] - (radius - corner), 0.0), points[:, 1] - corner) - corner
        flat = (points[:, 1] <= 1e-9) & (points[:, 0] <= radius - corner + 1e-9)
        if not bool(np.all(np.abs(np.where(flat, 0.0, off)) <= fit_mm)):
            return 0.0
    return corner


def tool_pieces(tool: Tool, machine: Machine | None) -> list[tuple[int, F8, float]]:
    """(zone, chain f8 (m,2), round_mm) of one tool; a spindle nose is put on the gauge line if the machine has one."""
    corner = true_corner(tool)
    profile, zone = np.array(tool.profile_mm), np.array(tool.zone)
    found: list[tuple[int, F8, float]] = []
    if corner > 0:
        flat = tool.diameter_mm / 2 - corner
        found.append((int(zone[0]), np.array([[flat, corner], [flat, corner]]), corner))
        keep = int(np.searchsorted(profile[:, 1], corner + 1e-9))
        top = profile[keep:]
        profile = np.vstack([[[tool.diameter_mm / 2, corner]], top]) if len(top) else profile[:0]
        zone = zone[keep - 1 :] if len(top) else zone[:0]
    found += [(z, points, 0.0) for z, points in convex_pieces(profile, zone)]
    nose = None if machine is None else nose_piece(machine)
    if nose is not None and not np.any(tool.zone == Zone.NOSE):
        found.append((int(Zone.NOSE), nose + np.array([0.0, tool.gauge_length_mm]), 0.0))
    return found


def nose_piece(machine: Machine) -> F8 | None:
    """Chain of the spindle nose above the gauge line, None when its size is not stated."""
    diameter, length = machine.spindle.nose_diameter_mm, machine.spindle.nose_length_mm
    if diameter is None or length is None:
        return None
    return np.array([[diameter / 2, 0.0], [diameter / 2, length]])


def pack_tools(tools: Sequence[Tool], machine: Machine | None = None) -> Chains:
    """All tools as `Chains`, with the bare spindle nose as the last row."""
    first_piece, points, zone, rounds, first_point = [0], [], [], [], [0]
    nose = None if machine is None else nose_piece(machine)
    rows = [tool_pieces(tool, machine) for tool in tools]
    rows.append([] if nose is None else [(int(Zone.NOSE), nose, 0.0)])
    for row in rows:
        for z, chain, round_mm in row:
            points.append(chain)
            zone.append(z)
            rounds.append(round_mm)
            first_point.append(first_point[-1] + len(chain))
        first_piece.append(len(zone))
    return Chains(
        first_piece=np.array(first_piece, dtype=np.int64),
        first_point=np.array(first_point, dtype=np.int64),
        chain_mm=np.ascontiguousarray(np.vstack(points) if points else np.zeros((0, 2))),
        zone=np.array(zone, dtype=np.uint8),
        round_mm=np.array(rounds, dtype=np.float64),
    )


def pack_bodies(bodies: Sequence[tuple[Prism, int, F8]]) -> Bodies:
    """(prism, place index, shift f8 (3,) to the table frame) packed; a clockwise footprint is turned round."""
    feet, first = [], [0]
    low, high, cut = [], [], []
    meshes: list[tuple[int, int, F8, NDArray[np.int32]]] = []
    as_is: list[int] = []
    for row, (prism, _, shift) in enumerate(bodies):
        foot = prism.footprint_mm + shift[:2]
        x, y = foot[:, 0], foot[:, 1]
        if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0:
            foot = foot[::-1]
        if prism.mesh is not None:
            foot = foot[:0]
            solids, cuts = _mesh_of(prism, row, shift)
            meshes += solids
            as_is += [] if cuts else [row]
        feet.append(foot)
        first.append(first[-1] + len(foot))
        low.append(prism.low_z_mm + shift[2])
        high.append(prism.high_z_mm + shift[2])
        cut.append(max(prism.high_z_mm - prism.may_cut_mm, prism.low_z_mm) + shift[2])
    return Bodies(
        names=tuple(prism.name for prism, _, _ in bodies),
        kinds=tuple(prism.kind for prism, _, _ in bodies),
        places=tuple(place for _, place, _ in bodies),
        first_point=np.array(first, dtype=np.int64),
        foot_mm=np.ascontiguousarray(np.vstack(feet) if feet else np.zeros((0, 2))),
        low_mm=np.array(low, dtype=np.float64),
        high_mm=np.array(high, dtype=np.float64),
        cut_high_mm=np.array(cut, dtype=np.float64),
        solids=pack_solids(meshes),
        error_mm=np.array([0.0 if p.mesh is None else p.mesh.error_mm for p, _, _ in bodies], dtype=np.float64),
        as_is=tuple(as_is),
    )


def _mesh_of(prism: Prism, row: int, shift: F8) -> tuple[list[tuple[int, int, F8, NDArray[np.int32]]], bool]:
    """(rows for `pack_solids`, whether what may be cut is left out for the cutter) of a body that is a mesh."""
    if prism.mesh is None:
        return [], True
    points, faces = prism.mesh.vertices_mm + shift, np.array(prism.mesh.faces)
    if prism.may_cut_mm <= 0.0:
        return [(row, BOTH, points, faces)], True
    left = below(points, faces, max(prism.high_z_mm - prism.may_cut_mm, prism.low_z_mm) + float(shift[2]))
    if left is None:
        return [(row, BOTH, points, faces)], False
    return [(row, CUTTER, *left), (row, REST, points, faces)], True
