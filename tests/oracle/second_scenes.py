"""Draws complete two-operation jobs from a seed, each with at most one planted change, for the second contact judge.

Written from the job-file, prove and code pages and the reference texts alone: neither the product's source nor any other oracle, law or twin
of this project was read. Parts, programs, tools and numbers are invented. Lengths in mm.
"""

import math
import random
from dataclasses import dataclass, replace
from pathlib import Path

from tests.oracle.second_program import (
    ENTRY_MM,
    OFFSETS,
    Body,
    Nc,
    Scene,
    Setup,
    Tool,
    corners,
    face,
    groove,
    outline,
    pocket,
    slot,
    start_of,
)


def levels_to(depth: float, step: float) -> list[float]:
    """Equal steps from 0 down to -depth."""
    n = max(1, math.ceil(depth / step))
    return [-depth * (k + 1) / n for k in range(n)]


ALL, DEEP = ("touch", "shallow", "near"), ("touch",)
KINDS = {
    "low rapid": ALL,
    "short stick-out": ALL,
    "contour over a jaw": ALL,
    "low R plane": ALL,
    "soft jaw cut too deep": ALL,
    "drilled into a rest": ALL,
    "rapid below the floor": ALL,
    "finishing ring at rapid": ALL,
    "low over the stop": ALL,
    "holder beside the stop": ALL,
    "short cutting edge": ALL,
    "shallow roughing": ALL,
    "wrong length": ALL,
    "work offset low": ALL,
    "tall post": ALL,
    "wrong H word": DEEP,
    "slanted way out": DEEP,
    "lead-in at rapid": DEEP,
}


