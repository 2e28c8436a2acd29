"""Random clean jobs that stay clean, and the same jobs with one planted change that must be found.

Every job clears by at least GAP in every place; the planted change closes one gap and goes GAP further. The geometry
is known in closed form, so no other search is needed to know the answer.
"""

import math

import numpy as np
import pytest

from halfthou.prove.clash import contacts
from tests.unit.clash_scene import C, H, N, S, box, drill, end_mill, scene, tool

GAP = 0.05
TOP = 20.0


def ball(r, n=40):
    a = np.linspace(-math.pi / 2, 0, n)
    arc = [[r * math.cos(t), r + r * math.sin(t)] for t in a]
    arc[0][0] = 0.0
    points = [*arc, [r, 4 * r], [r, 12 * r], [15, 12 * r], [15, 12 * r + 50]]
    return tool(1, "ball", 2 * r, points, [C] * n + [S, H, H], cutting_mm=4 * r, stick_out_mm=12 * r)


def run(tools, path, **more):
    s = scene(tools, path, **more)
    return contacts(s.moves, s.sweeps, s.job, 0, (), shifts=s.shifts, rapid_path="straight")[0]


def contour(rng, planted):
    """Round a block in levels, then a rapid along the finished wall: GAP off it, or GAP into it."""
    d = float(rng.choice([6.0, 10.0, 16.0]))
    r, z = d / 2, -float(rng.uniform(3, 9))
    x0, y0, x1, y1 = 10 - r, 10 - r, 90 + r, 50 + r  # centre path leaving a block 10 … 90 × 10 … 50
    path = [("G0", -20, y0, TOP)]
    for level in np.linspace(z / 2, z, 2):
        path += [("G0", -20, y0, float(level)), ("G1", x1, y0, float(level)), ("G1", x1, y1, float(level))]
        path += [("G1", x0, y1, float(level)), ("G1", x0, -20, float(level)), ("G0", x0, -20, TOP)]
        path += [("G0", -20, -20, TOP), ("G0", -20, y0, TOP)]
    in_ = GAP if planted else -GAP
    path += [("G0", -20, y0 + in_, TOP), ("G0", -20, y0 + in_, z), ("G0", 60, y0 + in_, z), ("G0", 60, y0, TOP)]
    # in the clean job the gap is to the wall; beside the path away from it material stands: widen the channel there
    path[1:1] = [("G0", -20, y0 - r, TOP), ("G0", -20, y0 - r, z), ("G1", 120, y0 - r, z), ("G0", 120, y0 - r, TOP)]
    path[5:5] = [("G0", -20, y0, TOP)]
    return [end_mill(d=d, edge=10, out=40)], path, "P211"


def pecks(rng, planted):
    """Peck drilling written out: back down to GAP above the last peck, or GAP under it."""
    d, x, y = float(rng.uniform(2, 9)), float(rng.uniform(20, 80)), float(rng.uniform(15, 45))
    path, last, wrong = [("G0", x, y, TOP), ("G0", x, y, 2)], 0.0, int(rng.integers(1, 4))
    for i in range(4):
        down = last - GAP if planted and i == wrong else last + GAP
        path += [("G0", x, y, min(down, 2)), ("G1", x, y, last - 3), ("G0", x, y, 2)]
        last -= 3
    return [drill(d=d)], path, "P211"


def balls(rng, planted):
    """A raster of a ball over a wavy surface, then a rapid across the row just cut, GAP up or GAP down."""
    r = float(rng.choice([1.5, 3.0, 5.0]))
    y = float(rng.uniform(15, 45))
    xs = np.linspace(-10, 110, 25)
    zs = -2 - np.cos(xs / 9) * 0.8
    path = [("G0", -10, y, TOP), ("G0", -10, y, float(zs[0]))]
    path += [("G1", float(x), y, float(z)) for x, z in zip(xs, zs, strict=True)]
    by = -GAP if planted else GAP
    path += [("G0", float(x), y, float(z) + by) for x, z in zip(xs[::-1], zs[::-1], strict=True)]
    return [ball(r)], [*path, ("G0", -10, y, TOP)], "P211"


def ring(rng, planted):
    """A round pocket by a helix and a ring, then a rapid ring GAP smaller, or GAP larger."""
    d = float(rng.choice([6.0, 8.0]))
    big, z = float(rng.uniform(d * 0.3, d * 0.8)), -float(rng.uniform(2, 6))
    x, y = float(rng.uniform(40, 60)), 30.0
    path = [("G0", x + 1, y, TOP), ("G0", x + 1, y, 0.5), ("G3", x + 1, y, z, x, y, 4), ("G3", x + 1, y, z, x, y, 1)]
    path += [("G1", x + big, y, z), ("G3", x + big, y, z, x, y, 1)]
    out = big + (GAP if planted else -GAP)
    a = np.linspace(0, 2 * math.pi, 9) + 0.3
    path += [("G0", x, y, z), *(("G0", x + out * math.cos(t), y + out * math.sin(t), z + 0.02) for t in a)]
    return [end_mill(d=d, edge=12, out=40)], [*path, ("G0", x, y, z + 0.02), ("G0", x, y, TOP)], "P211"


