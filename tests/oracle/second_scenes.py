"""Draws complete two-operation jobs from a seed, each with at most one planted change, for the second contact judge.

Written from the job-file, prove and code pages and the reference texts alone: neither the product's source nor any other oracle, law or twin
of this project was read. Parts, programs, tools and numbers are invented. Lengths in mm.
"""

import math
import random
from pathlib import Path

from tests.oracle.second_program import OFFSETS, Body, Nc, Scene, Setup, Tool, face, groove, outline, pocket, slot


def levels_to(depth: float, step: float) -> list[float]:
    """Equal steps from 0 down to -depth."""
    n = max(1, math.ceil(depth / step))
    return [-depth * (k + 1) / n for k in range(n)]


KINDS = ("low rapid", "short stick-out", "contour over a jaw")


def draw(seed: int) -> Scene:
    """One job; `want` is what the generator means it to be: touch, shallow, near or clear."""
    rng = random.Random(seed)
    want = rng.choices(("touch", "shallow", "near", "clear"), (35, 23, 18, 24))[0]
    amount = {"touch": rng.uniform(0.35, 3.0), "shallow": rng.uniform(0.06, 0.3), "near": -rng.uniform(0.05, 0.3)}.get(
        want
    )
    kind = rng.choice(KINDS) if amount is not None else "no change"
    op = rng.choice((1, 2))
    size = (rng.uniform(90, 140), rng.uniform(55, 80))
    thick, top, under, inset = rng.uniform(22, 32), rng.uniform(0.6, 1.6), rng.uniform(0.8, 2), rng.uniform(1.5, 3)
    edge = round(rng.uniform(0.42, 0.52) * thick, 2)
    gaps = [rng.uniform(0.8, 2), rng.uniform(0.5, 1.2)]
    if kind == "contour over a jaw":
        gaps[op - 1] = -amount
    clears = [rng.uniform(2, 4), rng.uniform(2, 4)]
    deep = [edge, rng.uniform(0.3, 0.4) * thick]
    sticks = [max(edge, thick - edge + 3) + rng.uniform(3, 8), max(deep) + rng.uniform(2, 6)]
    if kind == "short stick-out":
        sticks[1] = deep[op - 1] - amount
        deep[2 - op] = min(deep[2 - op], sticks[1] - 1)
    mill, small, bore = rng.choice((10, 12, 16)), rng.choice((6, 8)), rng.choice((5, 6.8, 8.5))
    tools = [
        Tool(1, "face", rng.choice((40, 50, 63)), 10, 22, 45, 50),
        Tool(2, "flat", mill, min(22, sticks[0] - 1), mill, sticks[0], rng.choice((32, 40))),
        Tool(3, "flat", small, sticks[1] - 0.5, small, sticks[1], rng.choice((25, 28, 34))),
        Tool(4, "drill", bore, 45, bore, 55, 30, point_angle=rng.choice((118, 140))),
    ]
    tools = [_rounded(t) for t in tools]
    low, high = (0.0, 0.0, round(-thick - under, 3)), (round(size[0], 3), round(size[1], 3), round(top, 3))
    about = rng.choice("XY")
    turned = round(thick, 3)
    scene = Scene(
        seed, f"{kind}, op {op}, {amount}", want, low, high, about,
        (0.0, high[1], -turned) if about == "X" else (high[0], 0.0, -turned), [], tools,
    )  # fmt: skip
    jaw2 = round(-thick + edge - rng.uniform(1.5, 2.5), 3)
    for k in (0, 1):
        bottom = -edge if k == 0 else jaw2 + gaps[1]
        jaw = round(-edge - gaps[0], 3) if k == 0 else jaw2
        setup = Setup(f"op{k + 1}.nc", ("G54", "G55")[k], _vise(scene, k, jaw, inset))
        scene.setups.append(setup)
        nc = Nc(setup, 5001 + k, f"PLATE OP {k + 1}")
        low_clear = -amount if kind == "low rapid" and op == k + 1 else None
        _operation(nc, rng, scene, inset, bottom, deep[k], clears[k], (top, under)[k], low_clear)
        nc.end()
    return scene


def _rounded(t: Tool) -> Tool:
    return Tool(**{k: round(v, 3) if isinstance(v, float) else v for k, v in vars(t).items()})