class Plan:
    """What is planted where; `gap` gives the normal clearance of a kind, or the planted one."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.want = rng.choices(("touch", "shallow", "near", "clear"), (34, 22, 19, 25))[0]
        self.kind = rng.choice([k for k, wants in KINDS.items() if self.want in wants] or ["no change"])
        self.op = rng.choice((1, 2))
        deep = {"touch": rng.uniform(0.35, 3.0), "shallow": rng.uniform(0.07, 0.3), "near": -rng.uniform(0.05, 0.3)}
        self.amount = round(deep.get(self.want, 0.0), 3)

    def here(self, kind: str, k: int | None = None) -> bool:
        """Is this kind planted in this operation (0 or 1)?"""
        return self.kind == kind and (k is None or self.op == k + 1)

    def gap(self, kind: str, k: int, low: float, high: float) -> float:
        """Clearance of a kind."""
        usual = self.rng.uniform(low, high)
        return -self.amount if self.here(kind, k) else usual

    @property
    def stop(self) -> int | None:
        """The operation that has a stop standing up beside the part, if any."""
        return self.op - 1 if self.kind in ("low over the stop", "holder beside the stop") else None


@dataclass
class Sizes:
    """Drawn measures of a job; pairs are for operation 1 and 2."""

    size: tuple[float, float]
    thick: float
    over: list[float]
    inset: float
    edge: float
    jaws: list[float]
    bottoms: list[float]
    clears: list[float]
    deep: list[float]
    stop_high: float


def draw(seed: int, more: float = 0.0) -> Scene:
    """One job; `want` is what the generator means it to be: touch, shallow, near or clear; `more` moves the planted measure."""
    rng = random.Random(seed)
    plan = Plan(rng)
    plan.amount += more
    size = (round(rng.uniform(118, 150), 3), round(rng.uniform(55, 80), 3))
    thick, over, inset = (
        round(rng.uniform(24, 32), 3),
        [rng.uniform(0.6, 1.6), rng.uniform(0.8, 2)],
        rng.uniform(1.5, 3),
    )
    over, inset = [round(v, 3) for v in over], round(inset, 3)
    if plan.stop is not None:
        over[plan.stop] = 0.0  # no face milling beside the stop
    edge = round(rng.uniform(0.42, 0.5) * thick, 3)
    jaws = [0.0, round(-thick + edge - rng.uniform(1.5, 2.5), 3)]
    gaps = [plan.gap("contour over a jaw", 0, 0.8, 2), plan.gap("contour over a jaw", 1, 0.5, 1.2)]
    may_cut = round(rng.uniform(0.5, 1.2), 3) if plan.here("soft jaw cut too deep") else 0.0
    if may_cut:
        gaps[1] = -may_cut - plan.amount
    jaws[0] = round(-edge - gaps[0], 3)
    deep = [rng.uniform(0.35, 0.48) * thick, rng.uniform(0.28, 0.38) * thick]
    s = Sizes(size, thick, over, inset, edge, jaws, [-edge, round(jaws[1] + gaps[1], 3)], [rng.uniform(2, 4) for _ in over],
              [round(v, 3) for v in deep], round(rng.uniform(5, 14), 3))  # fmt: skip
    tools = _tools(plan, s, gaps)
    low, high = (0.0, 0.0, round(-thick - over[1], 3)), (*size, over[0])
    about = rng.choice("XY")
    shift = (0.0, size[1], -thick) if about == "X" else (size[0], 0.0, -thick)
    story = f"{plan.kind}, op {plan.op}, {plan.amount}"
    scene = Scene(seed, story, plan.want, low, high, about, shift, [], tools, rng.random() < 0.5)
    for k in (0, 1):
        setup = Setup(f"op{k + 1}.nc", ("G54", "G55")[k], _bodies(plan, s, k, scene, may_cut * k))
        if plan.here("work offset low", k):
            setup.datum_error = -round(gaps[k] + plan.amount, 3)
        scene.setups.append(setup)
        nc = Nc(setup, 5001 + k, f"PLATE OP {k + 1}", rng.random() < 0.5, rng.random() < 0.5)
        _operation(nc, plan, s, k, scene)
        nc.end()
    return scene


def _tools(plan: Plan, s: Sizes, gaps: list[float]) -> list[Tool]:
    rng, down = plan.rng, [-b for b in s.bottoms]
    mill, small, bore = rng.choice((10, 12, 16)), rng.choice((6, 8)), rng.choice((5, 6.8, 8.5))
    stick2 = max(down) + rng.uniform(4, 8)
    if plan.stop is not None:
        stick2 = max(*down, down[plan.stop] + s.stop_high + 0.5) + rng.uniform(3, 6)
    if plan.here("holder beside the stop"):
        k = plan.op - 1
        stick2 = down[k] + s.stop_high - plan.amount
        s.bottoms[1 - k] = max(s.bottoms[1 - k], 1 - stick2)
    stick3, edge3, shank3 = max(s.deep) + rng.uniform(4, 8), 0.0, small
    if plan.here("short stick-out"):
        stick3 = s.deep[plan.op - 1] - plan.amount
        s.deep[2 - plan.op] = min(s.deep[2 - plan.op], stick3 - 1)
    if plan.here("short cutting edge"):
        shank3, edge3 = small + 4, s.deep[plan.op - 1] - plan.amount
        s.deep[2 - plan.op] = min(s.deep[2 - plan.op], edge3 - 1)
    wrong, who = -round(plan.amount, 3), rng.choice((2, 3, 4)) if plan.here("wrong length") else 0
    errors = {2: min(gaps), 3: ENTRY_MM, 4: 1.0}
    tools = [
        Tool(1, "face", rng.choice((40, 50, 63)), 10, 22, 45, 50),
        Tool(2, "flat", mill, min(22, stick2 - 1), mill, stick2, rng.choice((32, 40))),
        Tool(3, "flat", small, edge3 or stick3 - 0.5, shank3, stick3, rng.choice((25, 28, 34))),
        Tool(4, "drill", bore, 45, bore, 55, 30, point_angle=rng.choice((118, 140))),
        Tool(5, "chamfer", 10, 4.5, 8, 35, 28, point_angle=90, tip=1.0),
        Tool(6, "ball", rng.choice((6, 8, 10)), 14, 6, 34, 28),
    ]
    tools = [replace(t, register_error=wrong - errors[t.number]) if t.number == who else t for t in tools]
    short = round(0.9 * max(s.deep) + 0.3, 3)
    if rng.random() < 0.5 and tools[2].cutting > short + 1:
        tools[2] = replace(tools[2], cutting=short, neck=small - 0.5, neck_length=round(tools[2].cutting, 3) - short)
    for k in (1, 2):
        if rng.random() < 0.5:
            tools[k] = replace(tools[k], step=tools[k].holder + 12)
    return [Tool(**{k: round(v, 3) if isinstance(v, float) else v for k, v in vars(t).items()}) for t in tools]


def _bodies(plan: Plan, s: Sizes, k: int, scene: Scene, may_cut: float) -> list[Body]:
    (length, width), jaw, rng = s.size, s.jaws[k], plan.rng
    if k == 0:
        seat, y0, y1, kinds = scene.raw_low[2], 0.0, width, ("fixed jaw", "moving jaw")
    else:
        seat, y0, y1, kinds = -s.thick, s.inset, width - s.inset, ("soft jaw", "soft jaw")
    base, x0, x1 = seat - 30, -15.0, length + 15
    found = [
        Body("fixed jaw", kinds[0], (x0, y0 - 40, base), (x1, y0, jaw), may_cut=may_cut),
        Body("moving jaw", kinds[1], (x0, y1, base), (x1, y1 + 40, jaw), may_cut=may_cut),
        Body("front rest", "parallel", (x0, y0, base), (x1, y0 + 12, seat)),
        Body("rear rest", "parallel", (x0, y1 - 6, base), (x1, y1, seat)),
        Body("vise bed", "vise bed", (x0 - 60, y0 - 80, base - 40), (x1 + 20, y1 + 120, base)),
    ]
    if plan.stop == k:
        r = scene.tools[1].diameter / 2
        right = start_of(s.inset, r) - r - 2.5
        low, high = (right - 12, width / 2 - 6, jaw - 2), (right, width / 2 + 6, s.stop_high)
        found.append(
            Body("stop", "stop", low, high, *rng.choice(((True, 0.0), (False, 0.0), (False, 15.0), (False, -8.0))))
        )
    if plan.here("tall post", k):
        x = length + 66
        top = scene.tools[0].length + plan.amount
        found.append(
            Body("tall post", "clamp", (x, width / 2 - 7, base), (x + 14, width / 2 + 7, top), rng.random() < 0.5)
        )
    return found


def _operation(nc: Nc, plan: Plan, s: Sizes, k: int, scene: Scene) -> None:
    rng, (face_mill, mill, small, drill, chamfer, ball) = plan.rng, scene.tools
    (length, width), over, inset, deep = s.size, s.over[k], s.inset, s.deep[k]
    clear = s.clears[k] + (s.stop_high if plan.stop == k else 0)
    away, high = (-70.0, width / 2), over + clear
    if over:
        nc.change(face_mill, *away, high + 20)
        face(nc, s.size, [over / 2, 0.0], high)
    n = 4
    wide = (length - 2 * inset - 4 * (n + 1)) / n
    cells = [(inset + 4 + c * (wide + 4), inset + 4 + c * (wide + 4) + wide) for c in range(n)]
    y0, y1 = inset + 6, width - inset - 6
    order = ["pocket", "groove", "slot", "two tools", "ball slots"]
    rng.shuffle(order)
    order = order[:n]
    two = order.index("two tools") if "two tools" in order else None
    if plan.here("shallow roughing", k) and two is None:
        two = rng.randrange(n)
        order[two] = "two tools"
    if (plan.here("rapid below the floor", k) or plan.here("finishing ring at rapid", k)) and "pocket" not in order:
        order[(two or 0) - 1] = "pocket"
    if plan.here("slanted way out", k) and "slot" not in order:
        order[(two or 0) - 2] = "slot"
    where = {what: (cells[c], c) for c, what in enumerate(order)}

    nc.change(mill, *away, high + 20)
    nc.go(z=s.stop_high + plan.gap("low over the stop", k, 1.5, 3) if plan.stop == k else clear)
    corner, lead = rng.uniform(2, 8), 0 if plan.here("lead-in at rapid", k) else 600
    plate = (inset, inset), (length - inset, width - inset)
    outline(nc, *plate, corner, levels_to(-s.bottoms[k], rng.uniform(2.5, 4)), clear, lead=lead)
    rough, y2 = rng.uniform(0.5, 0.9) * deep, min(y1, y0 + 34)
    if two is not None:
        (x0, x1), above = where["two tools"][0], plan.gap("shallow roughing", k, 0.75, 0.95)
        pocket(nc, (x0, y0), (x1, y2), levels_to(max(1.0, rough - 0.5 + above), 3), clear)

    nc.change(small, *away, high + 20)
    mine = [w for w in order if w in ("pocket", "groove", "slot", "two tools")]
    lower, deepest = rng.randrange(len(mine) - 1), next(w for w in mine if w != "two tools")
    for index, what in enumerate(mine):
        (x0, x1), _ = where[what]
        lift = -plan.amount if plan.here("low rapid", k) and index == lower else clear
        part = deep if what == deepest else deep * rng.uniform(0.5, 0.9)
        down, r = levels_to(part, rng.uniform(1.5, 2.5)), small.diameter / 2
        if what == "pocket":
            ring = -rng.uniform(0.4, 0.8) if rng.random() < 0.5 else None
            ring = plan.amount if plan.here("finishing ring at rapid", k) else ring
            pocket(nc, (x0, y0), (x1, y1), down, lift, plan.gap("rapid below the floor", k, 0.35, 0.6), ring)
        elif what == "groove":
            groove(nc, ((x0 + x1) / 2, (y0 + y1) / 2), min(wide / 2, (y1 - y0) / 2) - r, down, lift)
        elif what == "slot":
            slot(nc, (x0 + r, y0 + r), (x1 - r, y1 - r), down, lift, away if plan.here("slanted way out", k) else None)
        else:
            corners(nc, (x0, y0), (x1, y2), -rough, 0.5, lift)
    if "ball slots" in order:
        (x0, x1), _ = where["ball slots"]
        nc.change(ball, *away, high + 20)
        for f in (0.2, 0.5, 0.8):
            y = y0 + f * (y1 - y0)
            slot(
                nc,
                (x0 + 5, y),
                (x1 - 5, y + rng.uniform(-2, 2)),
                levels_to(min(6.0, deep), 1.5),
                rng.uniform(0.5, 2) + (clear if f == 0.8 else 0),
            )
    wrong = rng.choice((drill, chamfer)) if plan.here("wrong H word", k) else None  # gets the H word of the small mill
    nc.change(drill, *away, high + 20, small if wrong is drill else None)
    nc.go(z=clear)
    x = cells[rng.randrange(n - 1)][1] + 2
    plane = plan.gap("low R plane", k, 1.0, 1.0)
    nc.drill([(x, width * f) for f in (0.25, 0.5, 0.75)], -deep - 4, plane, rng.choice((0, 3.0)), rng.random() < 0.5)
    nc.go(z=clear)
    seat = scene.raw_low[2] if k == 0 else -s.thick
    bottom = seat + plan.gap("drilled into a rest", k, 0.6, 2)
    nc.drill([(c[1] + 2, inset + 6) for c in cells[:-1]], bottom, 1.0, rng.choice((0, 4.0)), rng.random() < 0.5)
    nc.go(z=clear)
    nc.change(chamfer, *away, high + 20, small if wrong is chamfer else None)
    nc.go(z=clear)
    outline(nc, *plate, corner, [-2.0], clear, r=rng.uniform(1.8, 2.4))


SHOP = """# Invented shop of one machine.
format = 1
units = "mm"