def holder(rng, planted):
    """A slot in levels; the holder face stays GAP above the stock's top, or goes GAP under it."""
    out, y = float(rng.uniform(12, 18)), float(rng.uniform(10, 50))
    d = float(rng.choice([6.0, 10.0]))
    stub = end_mill(d=d, edge=out - 4, out=out, holder=float(rng.uniform(20, 50)))
    deep = -out + (-GAP if planted else GAP)
    path = [("G0", -40, y, TOP)]
    for z in (deep / 2, deep):
        path += [("G0", -40, y, z), ("G1", 60, y, z), ("G1", -40, y, z), ("G0", -40, y, TOP)]
    return [stub], path, "P213"


def shank(rng, planted):
    """A thick shank passes a step wall GAP off, or GAP in it."""
    d, thick = 8.0, float(rng.uniform(9, 14))
    edge = float(rng.uniform(4, 8))
    wide = end_mill(d=d, edge=edge, out=50, shank=thick)
    y = thick / 2 + (-GAP if planted else GAP)  # wall at y = 0 … the block from 0 on; the tool outside cuts nothing
    path = [("G0", -30, -30, TOP), ("G0", -30, -y, TOP), ("G0", -30, -y, -edge - 4), ("G1", 120, -y, -edge - 4)]
    return [wide], [*path, ("G0", 120, -y, TOP)], "P212"


def neck(rng, planted):
    """A relieved neck under a ledge: a wall cut in levels deeper than the edge, with the neck GAP thinner or thicker."""
    r = float(rng.choice([3.0, 5.0]))
    rn = r + (GAP if planted else -GAP)
    points = [[0, 0], [r, 0], [r, 5], [rn, 5], [rn, 30], [20, 30], [20, 80]]
    t = tool(1, "flat", 2 * r, points, [C, C, N, N, H, H], cutting_mm=5, stick_out_mm=30)
    path = [("G0", -20, 2, TOP)]
    for z in (-4, -8, -12):
        path += [("G0", -20, 2, z), ("G1", 120, 2, z), ("G0", 120, 2, TOP), ("G0", -20, 2, TOP)]
    return [t], path, "P212"


STOCK = (contour, pecks, balls, ring, holder, shank, neck)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("job", STOCK, ids=lambda job: job.__name__)
def test_stock(job, seed):
    tools, path, _ = job(np.random.default_rng(seed), False)
    assert [f"{f.code} {f.what}" for f in run(tools, path)] == []
    tools, path, code = job(np.random.default_rng(seed), True)
    found = run(tools, path)
    assert code in {f.code for f in found}
    depth = max(f.amount.best for f in found if f.code == code)
    assert 0.02 <= depth <= GAP + 0.011


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("part", ["cutter", "shank", "holder", "spindle nose"])
def test_bodies(part, seed):
    """A turned clamp beside or under each part of the tool: GAP away is clean, GAP in is found with its depth."""
    rng = np.random.default_rng(seed)
    mill = end_mill(d=10, edge=20, out=45, shank=14, holder=40, height=40)
    radius, low = {"cutter": (5, 0), "shank": (7, 20), "holder": (20, 45), "spindle nose": (45, 85)}[part]
    tip = np.array([*rng.uniform(-20, 20, 2), rng.uniform(100, 140)])
    a = rng.uniform(0, 2 * math.pi)
    way, side = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
    for gap, wanted in ((GAP, []), (-GAP, [part])):
        if rng.random() < 0.5:  # beside: its face stands radius + gap away, the tool slides along it
            near = tip[:2] + (radius + gap) * way
            foot = np.array([near - 30 * side, near + 30 * way, near + 30 * side])
            z0, z1 = tip[2] + low + 1, tip[2] + low + 12
            travel = [*(tip[:2] + 15 * side), tip[2]]
        else:  # under: its top is gap below the underside of the part, outside what is below that part
            inner = {"cutter": 0, "shank": 5.2, "holder": 7.2, "spindle nose": 20.2}[part]
            near = tip[:2] + inner * way
            foot = np.array([near, near + 12 * way - 5 * side, near + 12 * way + 5 * side])
            z1 = tip[2] + low - gap
            z0 = z1 - 8
            travel = [*tip[:2], tip[2] + 30]
        body = box("clamp", (0, 0, z0), (1, 1, z1), kind="clamp")
        body = type(body)(
            name="clamp", kind="clamp", footprint_mm=foot, low_z_mm=z0, high_z_mm=z1, place=body.place
        )  # fmt: skip
        path = [("G1", *(float(v) for v in tip)), ("G1", *(float(v) for v in travel))]
        start = (float(tip[0]), float(tip[1]), 150.0) if travel[0] == tip[0] else path[1][1:]
        found = run([mill], path, bodies=[body], start=start, low=(500, 500, -9), high=(600, 600, 0), nose=(90, 60))
        assert [f.part for f in found] == wanted
        if wanted:
            assert found[0].amount.best == pytest.approx(GAP, abs=0.002)
