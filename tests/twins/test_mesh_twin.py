"""Clearances to meshes against points sown over their skin, and against the same boxes given by their corners."""

import math
import secrets

import numpy as np
import pytest

from halfthou.geometry.near import SAG_MM, STEP_MM, Legs, clearances, position
from halfthou.geometry.near_chain import pack_bodies, pack_tools
from halfthou.geometry.near_solid import inside_of
from halfthou.nouns.stock import Prism
from tests.twins.mesh_twin import least_to_skin, solid_angle, solid_angle_inside
from tests.twins.near_twin import path_points
from tests.unit.clash_scene import C, H, drill, end_mill, machine, probe, tool
from tests.unit.mesh_shapes import along_y, body, finer, joined, prism_mesh

STEP = 0.4


def seeds():
    """A number drawn now, printed when the test fails."""
    return secrets.randbelow(10**9)


def legs_of(rng, n, tools, reach=45.0):
    """Straight, level, upright, standing, level-arc and spiral legs in a cube of that half size."""
    p, q, centre = (rng.uniform(-reach, reach, (n, 3)) for _ in range(3))
    normal, sweep = np.full(n, 2, dtype=np.int64), np.zeros(n)
    for i, u in enumerate(rng.random(n)):
        if u < 0.15:
            q[i, 2] = p[i, 2]
        elif u < 0.3:
            q[i, :2] = p[i, :2]
        elif u < 0.4:
            q[i] = p[i]
        elif u < 0.8:
            normal[i] = rng.integers(3) if u < 0.6 else 2
            a, b = (int(normal[i]) + 1) % 3, (int(normal[i]) + 2) % 3
            centre[i], sweep[i] = p[i] + rng.uniform(-15, 15, 3), rng.uniform(-7, 7)
            angle = math.atan2(p[i, b] - centre[i, b], p[i, a] - centre[i, a]) + sweep[i]
            radius = math.hypot(p[i, a] - centre[i, a], p[i, b] - centre[i, b]) * (
                rng.uniform(0.8, 1.2) if u < 0.5 else 1
            )
            q[i, a], q[i, b] = centre[i, a] + radius * math.cos(angle), centre[i, b] + radius * math.sin(angle)
            if u > 0.6:
                q[i, 2] = p[i, 2]
    return Legs(
        row=np.arange(n), path=np.zeros(n, dtype=np.uint8), tool=rng.integers(-1, tools, n), from_mm=p, to_mm=q,
        centre_mm=centre, normal=normal, sweep_rad=sweep,
    )  # fmt: skip


def some_tools():
    ball = [[0, 0], [1.53, 0.304], [2.83, 1.172], [3.7, 2.469], [4, 4], [4, 20], [10, 20], [10, 40]]
    tools = [end_mill(), drill(), probe(), tool(3, "ball", 8, ball, [C] * 5 + [H, H])]
    return tools, pack_tools(tools, machine(nose=(60, 80)))


