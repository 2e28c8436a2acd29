"""Second set of jobs computed by hand: how deep a gouge, how much left over, how near an approach; each with its calculation beside it.

Written from the public documents alone (docs/job-file.md, docs/prove.md, docs/json.md, docs/codes); the author did not read the program, its other
oracles, laws, twins or unit tests. The designs are in second_designs (made by second_designs.py); the raw block is x 0 … 40, y 0 … 30,
z −12 … 0 unless said. Every length mm. Each expected figure follows from school geometry on the numbers in the case, none from a run of the program.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import manifold3d
import trimesh

DESIGNS = Path(__file__).with_name("second_designs")
TOLERANCE_MM = 0.02
Tools = dict[int, dict[str, object]]


@dataclass(frozen=True)
class Case:
    """A job and what must come out; `count` surfaces exceed 0.02 mm, no other does."""

    name: str
    tools: Tools
    program: list[str]
    design: str = ""
    gouge: float = 0.0
    left_over: float = 0.0
    count: int = 1
    second: list[str] = field(default_factory=list)  # program of a second operation, turned 180° about X
    found: tuple[str, ...] = ()  # tool table as found at the control
    low: tuple[float, float, float] = (0.0, 0.0, -12.0)
    bodies: tuple[str, ...] = ()
    near: tuple[str, str, float] | None = None  # part, body, clearance
    note: tuple[str, float] | None = None  # code and amount of a finding


def tool(kind: str, diameter: float, **more: object) -> dict[str, object]:
    """A tool line; the rest of the tool is long and thin."""
    return {
        "kind": kind,
        "diameter": diameter,
        "cutting_length": 25.0,
        "shank_diameter": diameter,
        "stick_out": 40.0,
        "length": 100.0,
        **more,
    }


def _value(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def write(case: Case, folder: Path) -> Path:
    """The case as a job folder."""
    folder.mkdir(parents=True, exist_ok=True)
    text = ["format = 1", 'units = "mm"', f'part = "{case.name}"', 'material = "EN AW-6082-T6"', "invented = true", ""]
    if case.design:
        text += ["[design]", f'file = "{case.design}"', "gouge = 0.02", "left_over = 0.02"]
        if case.design.endswith(".stl"):
            text.append('units = "mm"')
            sharp_pocket(folder / case.design)
        else:
            shutil.copy(DESIGNS / case.design, folder / case.design)
    if case.found:
        (folder / "found-tools.csv").write_text("\n".join(("units = mm", *case.found)) + "\n", encoding="ascii")
        text += ["", "[found]", 'tool_table = "found-tools.csv"']
    for number, keys in case.tools.items():
        text += [
            "",
            "[[tool]]",
            f"number = {number}",
            f'name = "tool {number}"',
            *[f"{k} = {_value(v)}" for k, v in keys.items()],
        ]
    for i, lines in enumerate([case.program, case.second] if case.second else [case.program], 1):
        body = ["%", f"O{i}", "G21 G17 G40 G49 G80 G90 G94 G54", *lines, "M5", "M30", "%"]
        (folder / f"op{i}.nc").write_text("\n".join(body) + "\n", encoding="ascii")
        text += [
            "",
            "[[operation]]",
            f'name = "op {i}"',
            f'program = "op{i}.nc"',
            "",
            "[[operation.place]]",
            'name = "vise"',
            'offset = "G54"',
            "",
        ]
        if i == 1:
            text += ["[operation.place.stock]", 'kind = "box"', f"low = {list(case.low)}", "high = [40.0, 30.0, 0.0]"]
            if case.design:
                text += ["", "[operation.place.design]", 'turn = "none"', "shift = [0, 0, 0]"]
            text += case.bodies
        else:  # y = 30 − y_old, z = −12 − z_old: the old underside is the new top at z = 0
            text += [
                "[operation.place.stock]",
                'kind = "from"',
                'operation = "op 1"',
                'turn = "180 about X"',
                "shift = [0, 30, -12]",
            ]
    (folder / "job.toml").write_text("\n".join(text) + "\n", encoding="utf-8")
    return folder


def body(name: str, low: list[float], high: list[float], turn: float | None = None) -> str:
    """A box body."""
    more = "" if turn is None else f"\nturn = {turn}"
    return f'\n[[operation.place.body]]\nname = "{name}"\nkind = "clamp"\nlow = {low}\nhigh = {high}{more}'


def sharp_pocket(path: Path) -> None:
    """STL of the block with a pocket x 8 … 32, y 7 … 23, 4 deep, all corners sharp."""
    block = manifold3d.Manifold.cube((40, 30, 12)).translate((0, 0, -12))
    mesh = (block - manifold3d.Manifold.cube((24, 16, 5)).translate((8, 7, -4))).to_mesh64()
    trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False).export(path)


def start(number: int, x: float, y: float, z: float = 5.0) -> list[str]:
    """Tool change and approach at rapid, high above everything."""
    return [f"T{number} M6", "S3000 M3", f"G0 X{x:.4f} Y{y:.4f}", f"G43 H{number} Z60.", f"G0 Z{z:.4f}"]


def rectangle(r: float, z: float, right: float = 0.0, inset: float = 0.0) -> list[str]:
    """Pocket x 8 … 32, y 7 … 23 with a cutter of radius r, right wall shifted out by `right`, all walls in by `inset`; floor wholly cleared."""
    x0, x1, y0, y1 = 8 + r + inset, 32 - r - inset + right, 7 + r + inset, 23 - r - inset
    lines = [*start(1, x0, y0), f"G1 Z{z:.4f} F200."]
    lines += [f"G1 X{x:.4f} Y{y:.4f} F500." for x, y in ((x1, y0), (x1, y1), (x0, y1), (x0, y0), (x0, 15), (x1, 15))]
    return [*lines, "G0 Z60."]


def facing(z: float, step: float = 8.0, last: float = 32.0) -> list[str]:
    """The whole top at height z in rows along X at y = −2, −2 + step, …, last."""
    lines = [*start(1, -20.0, -2.0), f"G1 Z{z:.4f} F500."]
    y, x = -2.0, 60.0
    while y <= last + 1e-9:
        lines += [f"G1 X{x:.4f} F500.", f"G1 Y{y + step:.4f}"]
        y, x = y + step, 40.0 - x
    return [*lines, "G0 Z60."]


def slope_rows(lower: float) -> list[str]:
    """Ball of radius 4 along the plane z = −10 + x·tan 12° in rows 0.4 apart, the whole path lower by `lower`.

    A ball that touches the plane has its centre 4/cos 12° above it, its tip 4 below the centre.
    """
    lines = [*start(1, -8.0, -1.0), "G0 Z2."]
    ends = [
        (x, -10 + x * math.tan(math.radians(12)) + 4 / math.cos(math.radians(12)) - 4 - lower) for x in (-8.0, 48.0)
    ]
    for i in range(81):
        (xa, za), (xb, zb) = ends if i % 2 == 0 else ends[::-1]
        lines += [f"G1 X{xa:.5f} Y{-1 + 0.4 * i:.4f} Z{za:.5f} F900.", f"G1 X{xb:.5f} Z{zb:.5f}"]
    return [*lines, "G0 Z60."]


def circles(*radii: float) -> list[str]:
    """Full circles about (20, 15) at z = −5, from a plunge in the middle."""
    lines = [*start(1, 20.0, 15.0), "G1 Z-5. F200."]
    for r in radii:
        lines += [f"G1 X{20 + r:.4f} Y15. F400.", f"G3 X{20 + r:.4f} Y15. I{-r:.4f} J0."]
    return [*lines, "G1 X20. Y15.", "G0 Z60."]


def round_boss() -> list[str]:
    """Once clockwise round the boss x 10 … 30, y 8 … 22 at z = −5, cutter on the left, compensated with D1."""
    return [
        *start(1, -15.0, -15.0), "G1 Z-5. F500.", "G41 D1 G1 X10. Y-5. F500.", "G1 Y22.", "G1 X30.", "G1 Y8.", "G1 X-5.", "G40 G1 X-20. Y-15.", "G0 Z60.",
    ]  # fmt: skip


def gouges() -> list[Case]:
    """Cuts into the design."""
    flat6, flat20 = {1: tool("flat", 6.0)}, {1: tool("flat", 20.0)}
    sine, cosine = math.sin(math.radians(59)), math.cos(math.radians(12))
    head = "slot,length,length_wear,diameter,diameter_wear"
    return [
        # floor programmed 4.13 deep, drawn 4.00: 0.13 along the floor's normal; the walls are simply longer
        Case("floor too deep", flat6, rectangle(3, -4.13), "pocket.step", gouge=4.13 - 4.00),
        # right wall at 32.08; in the two rounded corners on that side the cutter circle (R3, like the drawn corner) is shifted by 0.08 too
        Case("wall too far", flat6, rectangle(3, -4.0, right=0.08), "pocket.step", gouge=0.08, count=3),
        # register 99.85 for a tool of 100.00: gauge line 0.15 lower than planned, tip 0.15 deeper
        Case("length register short", flat6, rectangle(3, -4.0), "pocket.step", gouge=100.00 - 99.85, found=(head, "1,99.85,0,6,0")),
        # the path lies 0.2 lower, along the normal of a plane of 12° that is 0.2·cos 12° = 0.1956; a row of a 0.4 step stands 0.4²/32 = 0.005 above
        Case("slope too low", {1: tool("ball", 8.0)}, slope_rows(0.2), "slope.step", gouge=0.2 * cosine),
        # drawn: cone of 118° with its tip at 7 + 4/tan 59° = 9.4034; drilled 0.3 deeper: 0.3·sin 59° = 0.2571 normal to the cone
        Case(
            "hole too deep", {1: tool("drill", 8.0, point_angle=118.0)},
            [*start(1, 20, 15), f"G1 Z{-7 - 4 / math.tan(math.radians(59)) - 0.3:.4f} F100.", "G0 Z60."], "hole.step", gouge=0.3 * sine,
        ),
        # floor fillet drawn R2, cutter corner 1: both touch wall and floor; on the 45° line (√2 − 1)·2 and (√2 − 1)·1 from the corner: 0.4142 between.
        # The upright corners are R4 like the cutter, the fillet runs round: four straight fillets and four bent ones
        Case("corner radius too small", {1: tool("bull", 8.0, corner=1.0)}, rectangle(4, -4), "pocket_fillet.step", gouge=math.sqrt(2) - 1, count=8),
        # bore drawn R12, last circle 9.06 + 3 = 12.06
        Case("circle too wide", flat6, circles(4.5, 9.06), "bore.step", gouge=9.06 + 3 - 12),
        # cutter 14.00, register says 13.90: the centre runs 6.95 from the contour, the cutter cuts 7.00: 0.05 into each of the four walls
        Case(
            "radius register small", {1: tool("flat", 14.0)}, round_boss(), "boss.step", gouge=0.05, count=4, found=(head, "1,100,0,13.9,0"),
        ),
        # second operation, z' = −12 − z: the drawn underside z = −11 is z' = −1; faced at −1.1: 0.1 too much. The four sides lose a rim 0.1 high: the
        # surface that is left is nowhere further than 0.1 from them
        Case("underside too deep", flat20, [*start(1, -30, -30), "G0 Z60."], "thin.step", gouge=0.1, second=facing(-1.1)),
    ]  # fmt: skip


def left_overs() -> list[Case]:
    """Material standing proud of the design."""
    flat6, flat20 = {1: tool("flat", 6.0)}, {1: tool("flat", 20.0)}
    drilled = [*start(2, 20, 15), "G1 Z-16. F100.", "G0 Z60."]
    return [
        # floor at 3.88 instead of 4.00
        Case("floor too high", flat6, rectangle(3, -3.88), "pocket.step", left_over=0.12),
        # all walls 0.1 in; at the rounded corners the cutter circle is shifted by 0.1 in x and in y: along the 45° normal 0.1·√2 = 0.1414
        Case("walls too thick", flat6, rectangle(3, -4.0, inset=0.1), "pocket.step", left_over=0.1 * math.sqrt(2), count=8),
        # rows 2 apart with a ball of radius 3 on a level plane: crest 3 − √(9 − 1) = 0.1716
        Case("crests", {1: tool("ball", 6.0)}, facing(-1.0, step=2.0), "faced.step", left_over=3 - math.sqrt(8)),
        # 90° countersink drawn 9 wide, so its point at −4.5; sunk to −4.4: 0.1·sin 45° normal to the cone
        Case(
            "sink too shallow",
            {1: tool("countersink", 12.0, point_angle=90.0, tip_diameter=0.0, shank_diameter=6.0, cutting_length=6.0), 2: tool("drill", 5.0, point_angle=118.0)},
            [*drilled, *start(1, 20, 15), "G1 Z-4.4 F100.", "G0 Z60."], "sink.step", left_over=0.1 * math.sin(math.pi / 4),
        ),
        # corners drawn R3, cutter R4 touching both walls: on the 45° line (√2 − 1)·(4 − 3). Each wall carries some too, between the end of the drawn
        # corner (3 from the other wall) and where the cutter touches (4 from it): up to 4 − √(16 − 1) = 0.127. Four corners, four walls
        Case("corner radius too big", {1: tool("flat", 8.0)}, rectangle(4, -4.0), "pocket.step", left_over=math.sqrt(2) - 1, count=8),
        # corners drawn sharp, cutter R3: (√2 − 1)·3 = 1.2426 across the corner (the P304 page's own example, "across the corner"); an STL
        Case("sharp corners", flat6, rectangle(3, -4.0), "sharp.stl", note=("P304", 3 * (math.sqrt(2) - 1)), count=-1),
        # the same pocket, floor at 3.85: 0.15 on the floor; what the cutter's radius leaves in the sharp corners is no left-over but P304
        Case("floor too high between sharp corners", flat6, rectangle(3, -3.85), "sharp.stl", left_over=0.15, count=-1),
        # second operation: drawn underside at z' = −1, faced at −0.75
        Case("underside too thick", flat20, [*start(1, -30, -30), "G0 Z60."], "thin.step", left_over=0.25, second=facing(-0.75)),
    ]  # fmt: skip


def near_ones() -> list[Case]:
    """Nearest approach of a moving part and a standing body; nothing touches."""
    flat6, flat8 = {1: tool("flat", 6.0)}, {1: tool("flat", 8.0)}
    jaw = body("jaw", [-10, -30, -30], [50, -1, -3])

    def along(y: float, z: float) -> list[str]:
        return [*start(1, -15, y), f"G1 Z{z:.4f} F300.", "G1 X55. F300.", "G0 Z60."]

    a, b = (-10.0, 24.0), (50.0, 42.0)
    across = abs((b[0] - a[0]) * (45 - a[1]) - (b[1] - a[1]) * (20 - a[0])) / math.dist(a, b)
    c, s = math.cos(math.radians(15)), math.sin(math.radians(15))
    holder = {1: tool("flat", 6.0, stick_out=25.0, cutting_length=20.0, holder_diameter=40.0, holder_length=50.0)}
    post = '\n[[operation.place.body]]\nname = "post"\nkind = "stop"\ncentre = [20.0, 45.0]\ndiameter = 10.0\nlow_z = -30.0\nhigh_z = 20.0'
    return [
        # side of the cutter at y = 3.234 − 3 = 0.234, jaw face at y = −1, the tip below the jaw's top: 1.234
        Case("beside the jaw", flat6, along(3.234, -8), bodies=(jaw,), near=("cutter", "jaw", 3.234 - 3 + 1)),
        # edge of the flat end 0.9 beside the jaw's face and 1.2 above its top: √(0.81 + 1.44) = 1.5
        Case("over the jaw's edge", flat6, along(2.9, -1.8), bodies=(jaw,), near=("cutter", "jaw", math.hypot(0.9, 1.2))),
        # ball centre at y = 4, z = −4 + 5 = 1; edge of the jaw at y = −1, z = −3: √(25 + 16) − 5
        Case("ball over the edge", {1: tool("ball", 10.0)}, along(4.0, -4.0), bodies=(jaw,), near=("cutter", "jaw", math.sqrt(41) - 5)),
        # holder face at −10 + 25 = 15, clamp's top at 12.7 under the holder (x −15 … 25), 8 beside the cutter
        Case(
            "holder over the clamp", holder, [*start(1, 5, 15), "G1 Z-10. F200.", "G1 X25. F300.", "G0 Z60."],
            bodies=(body("clamp", [-14.0, 5.0, -30.0], [-6.0, 25.0, 12.7]),), near=("holder", "clamp", -10 + 25 - 12.7),
        ),
        # distance of the post's axis (20, 45) from the line (−10, 24) … (50, 42): |60·21 − 18·30| / √(60² + 18²) = 11.494; less 5 and 4
        Case(
            "past a post", flat8, [*start(1, *a, 3), f"G1 X{b[0]} Y{b[1]} F500.", "G0 Z60."], bodies=(post,), near=("cutter", "post", across - 5 - 4),
        ),
        # arc of radius 22 about (20, 15); corner of the block at (40, 35.8): √(20² + 20.8²) − 22 − 4
        Case(
            "arc past a corner", flat8, [*start(1, 42, 15, 3), "G3 X20. Y37. I-22. J0. F500.", "G0 Z60."],
            bodies=(body("block", [40.0, 35.8, -30.0], [55.0, 50.0, 20.0]),), near=("cutter", "block", math.hypot(20, 20.8) - 22 - 4),
        ),
        # box x 50 … 70, y 0 … 30 turned 15° about its middle (60, 15): its corner (−10, 15) comes to x = 60 − 10·cos 15° − 15·sin 15° = 46.458
        Case(
            "past a turned block", flat6, [*start(1, 41, -10, 2), "G1 Y45. F500.", "G0 Z60."],
            bodies=(body("block", [50.0, 0.0, -30.0], [70.0, 30.0, 10.0], 15.0),), near=("cutter", "block", 60 - 10 * c - 15 * s - 41 - 3),
        ),
    ]  # fmt: skip


def check(case: Case, folder: Path, ask: Callable[[Path], dict[str, list[dict[str, object]]]]) -> list[str]:
    """What is wrong with the program's answer, empty when it agrees within 0.02 mm."""
    said = ask(write(case, folder))
    wrong = []
    if case.design and case.count >= 0:
        for key, wanted in (("gouge", case.gouge), ("left_over", case.left_over)):
            amounts = [float(str(s[key])) for s in said["surfaces"]]
            worst = max(amounts)
            over = sum(amount > TOLERANCE_MM for amount in amounts)
            if not abs(worst - wanted) <= TOLERANCE_MM:
                wrong.append(f"{key} {worst:.4f}, by hand {wanted:.4f}")
            if wanted and over != case.count:
                wrong.append(f"{key} on {over} surfaces, by hand {case.count}: {said['surfaces']}")
    found = [f for f in said["findings"] if f["code"] in ("P301", "P302", "P303")]
    if case.gouge or case.left_over:
        worst = max((float(str(f["amount"])) for f in found if f["amount"] is not None), default=-1.0)
        if not abs(worst - max(case.gouge, case.left_over)) <= TOLERANCE_MM:
            wrong.append(
                f"findings say {worst:.4f}, by hand {max(case.gouge, case.left_over):.4f}: {[f['what'] for f in found]}"
            )
    if case.note:
        code, wanted = case.note
        amounts = [float(str(f["amount"])) for f in said["findings"] if f["code"] == code and f["amount"] is not None]
        if not amounts or not abs(max(amounts) - wanted) <= TOLERANCE_MM:
            wrong.append(f"{code} {amounts}, by hand {wanted:.4f}; findings {[f['what'] for f in said['findings']]}")
    if case.near:
        part, standing, wanted = case.near
        amounts = [float(str(a["clearance"])) for a in said["approaches"] if (a["part"], a["body"]) == (part, standing)]
        if not amounts or not abs(min(amounts) - wanted) <= TOLERANCE_MM:
            wrong.append(f"nearest {part} to {standing} {amounts}, by hand {wanted:.4f}; {said['approaches']}")
    stops = [f["what"] for f in said["findings"] if f["severity"] == "STOP" and f["code"] != "P301"]
    if stops:
        wrong.append(f"unexpected STOP: {stops}")
    return wrong


def cases() -> list[Case]:
    """All of them."""
    return [*gouges(), *left_overs(), *near_ones()]
