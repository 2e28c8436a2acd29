"""Small jobs written by hand for the contact tests: tools, bodies, a stock box and a few moves."""

from dataclasses import dataclass

import numpy as np

from halfthou.base.place import Place
from halfthou.base.table import lock
from halfthou.nouns.job import Job, Op, PartPlace
from halfthou.nouns.machine import Axis, Control, Machine, Magazine, Spindle
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, SWEEP, Kind, MoveList
from halfthou.nouns.program import Program
from halfthou.nouns.stock import Prism, Stock, box_prism
from halfthou.nouns.tool import Tool, Zone

HERE = Place(file="hand")
C, N, S, H, W = Zone.CUTTING, Zone.NECK, Zone.SHANK, Zone.HOLDER, Zone.STYLUS


def tool(number, kind, diameter, points, zone, **more):
    points = np.array(points, dtype=float)
    more.setdefault("gauge_length_mm", float(points[-1, 1]))
    return Tool(
        number=number, name=more.pop("name", f"{diameter:g} {kind}"), kind=kind, diameter_mm=diameter,
        profile_mm=points, zone=np.array(zone, dtype=np.uint8), place=HERE, **more,
    )  # fmt: skip


def end_mill(number=1, d=10.0, edge=25.0, out=30.0, holder=40.0, height=50.0, shank=None, **more):
    r, s = d / 2, (shank or d) / 2
    points = [[0, 0], [r, 0], [r, edge], [s, edge], [s, out], [holder / 2, out], [holder / 2, out + height]]
    return tool(number, "flat", d, points, [C, C, S, S, H, H], cutting_mm=edge, stick_out_mm=out, **more)


def drill(number=2, d=6.0, flute=40.0, out=60.0):
    r = d / 2
    tip = r / np.tan(np.radians(59))
    points = [[0, 0], [r, tip], [r, flute], [r, out], [20, out], [20, out + 50]]
    return tool(
        number, "drill", d, points, [C, C, S, H, H], cutting_mm=flute, stick_out_mm=out, point_rad=np.radians(118)
    )


def probe(number=9):
    """Ball of 6 mm as a cylinder, stem 50 long, body of 40 mm."""
    return tool(number, "probe", 6.0, [[0, 0], [3, 0], [3, 50], [20, 50], [20, 120]], [W, W, H, H])


def box(name, low, high, kind="fixed jaw", may_cut=0.0):
    plain = box_prism(name, kind, low, high, HERE)
    return Prism(
        name=name, kind=kind, footprint_mm=plain.footprint_mm, low_z_mm=low[2], high_z_mm=high[2], may_cut_mm=may_cut,
        place=HERE,
    )  # fmt: skip


def machine(rapid_path="straight", nose=None, table_z=None, rapid=(400.0, 400.0, 300.0)):
    axes = tuple(
        Axis(name=n, low_mm=-900.0, high_mm=900.0, rapid_mm_per_s=v, accel_mm_per_s2=3000.0)
        for n, v in zip("XYZ", rapid, strict=True)
    )
    spindle = Spindle(
        least_rpm=50, most_rpm=12000, nose_diameter_mm=nose[0] if nose else None,
        nose_length_mm=nose[1] if nose else None,
    )  # fmt: skip
    return Machine(
        name="m", axes=axes, feed_limit_mm_per_s=200.0, spindle=spindle, magazine=Magazine(positions=20),
        control=Control(rapid_path=rapid_path), table_z_mm=table_z,
    )  # fmt: skip


@dataclass(frozen=True)
class Scene:
    job: Job
    moves: MoveList
    sweeps: np.ndarray
    shifts: tuple[np.ndarray, ...]