[[machine]]
name = "invented"
travel = { X = [-600, 0], Y = [-500, 0], Z = [-420, 0] }
rapid = { X = 24000, Y = 24000, Z = 18000 }
acceleration = { X = 3.0, Y = 3.0, Z = 2.5 }
feed_limit = 12000
table_z = -560

[machine.spindle]
rpm = [50, 12000]
curve = "not known"
nose = { diameter = 90, length = 120 }

[machine.magazine]
positions = 20
change_at = { Z = 0 }

[machine.control]
profile = "mill"
start_units = "mm"
decimals = "as written"
dwell = "ms"
rapid_path = "straight"
length = "gauge line"
radius = "diameter"
peck_clearance = 0.254
"""


def write(scene: Scene, folder: Path) -> None:
    """The job folder of a scene."""
    folder.mkdir(parents=True, exist_ok=True)
    held = [
        f'\n[[holder]]\nid = "step {t.number}"\nprofile = [[{t.holder}, 12], [{t.step}, {t.holder_length - 12}]]\n'
        for t in scene.tools
        if t.step
    ]
    (folder / "shop.toml").write_text(SHOP + "".join(held), encoding="utf-8")
    rows = [
        "units = mm",
        "number,name,kind,diameter,point_angle,tip_diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,"
        "holder_length,length_register,neck_diameter,neck_length,holder",
    ]

    def planned(t: Tool) -> float:
        return round(t.length + (0.0 if scene.found_table else t.register_error), 3)

    for t in scene.tools:
        rows.append(
            f"{t.number},{t.kind} {t.diameter:g},{t.kind},{t.diameter:g},{t.point_angle or ''},{t.tip or ''},{t.cutting:g},{t.shank:g},"
            f"{t.stick:g},{t.length:g},{'' if t.step else t.holder},{'' if t.step else t.holder_length},{planned(t):g},"
            f"{t.neck or ''},{t.neck_length or ''},{f'step {t.number}' if t.step else ''}"
        )
    found = []
    if scene.found_table:
        rows_found = [f"{t.number},{t.length + t.register_error:.3f},0,{t.diameter:g},0" for t in scene.tools]
        table = "\n".join(["units = mm", "slot,length,length_wear,diameter,diameter_wear", *rows_found]) + "\n"
        (folder / "found-tools.csv").write_text(table, encoding="utf-8")
        found.append('tool_table = "found-tools.csv"')
    if any(u.datum_error for u in scene.setups):
        origins = {u.system: (*OFFSETS[u.system][:2], OFFSETS[u.system][2] + u.datum_error) for u in scene.setups}
        rows_found = [f"{name},{x:.3f},{y:.3f},{z:.3f}" for name, (x, y, z) in origins.items()]
        (folder / "found-offsets.csv").write_text(
            "\n".join(["units = mm", "system,X,Y,Z", *rows_found]) + "\n", encoding="utf-8"
        )
        found.append('offsets = "found-offsets.csv"')
    (folder / "tools.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    job = [
        f"# seed {scene.seed}: {scene.story}", "format = 1", 'units = "mm"', 'part = "plate"', 'revision = "A"', "quantity = 24",
        'material = "EN AW-6082-T6"', 'shop = "shop.toml"', 'machine = "invented"', 'tools = "tools.csv"', "invented = true",
    ]  # fmt: skip
    job += ["", "[found]", *found] if found else []
    for k, setup in enumerate(scene.setups):
        (folder / setup.file).write_text("\n".join(setup.text) + "\n", encoding="utf-8")
        job += ["", "[[operation]]", f'name = "op {k + 1}"', f'program = "{setup.file}"', "", "[[operation.offset]]"]
        job += [f'system = "{setup.system}"', f"origin = {list(OFFSETS[setup.system])}", "", "[[operation.place]]"]
        job += [f'name = "place {k + 1}"', f'offset = "{setup.system}"', "", "[operation.place.stock]"]
        if k == 0:
            job += ['kind = "box"', f"low = {list(scene.raw_low)}", f"high = {list(scene.raw_high)}"]
        else:
            job += [
                'kind = "from"',
                'operation = "op 1"',
                f'turn = "180 about {scene.about}"',
                f"shift = {list(scene.shift)}",
            ]
        for b in setup.bodies:
            job += ["", "[[operation.place.body]]", f'name = "{b.name}"', f'kind = "{b.kind}"']
            if b.round_:
                job += [f"centre = [{(b.low[0] + b.high[0]) / 2}, {(b.low[1] + b.high[1]) / 2}]"]
                job += [f"diameter = {b.high[0] - b.low[0]}", f"low_z = {b.low[2]}", f"high_z = {b.high[2]}"]
            else:
                job += [f"low = {[round(v, 3) for v in b.low]}", f"high = {[round(v, 3) for v in b.high]}"]
                job += [f"turn = {b.turn}"] if b.turn else []
            job += [f"may_cut = {b.may_cut}"] if b.may_cut else []
    (folder / "job.toml").write_text("\n".join(job) + "\n", encoding="utf-8")
