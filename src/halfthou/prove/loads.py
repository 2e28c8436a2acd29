"""Loads of every stretch that met stock: chip, power, torque, force, bending; one aligned table, no object a move.

Promise: best estimates of a mean-force model (specific force, sharp tool, no runout), bounded all alike by the spread of
the material's coefficients (`Cutting.spread`); bending also by the spread of the stiffness. A stretch is about
STATION_MM of path: loads inside it are means over that length. Stock met at rapid is a contact, not a load.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows, lock
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.cut import ENGAGED
from halfthou.nouns.job import Job
from halfthou.nouns.loads import LOAD, NO_CURVE, NO_TEETH, OUTSIDE_THICK, OUTSIDE_THIN
from halfthou.nouns.material import Cutting
from halfthou.nouns.moves import Kind, MoveList
from halfthou.physics.hole_force import tap_torque_n_mm
from halfthou.physics.spindle import curve_at
from halfthou.physics.strip_force import THIN_MM, ball_lead, strip_forces
from halfthou.prove.load_tool import LoadTool, load_tool

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

AT_WALL = 0.03  # a front met to within this share of the radius, or one ray, of the tool's side leaves a wall there


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadRun:
    """The table with what its summaries need."""

    table: Rows  # LOAD
    engaged: Rows  # ENGAGED, same rows
    tools: tuple[LoadTool, ...]  # rows of Job.tools
    cutting: Cutting
    pitch_mm: float


def loads_of(
    engaged: Sequence[Rows], moves: MoveList, timing: Rows, job: Job, cutting: Cutting, pitch_mm: float,
    watch: Watch = QUIET,
) -> LoadRun:  # fmt: skip
    """LOAD rows of all stretches, in order of travel. engaged: ENGAGED tables of the places, job-wide move rows.

    pitch_mm: of the rays that met the stock, which bounds how well the ends of the front are known.
    """
    rows: Rows = np.concatenate(engaged) if engaged else np.zeros(0, dtype=ENGAGED)
    rows = rows[np.isin(moves.moves["kind"][rows["move"]], (Kind.LINE, Kind.ARC))]
    rows = rows[moves.moves["spindle_rpm"][rows["move"]] != 0.0]
    rows = rows[np.argsort(rows["move"], kind="stable")]
    out = np.zeros(len(rows), dtype=LOAD)
    move = moves.moves[rows["move"]]
    index = {tool.number: k for k, tool in enumerate(job.tools)}
    tools = tuple(load_tool(tool, job) for tool in job.tools)
    share = (rows["to_share"] - rows["from_share"]).astype(np.float64)
    out["move"], out["op"], out["tool"] = rows["move"], move["op"], move["tool"]
    out["start_s"] = timing["start_s"][rows["move"]] + rows["from_share"] * timing["dur_s"][rows["move"]]
    out["time_s"] = timing["dur_s"][rows["move"]] * share
    out["depth_mm"] = rows["axial_mm"]
    length = _length_mm(move) * share
    which = np.array([index.get(int(number), -1) for number in move["tool"]], dtype=np.int64)
    for k in np.unique(which[which >= 0]).tolist():
        watch.step("cutting loads", k, len(tools))
        mine = np.flatnonzero(which == k)
        _tool_rows(out, rows, move, length, mine, tools[k], cutting, pitch_mm)
    _against_curve(out, np.abs(move["spindle_rpm"]), job)
    keep = np.flatnonzero(which >= 0)
    return LoadRun(table=lock(out[keep]), engaged=lock(rows[keep]), tools=tools, cutting=cutting, pitch_mm=pitch_mm)


def _length_mm(move: Rows) -> F8:
    """Path length of moves, helices included."""
    across = move["end_mm"] - move["start_mm"]
    straight = np.sqrt((across**2).sum(axis=1))
    arc = np.flatnonzero(move["kind"] == Kind.ARC)
    for k in arc.tolist():
        n = int(move["normal"][k])
        i, j = (n + 1) % 3, (n + 2) % 3
        r = np.hypot(*(move["start_mm"][k, [i, j]] - move["centre_mm"][k, [i, j]]))
        straight[k] = math.hypot(float(r * abs(move["sweep_rad"][k])), float(across[k, n]))
    return np.asarray(straight, dtype=np.float64)


def _tool_rows(
    out: Rows, rows: Rows, move: Rows, length: F8, mine: I8, tool: LoadTool, cutting: Cutting,
    pitch_mm: float,
) -> None:  # fmt: skip
    """Fill the rows of one tool."""
    if tool.tool.kind == "probe":
        return
    rev_per_s = np.abs(move["spindle_rpm"][mine]) / 60.0
    speed = move["feed_mm_per_s"][mine]
    per_turn = speed / rev_per_s
    area = rows["mm3"][mine] / np.maximum(length[mine], 1e-9)
    straight = np.flatnonzero(rows["plunge"][mine] == 1)
    area[straight], share = _plunged(rows[mine[straight]], length[mine[straight]], tool)
    out["time_s"][mine[straight]] *= share
    out["mm3_per_s"][mine] = area * speed
    out["edge_mm_per_s"][mine] = math.pi * tool.tool.diameter_mm * rev_per_s
    flags = np.zeros(len(mine), dtype=np.uint8)
    along = (rows["plunge"][mine] == 1) | (tool.tool.kind in ("tap", "reamer", "boring"))
    if tool.teeth == 0 and tool.tool.kind != "tap":
        flags |= NO_TEETH
        out["inside"][mine] = flags
        return
    a, b = np.flatnonzero(along), np.flatnonzero(~along)
    _along_axis(out, mine[a], per_turn[a], area[a], rev_per_s[a], tool, cutting)
    if len(b):
        _sideways(out, rows, mine[b], per_turn[b], area[b], rev_per_s[b], tool, cutting, pitch_mm)
    thin, thick = out["chip_high_mm"][mine] < cutting.chip_mm[0], out["chip_high_mm"][mine] > cutting.chip_mm[1]
    if tool.tool.kind != "tap":
        flags |= np.where(thin, OUTSIDE_THIN, 0).astype(np.uint8) | np.where(thick, OUTSIDE_THICK, 0).astype(np.uint8)
    out["inside"][mine] = flags


def _plunged(rows: Rows, length: F8, tool: LoadTool) -> tuple[F8, F8]:
    """(area across the feed once the point is in, share of the stroke that cuts) of strokes along the axis."""
    point = 0.0
    if tool.lead_rad < math.pi / 2:
        point = tool.tool.diameter_mm / 2 / math.tan(tool.lead_rad)
    met = np.minimum(rows["axial_mm"].astype(np.float64), length)
    whole = math.pi / 4 * tool.tool.diameter_mm**2
    area = rows["mm3"] / np.maximum(np.maximum(met - point, 0.3 * met), 1e-6)
    return np.minimum(area, whole), met / np.maximum(length, 1e-9)


def _along_axis(out: Rows, mine: I8, per_turn: F8, area: F8, rev_per_s: F8, tool: LoadTool, cutting: Cutting) -> None:
    """Drilling, reaming, boring, tapping, plunging: torque kc·f·A/2π (a full drill: kc·f·D²/8)."""
    d = tool.tool.diameter_mm
    if tool.tool.kind == "tap":
        tap = cutting.tap_kc_mpa
        torque = np.full(len(mine), np.nan if tap is None else tap_torque_n_mm(tap.best, tool.tool.pitch_mm, d))
        thrust = np.full(len(mine), np.nan)
    else:
        chip = np.maximum(THIN_MM, per_turn / tool.teeth * math.sin(tool.lead_rad))
        kc = cutting.kc11_mpa.best * chip ** (-cutting.mc)
        torque = kc * per_turn * area / (2 * math.pi)
        hole = np.sqrt(np.maximum(0.0, d * d - 4 * area / math.pi))
        thrust = 0.5 * kc * per_turn * (d - hole) * math.sin(tool.lead_rad)
        out["chip_high_mm"][mine] = out["chip_mean_mm"][mine] = per_turn / tool.teeth * math.sin(tool.lead_rad)
    out["way"][mine] = 2
    out["torque_nm"][mine] = out["peak_nm"][mine] = torque / 1000.0
    out["power_w"][mine] = torque / 1000.0 * 2 * math.pi * rev_per_s
    out["axial_n"][mine] = thrust
    out["width_mm"][mine] = d


def _sideways(
    out: Rows, rows: Rows, mine: I8, per_turn: F8, area: F8, rev_per_s: F8, tool: LoadTool, cutting: Cutting,
    pitch_mm: float,
) -> None:  # fmt: skip
    """Milling: strips of the front, helix, teeth one after another."""
    own = rows[mine]
    fz = per_turn / tool.teeth
    right, left = own["right"].astype(np.float64), own["left"].astype(np.float64)
    strips = own["strips"].astype(np.float64)
    reach = own["reach_mm"].astype(np.float64)
    if tool.tool.left_hand:
        right, left, strips = -left, -right, strips[:, ::-1]
    axial = np.maximum(own["axial_mm"].astype(np.float64), 1e-6)
    length = own["mm3"] / np.maximum(area, 1e-12)
    depth = strips / np.maximum(length, 1e-9)[:, None] / (2 * reach / strips.shape[1])[:, None]
    corner = tool.tool.diameter_mm / 2 if tool.tool.kind == "ball" else tool.tool.corner_mm
    lead = ball_lead(axial, corner) * math.sin(tool.lead_rad)
    side = 1.0 - np.maximum(AT_WALL, 0.75 * pitch_mm / reach)
    at_right, at_left = right <= -side, left >= side
    wall = np.where(at_right & ~at_left, -1, np.where(at_left & ~at_right, 1, 0)).astype(np.int64)
    both = at_right & at_left
    found = np.zeros((len(mine), 4))
    strip_forces(
        np.ascontiguousarray(depth), fz, lead, reach, axial * math.tan(tool.helix_rad) / reach, np.where(both, 1, wall),
        cutting.kc11_mpa.best, cutting.mc, cutting.radial.best, tool.teeth, found,
    )  # fmt: skip
    low, high = np.arcsin(np.clip(right, -1, 1)), np.arcsin(np.clip(left, -1, 1))
    front = np.where((right <= 0) & (left >= 0), 1.0, np.cos(np.minimum(np.abs(low), np.abs(high))))
    out["chip_high_mm"][mine] = fz * lead * front
    arc = np.maximum(high - low, 1e-6)
    out["chip_mean_mm"][mine] = fz * lead * (np.sin(high) - np.sin(low)) / arc
    out["way"][mine] = np.where(wall < 0, 1, np.where(wall > 0, -1, 0))
    out["torque_nm"][mine], out["peak_nm"][mine] = found[:, 0] / 1000.0, found[:, 1] / 1000.0
    out["power_w"][mine] = found[:, 0] / 1000.0 * 2 * math.pi * rev_per_s
    out["force_n"][mine] = found[:, 2]
    out["side_n"][mine] = np.where(both, np.abs(found[:, 3]), found[:, 3] * wall)
    out["bend_mm"][mine] = out["side_n"][mine] / tool.stiffness_n_per_mm
    out["axial_n"][mine] = np.nan
    out["width_mm"][mine] = (left - right) * reach


def _against_curve(out: Rows, rpm: F8, job: Job) -> None:
    """Shares of the continuous power and of the torque for a short time (continuous where none is stated)."""
    spindle = job.machine.spindle
    out["power_ratio"], out["torque_ratio"] = np.nan, np.nan
    if not spindle.curve:
        out["inside"] |= NO_CURVE
        return
    for speed in np.unique(rpm).tolist():
        mine = np.flatnonzero(rpm == speed)
        torque, power = curve_at(spindle.curve, _within(spindle.curve, speed))
        short, _ = (
            curve_at(spindle.short_curve, _within(spindle.short_curve, speed)) if spindle.short_curve else (torque, 0.0)
        )
        out["power_ratio"][mine] = out["power_w"][mine] / power
        out["torque_ratio"][mine] = out["peak_nm"][mine] * 1000.0 / short


def _within(curve: Sequence[tuple[float, float, float]], rpm: float) -> float:
    """Below the first row of a curve its torque holds, above the last its power: the ends are used there."""
    return min(max(rpm, curve[0][0]), curve[-1][0])