def scene(
    tools,
    path,
    *,
    bodies=(),
    low=(0, 0, -20),
    high=(100, 60, 0),
    start=(0, 0, 200),
    first=0,
    at=None,
    z_known=1,
    **more,
):
    """path: ("G0", x, y, z), ("G1", x, y, z), ("G2"/"G3", x, y, z, cx, cy[, turns]), ("T", tool row), ("M", rpm),
    ("P", x, y, z) probe move, ("W", bits) coolant. Every entry is one line of the program."""
    at = (0.0, 0.0, 0.0) if at is None else at
    rows = []
    position, row_tool, rpm, coolant = np.array(start, dtype=float), first, 8000.0, 0
    for line, (word, *numbers) in enumerate(path, 1):
        if word == "M":
            rpm = float(numbers[0])
            continue
        if word == "W":
            coolant = int(numbers[0])
            continue
        rows.append(_row(word, numbers, line, position, row_tool, rpm, coolant, tools))
        if word == "T":
            row_tool = numbers[0]
            position = rows[-1]["to_mm"]
        else:
            position = np.array(numbers[:3], dtype=float)
    moves, sweeps = np.zeros(len(rows), dtype=MOVE), np.zeros(len(rows), dtype=SWEEP)
    for i, row in enumerate(rows):
        for key, value in row.items():
            if key in SWEEP.names:
                sweeps[i][key] = value
            if key in MOVE.names:
                moves[i][key] = value
        moves[i]["start_mm"], moves[i]["end_mm"] = row["from_mm"], row["to_mm"]
        moves[i]["tool"] = tools[row["tool"]].number if row["tool"] >= 0 else 0
        sweeps[i]["from_mm"] = np.asarray(row["from_mm"]) + at
        sweeps[i]["to_mm"] = np.asarray(row["to_mm"]) + at
        sweeps[i]["centre_mm"] = np.asarray(row.get("centre_mm", (0, 0, 0))) + at
        gauge = np.array([0, 0, length(tools, row["tool"])])
        sweeps[i]["gauge_from_mm"], sweeps[i]["gauge_to_mm"] = sweeps[i]["from_mm"] + gauge, sweeps[i]["to_mm"] + gauge
    program = Program(
        name="o1", file="o1.nc", sha256="", raw=b"", lines=tuple(" ".join(str(v) for v in step) for step in path)
    )
    frames = np.zeros(1, dtype=FRAME)
    frames["system"], frames["known"], frames["shift_mm"] = 1, (1, 1, z_known), at
    empty = np.zeros(1, dtype=STATE), np.zeros(0, dtype=CALL)
    listed = MoveList(moves=lock(moves), frames=lock(frames), states=empty[0], calls=empty[1], programs=(program,))
    stock = Stock(kind="box", low_mm=low, high_mm=high)
    place = PartPlace(name="vise", op=0, offset=1, stock=stock, bodies=tuple(bodies))
    op = Op(name="op 1", program="o1.nc", subprograms=(), places=(place,), offsets=())
    job = Job(
        name="hand", revision="", length_unit="mm", machine=machine(**more), material="", quantity=1,
        tools=tuple(tools), registers=(), ops=(op,),
    )  # fmt: skip
    return Scene(job=job, moves=listed, sweeps=lock(sweeps), shifts=(np.array(at),))


def length(tools, row):
    return tools[row].gauge_length_mm if row >= 0 else 0.0


def _row(word, numbers, line, position, row_tool, rpm, coolant, tools):
    row = {
        "kind": Kind.LINE, "line": line, "tool": row_tool, "from_mm": position, "to_mm": position, "normal": 2,
        "spindle_rpm": rpm, "turning": int(np.sign(rpm)), "coolant": coolant, "feed_mm_per_s": 20.0,
    }  # fmt: skip
    if word == "T":
        tip = position + np.array([0, 0, length(tools, row_tool) - length(tools, numbers[0])])  # the gauge line stays
        return row | {"kind": Kind.TOOL_CHANGE, "tool": numbers[0], "from_mm": tip, "to_mm": tip}
    row["to_mm"] = np.array(numbers[:3], dtype=float)
    if word == "G0":
        return row | {"kind": Kind.RAPID, "rapid": 1}
    if word == "P":
        return row | {"kind": Kind.PROBE}
    if word in ("G2", "G3"):
        cx, cy, turns = (*numbers[3:5], numbers[5] if len(numbers) > 5 else 0)
        a = np.arctan2(position[1] - cy, position[0] - cx)
        b = np.arctan2(numbers[1] - cy, numbers[0] - cx)
        sweep = (b - a) % (2 * np.pi) if word == "G3" else -((a - b) % (2 * np.pi))
        sweep += np.sign(sweep or (1 if word == "G3" else -1)) * 2 * np.pi * turns
        return row | {"kind": Kind.ARC, "centre_mm": (cx, cy, 0.0), "sweep_rad": sweep}
    return row