def test_prisms_as_meshes_give_the_same_clearances():
    """Random convex prisms, may_cut on every other one, all tools with the nose, in three fold: corners and triangles."""
    seed = seeds()
    print("seed", seed)
    rng = np.random.default_rng(seed)
    tools, chains = some_tools()
    plain, meshes = [], []
    for k in range(4):
        n = int(rng.integers(3, 7))
        turn = np.sort(rng.uniform(0, 2 * math.pi, n))
        if np.max(np.diff(np.append(turn, turn[0] + 2 * math.pi))) > 3.0:
            turn = np.arange(n) * 2 * math.pi / n
        foot = np.column_stack([rng.uniform(3, 30) * np.cos(turn), rng.uniform(3, 30) * np.sin(turn)])
        foot += rng.uniform(-25, 25, 2)
        low = float(rng.uniform(-20, 5))
        high = low + float(rng.uniform(2, 20))
        cut = 1.5 * (k % 2)
        plain.append(Prism(name="b", kind="clamp", footprint_mm=foot, low_z_mm=low, high_z_mm=high, may_cut_mm=cut))
        meshes.append(body(finer(*prism_mesh(foot, low, high), 1 + 60 * (k // 2)), may_cut=cut))
    shift = np.array([1.0, 2.0, 3.0])
    one, two = (pack_bodies([(b, 0, shift) for b in bodies]) for bodies in (plain, meshes))
    legs = legs_of(rng, 60, len(tools))
    for keep in (1e9, 1.0):
        a, at_a = clearances(legs, chains, one, keep_mm=keep)
        b, at_b = clearances(legs, chains, two, keep_mm=keep)
        both = ~np.isnan(at_a) & ~np.isnan(at_b)
        assert np.abs(a - b)[both].max() <= 0.002, seed
        assert ((a < -0.012) <= (b < -0.01)).all(), seed
        assert ((b < -0.012) <= (a < -0.01)).all(), seed
    assert (a < -0.01).sum() > 10
    assert (a > 0).sum() > 10


def test_bodies_of_the_example_as_meshes():
    """All jaws, parallels, stops and beds of the example, with its tools and nose: same clearances, no slower than x 3."""
    from pathlib import Path
    from time import process_time

    from halfthou.files.job import load_job
    from tests.unit.mesh_shapes import box_mesh

    seed = seeds()
    print("seed", seed)
    rng = np.random.default_rng(seed)
    job = load_job(Path(__file__).parents[2] / "examples" / "ice-core-plate").job
    chains = pack_tools(job.tools, job.machine)
    for op in job.ops:
        plain = op.places[0].bodies
        meshes = []
        for b in plain:
            foot = b.footprint_mm
            low, high = (*foot.min(axis=0), b.low_z_mm), (*foot.max(axis=0), b.high_z_mm)
            meshes.append(body(finer(*box_mesh(low, high), 190), b.name, b.kind))
        one, two = (pack_bodies([(b, 0, np.zeros(3)) for b in bodies]) for bodies in (plain, meshes))
        assert len(two.solids.corners) > 1100
        legs = legs_of(rng, 150, len(job.tools), reach=120.0)
        legs.from_mm[:] += [70.0, 45.0, 50.0]
        legs.to_mm[:] += [70.0, 45.0, 50.0]
        legs.centre_mm[:] += [70.0, 45.0, 50.0]
        a, at_a = clearances(legs, chains, one, keep_mm=1e9)
        b, at_b = clearances(legs, chains, two, keep_mm=1e9)
        assert (np.isnan(at_a) == np.isnan(at_b)).all()
        assert np.abs(a - b).max() <= 0.002, seed
        legs.from_mm[:, 2] += 120.0 - 60.0 * rng.random(len(legs))  # clear of the bodies, as programs mostly are
        legs.to_mm[:, 2] = legs.from_mm[:, 2]
        legs = legs.some(np.flatnonzero((legs.normal == 2) | (legs.sweep_rad == 0)))  # lines and level arcs
        times = []
        for bodies in (one, two):
            began = process_time()
            for _ in range(5):
                clearances(legs, chains, bodies, keep_mm=1.0)
            times.append(process_time() - began)
        print("box, mesh:", times)
        assert times[1] <= 3.0 * times[0] + 0.05, times


def bent_shapes(rng):
    """A stepped jaw, a jaw with a slanted face, two blocks in one mesh, a hollow block."""
    s = rng.uniform(0.7, 1.3)
    step = along_y(np.array([[-15, -12], [15, -12], [15, 0], [3, 0], [3, 9], [-15, 9]]) * s, -9, 14)
    slant = along_y(np.array([[-15, -12], [15, -12], [8, 4], [0, -3], [-15, 6]]) * s, -9, 14)
    outer = prism_mesh([[-14, -14], [14, -14], [14, 14], [-14, 14]], -12, 8)
    inner = prism_mesh([[-9, -9], [9, -9], [9, 9], [-9, 9]], -7, 3)
    return [step, slant, finer(*step, 100), joined(outer, (inner[0], inner[1][:, ::-1]))]


@pytest.mark.slow
@pytest.mark.parametrize("which", range(4))
def test_bent_meshes_against_points_on_their_skin(which):
    """Apart: the distance. In: how much smaller the piece would have to be. Wholly inside: nothing of it is left."""
    seed = seeds()
    print("seed", seed)
    rng = np.random.default_rng(seed)
    points, faces = bent_shapes(rng)[which]
    corners = points[faces]
    bodies = pack_bodies([(body((points, faces)), 0, np.zeros(3))])
    assert bodies.solids.convex.tolist() == [0]
    r, h = float(rng.uniform(1, 5)), float(rng.uniform(4, 16))
    shapes = (
        [[r, 0], [r, h]],
        [[0, 0], [r, r * 0.6], [r, h]],
        [[r * 0.5, 0], [r, h * 0.2], [r, h * 0.7], [r * 0.3, h]],
    )
    line = shapes[int(rng.integers(3))]
    own = tool(1, "flat", 2 * r, [[0, 0], *line], [C] * len(line))
    chains = pack_tools([own])
    legs = legs_of(rng, 16, 1, reach=22.0)
    legs.tool[:] = 0
    out, at = clearances(legs, chains, bodies, keep_mm=1e9)
    depth = most_depth(line)
    for i in range(len(legs)):
        value = float(out[i, 0, 0])
        path = path_points(
            legs.from_mm[i], legs.to_mm[i], legs.centre_mm[i], int(legs.normal[i]), legs.sweep_rad[i], STEP
        )
        slow = least_to_skin(corners, line, path, STEP)
        middle = [solid_angle_inside(corners, tip + np.array([0, 0, depth[1]])) for tip in path]
        slow = -depth[0] if any(middle) else slow
        assert slow >= value - SAG_MM - STEP_MM, (seed, i)
        assert slow <= value + 1.2 * STEP, (seed, i)
        tip = position(i, legs, float(at[i, 0, 0]))  # at the place named it is as near as stated
        here = least_to_skin(corners, line, [tip], STEP / 2)
        here = -depth[0] if solid_angle_inside(corners, tip + np.array([0, 0, depth[1]])) else here
        assert here <= value + 0.6 * STEP, (seed, i)


def most_depth(line):
    """(largest depth of a point of the axis under the faces, its height), by trying heights."""
    from tests.twins.mesh_twin import depth_in_turned

    heights = np.linspace(line[0][1], line[-1][1], 2001)
    depth = -depth_in_turned(np.column_stack([0 * heights, 0 * heights, heights]), line)
    return float(depth.max()), float(heights[depth.argmax()])


def test_inside_by_crossings_is_inside_by_solid_angle():
    seed = seeds()
    print("seed", seed)
    rng = np.random.default_rng(seed)
    judged = 0
    for points, faces in bent_shapes(rng):
        corners = points[faces]
        asked = rng.uniform(-20, 20, (300, 3))
        asked[:60] = np.round(asked[:60])  # rays through edges and corners
        asked[60:80, :2] = points[rng.integers(0, len(points), 20), :2]
        said = inside_of(corners, asked)
        for point, inside in zip(asked, said, strict=True):
            off = ((point - corners[:, 0]) * np.cross(*np.moveaxis(np.diff(corners, axis=1), 1, 0))).sum(axis=1)
            angle = solid_angle(corners, point) if np.abs(off).min() > 1e-6 else math.nan
            if min(abs(angle), abs(angle - 4 * math.pi)) < 0.1:  # else it lies in the plane of a triangle
                assert inside == (angle > 0.1), (seed, point)
                judged += 1
    assert judged > 1000