def _vise(scene: Scene, k: int, jaw: float, inset: float) -> list[Body]:
    length, width, foot = scene.raw_high[0], scene.raw_high[1], scene.raw_low[2]
    if k == 0:
        base, y0, y1, kinds = foot - 30, 0.0, width, ("fixed jaw", "moving jaw")
        seat, seat_w = foot, 8.0
    else:
        seat = scene.shift[2]
        base, y0, y1, kinds = seat - 30, round(inset, 3), round(width - inset, 3), ("soft jaw", "soft jaw")
        seat_w = 4.0
    x0, x1 = -15.0, length + 15
    return [
        Body("fixed jaw", kinds[0], (x0, y0 - 40, base), (x1, y0, jaw)),
        Body("moving jaw", kinds[1], (x0, y1, base), (x1, y1 + 40, jaw)),
        Body("front rest", "parallel", (x0, y0, base), (x1, y0 + seat_w, seat)),
        Body("rear rest", "parallel", (x0, y1 - seat_w, base), (x1, y1, seat)),
        Body("vise bed", "vise bed", (x0 - 20, y0 - 80, base - 40), (x1 + 20, y1 + 120, base)),
    ]


def _operation(
    nc: Nc, rng: random.Random, scene: Scene, inset: float, bottom: float, deep: float, clear: float, over: float,
    low_clear: float | None,
) -> None:  # fmt: skip
    face_mill, mill, small, drill = scene.tools
    size = scene.raw_high[:2]
    away = (-40.0, size[1] / 2)
    high = over + clear
    nc.change(face_mill, *away, high + 20)
    face(nc, size, [over / 2, 0.0], high)
    nc.change(mill, *away, high + 20)
    nc.go(z=clear)
    steps = levels_to(-bottom, rng.uniform(2.5, 4))
    outline(nc, (inset, inset), (size[0] - inset, size[1] - inset), rng.uniform(2, 8), steps, clear, 0.5)
    nc.change(small, *away, high + 20)
    n = 3
    wide = (size[0] - 2 * inset - 4 * (n + 1)) / n
    order = ["pocket", "groove", "slot"]
    rng.shuffle(order)
    lower = rng.randrange(n - 1)
    for k, what in enumerate(order):
        x0, y0 = inset + 4 + k * (wide + 4), inset + 6
        x1, y1 = x0 + wide, size[1] - inset - 6
        lift = low_clear if low_clear is not None and k == lower else clear
        part = deep if what == "pocket" else deep * rng.uniform(0.4, 0.9)
        down = levels_to(part, rng.uniform(1.5, 2.5))
        r = small.diameter / 2
        if what == "pocket":
            pocket(nc, (x0, y0), (x1, y1), down, lift)
        elif what == "groove":
            groove(nc, ((x0 + x1) / 2, (y0 + y1) / 2), min(wide / 2, (y1 - y0) / 2) - r, down, lift)
        else:
            slot(nc, (x0 + r, y0 + r), (x1 - r, y1 - r), down, lift)
    nc.change(drill, *away, high + 20)
    nc.go(z=clear)
    holes = [(inset + 4 + wide + 2, size[1] * f) for f in (0.25, 0.5, 0.75)]
    nc.drill(holes, -deep - 4, 1.0, rng.choice((0, 3.0)), rng.random() < 0.5)


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
    (folder / "shop.toml").write_text(SHOP, encoding="utf-8")
    rows = [
        "units = mm",
        "number,name,kind,diameter,point_angle,tip_diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,"
        "holder_length,length_register",
    ]
    for t in scene.tools:
        rows.append(
            f"{t.number},{t.kind} {t.diameter:g},{t.kind},{t.diameter:g},{t.point_angle or ''},{t.tip or ''},{t.cutting:g},{t.shank:g},"
            f"{t.stick:g},{t.length:g},{t.holder:g},{t.holder_length:g},{t.length + t.register_error:g}"
        )
    (folder / "tools.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    job = [
        f"# seed {scene.seed}: {scene.story}", "format = 1", 'units = "mm"', 'part = "plate"', 'revision = "A"', "quantity = 24",
        'material = "EN AW-6082-T6"', 'shop = "shop.toml"', 'machine = "invented"', 'tools = "tools.csv"', "invented = true",
    ]  # fmt: skip
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
    (folder / "job.toml").write_text("\n".join(job) + "\n", encoding="utf-8")
