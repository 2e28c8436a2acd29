"""Laws of the surface mesh on random scenes: closed, on the exact surface, of the right volume, rightly labelled."""

from dataclasses import replace

import numpy as np
import pytest

from halfthou.base.errors import Cancelled
from halfthou.base.watch import Watch
from halfthou.nouns.frame import TurnOver
from halfthou.nouns.stock import Stock
from halfthou.prove.remove_volume import volume_of
from halfthou.prove.surface_mesh import surface_mesh
from halfthou.prove.surface_solid import cut_off
from tests.unit.remove_scene import ball, bull, cone, cut, flat, random_path, tslot

TOOLS = [flat(10), ball(6, 2), bull(12, 2, 3), cone(10, 90, 0, number=4), tslot(20, 8, 4, 5)]
PLATE = {"low": (0, 0, -14), "high": (60, 40, 0)}
ON_SIDE = TurnOver(turn=((1, 0, 0), (0, 0, -1), (0, 1, 0)), shift_mm=(0.0, 0.0, 0.0), words="90 about X")


def random_scene(seed, pitch):
    draw = np.random.default_rng(seed)
    path = [(what, *(0.6 * v for v in place)) for what, *place in random_path(draw, int(draw.integers(3, 12)))[1:]]
    return cut(TOOLS, [("T", int(draw.integers(5))), *path], pitch=pitch, **PLATE)


def slots(xs, ys, depth, tool, pitch, **more):
    """Straight slots along Y at each of xs and along X at each of ys."""
    path = [("T", tool)]
    for x in xs:
        path += [("G0", x, -15, 30), ("G0", x, -15, depth), ("G1", x, 55, depth), ("G0", x, 55, 30)]
    for y in ys:
        path += [("G0", -15, y, 30), ("G0", -15, y, depth), ("G1", 75, y, depth), ("G0", 75, y, 30)]
    return cut(TOOLS, path, pitch=pitch, **{**PLATE, **more})


def still_closed_when_equal_points_are_joined(mesh):
    """As a reader of an STL joins them."""
    points, where = np.unique(mesh.points_mm.astype(np.float32), axis=0, return_inverse=True)
    joined = replace(mesh, points_mm=points.astype(np.float64), triangles=where.reshape(-1)[mesh.triangles])
    return joined.closed_manifold() == ()


def middles(mesh):
    """(middle, outward normal, area) of each triangle."""
    a, b, c = (mesh.points_mm[mesh.triangles[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    size = np.linalg.norm(cross, axis=1)
    return (a + b + c) / 3, cross / np.maximum(size, 1e-300)[:, None], size / 2


def off_surface(removal, points, within):
    """Share of points that have no material or no air within a small ball."""
    turn = np.arange(120) * 2.399963229728653
    up = 1 - (2 * np.arange(120) + 1) / 120
    ball_ = np.stack([np.sqrt(1 - up**2) * np.cos(turn), np.sqrt(1 - up**2) * np.sin(turn), up], axis=1)
    solid = removal.inside((points[:, None, :] + within * ball_).reshape(-1, 3)).reshape(len(points), -1)
    return float((solid.all(axis=1) | ~solid.any(axis=1)).mean())


def label_shares(removal, mesh, seed, n=1500):
    """(share of the area whose middle has the surface within 0.05 mm, share of that with the right label)."""
    middle, way, area = middles(mesh)
    k = np.random.default_rng(seed).choice(len(area), size=n, p=area / area.sum())
    low, high = np.full(n, -0.05), np.full(n, 0.05)
    near = removal.inside(middle[k] - 0.05 * way[k]) & ~removal.inside(middle[k] + 0.05 * way[k])
    for _ in range(26):
        half = (low + high) / 2
        solid = removal.inside(middle[k] + half[:, None] * way[k])
        low, high = np.where(solid, half, low), np.where(solid, high, half)
    right = removal.makers(middle[k] + low[:, None] * way[k]) == mesh.move[k]
    return float(near.mean()), float(right[near].mean())


def agrees_in_volume(removal, mesh):
    """Within the bound of the integrated volume, and one cell for a dip narrower than the pitch."""
    volume = volume_of(removal, 3)[0]
    return abs(mesh.volume_mm3() - volume.best) <= volume.bound + removal.record.grid.pitch_mm**3


@pytest.mark.parametrize("first", range(0, 60, 10))
def test_every_edge_has_two_triangles(first):
    for seed in range(first, first + 10):
        mesh = surface_mesh(random_scene(seed, 1.0))
        assert mesh.closed_manifold() == (), seed
        assert mesh.volume_mm3() > 0
        assert still_closed_when_equal_points_are_joined(mesh), seed


@pytest.mark.parametrize(
    "removal",
    [
        lambda: slots([10.0, 20.3, 30.5], [], -20.0, 0, 1.0),  # walls of 0.3 and 0.2 mm, cut in pieces
        lambda: slots([10.0, 20.0], [], -20.0, 0, 1.0),  # two slots that meet: walls of no thickness
        lambda: slots([15.0, 35.0], [12.0, 30.0], -9.0, 0, 1.0),  # crossing slots, the pieces' corners touch
        lambda: slots([20.0], [20.0], -7.0, 4, 1.0),  # T-slots under the top
        lambda: slots([20.0], [], -4.1, 4, 1.0),  # a sheet of 0.1 mm over a T-slot
        lambda: slots([20.0], [], -13.95, 0, 1.0),  # a web of 0.05 mm under a slot
        lambda: slots([20.5], [], -5.0, 0, 1.0, low=(0, 0, -14.0)),  # walls just on the rays
        lambda: cut(TOOLS, [("T", 0), ("G0", 30, 20, 9), ("G1", 30, 20, -20), ("G1", 36, 20, -20)], pitch=1.0, **PLATE),
        lambda: slots([12.0, 22.0], [9.0, 28.0], -20.0, 1, 1.0),  # cut in nine
        lambda: slots([12.0, 22.0], [], -6.0, 3, 1.0),  # grooves of a pointed tool
    ],
)
def test_thin_and_touching_parts_are_closed_and_of_the_right_volume(removal):
    cut_ = removal()
    mesh = surface_mesh(cut_)
    assert mesh.closed_manifold() == () and still_closed_when_equal_points_are_joined(mesh)
    assert agrees_in_volume(cut_, mesh)


def test_level_sheets_thinner_than_the_pitch_are_there():
    mesh = surface_mesh(slots([20.0], [], -4.1, 4, 1.0))
    assert mesh.volume_mm3() == pytest.approx(60 * 40 * 14 - 20 * 4 * 40, abs=0.05)  # only the head cuts
    mesh = surface_mesh(slots([20.0], [], -13.95, 0, 1.0))
    assert mesh.volume_mm3() == pytest.approx(60 * 40 * 14 - 10 * 13.95 * 40, abs=0.05)


@pytest.mark.parametrize("seed", range(10))
def test_volume_labels_and_exact_places(seed):
    removal = random_scene(100 + seed, 0.5)
    mesh = surface_mesh(removal)
    assert mesh.closed_manifold() == ()
    assert agrees_in_volume(removal, mesh)
    pick = np.random.default_rng(seed).choice(len(mesh.points_mm), size=400, replace=False)
    assert off_surface(removal, mesh.points_mm[pick], 1e-6 + removal.record.error_mm) <= 0.005  # sharp wedges
    near, right = label_shares(removal, mesh, seed)
    assert near > 0.985 and right >= 0.995


def test_flat_walls_stay_flat_and_edges_sharp():
    removal = slots([20.3], [], -6.07, 0, 0.5)
    mesh = surface_mesh(removal)
    assert mesh.volume_mm3() == pytest.approx(60 * 40 * 14 - 10 * 6.07 * 40, abs=1e-6)
    _middle, way, _area = middles(mesh)
    assert np.abs(way).max(axis=1).min() > 1 - 1e-9  # every triangle lies in a wall, none across an edge
    cut_points = mesh.points_mm[np.unique(mesh.triangles[mesh.move >= 0])]
    x, z = cut_points[:, 0], cut_points[:, 2]
    for wall, value in ((x, 15.3), (x, 25.3), (z, -6.07)):
        there = np.abs(wall - value) < 0.1
        assert there.any() and np.abs(wall[there] - value).max() < 1e-8


def test_labels_name_operation_tool_and_move():
    removal = slots([20.0], [25.0], -6.0, 2, 1.0)
    mesh = surface_mesh(removal)
    rows = np.unique(mesh.move)
    moves = removal.moves.moves
    assert rows.tolist()[0] == -1 and len(rows) >= 3
    for row in rows[1:].tolist():
        mine = mesh.move == row
        assert set(mesh.tool[mine].tolist()) == {int(moves["tool"][row])}
        assert set(mesh.operation[mine].tolist()) == {removal.op}
    assert set(mesh.tool[mesh.move < 0].tolist()) == set(mesh.operation[mesh.move < 0].tolist()) == {-1}


def test_after_a_move_is_a_run_cut_off_there():
    path = [
        ("T", 0),
        ("G0", 20, -15, 5),
        ("G0", 20, -15, -6),
        ("G1", 20, 55, -6),
        ("G0", 40, 55, -6),
        ("G1", 40, -15, -6),
    ]
    whole, part = cut(TOOLS, path, pitch=1.0, **PLATE), cut(TOOLS, path[:4], pitch=1.0, **PLATE)
    last = len(part.moves.moves) - 1
    one, two = surface_mesh(whole, after_move=last), surface_mesh(part)
    assert one.points_mm.tobytes() == two.points_mm.tobytes() and one.move.tobytes() == two.move.tobytes()
    assert surface_mesh(whole, after_move=-1).volume_mm3() == pytest.approx(60 * 40 * 14, abs=1e-6)
    shorter = cut_off(whole, last)
    assert bool(shorter.inside(np.array([[40.0, 20.0, -3.0]]))[0]) and not bool(
        whole.inside(np.array([[40.0, 20, -3]]))[0]
    )


@pytest.mark.parametrize("turn", ["over", "side"])
def test_second_operation_shows_both_sides(turn):
    one = slots([20.0], [], -6.0, 1, 1.0)
    if turn == "over":
        two = cut(TOOLS, [("T", 0), ("G0", -9, 30, 2), ("G1", 80, 30, -9)], before=one, pitch=1.0)
    else:
        stock = Stock(kind="from", from_op=0, from_place=0, turn_over=ON_SIDE)
        two = cut(TOOLS, [("T", 0), ("G0", 9, 9, 60), ("G1", 50, 5, 30)], before=one, stock=stock, pitch=1.0)
    mesh = surface_mesh(two)
    assert mesh.closed_manifold() == ()
    assert agrees_in_volume(two, mesh)
    assert off_surface(two, mesh.points_mm[::29], 1e-6 + two.record.error_mm) <= 0.005
    first = len(one.moves.moves)
    assert (mesh.move[mesh.move >= 0] < first).any() and (mesh.move >= first).any()
    near, right = label_shares(two, mesh, 3)
    assert near > 0.985 and right >= 0.995
    early = surface_mesh(two, after_move=first - 1)
    assert early.points_mm.tobytes() == surface_mesh(one).points_mm.tobytes()


@pytest.mark.parametrize("kind", ["cylinder", "mesh"])
def test_other_stocks(kind):
    if kind == "cylinder":
        stock = Stock(kind="cylinder", centre_mm=(30.0, 20.0), diameter_mm=35.0, low_mm=(0, 0, -14), high_mm=(0, 0, 0))
    else:
        corners = np.array([[5, 3, -12], [50, 3, -12], [25, 38, -12], [28, 17, 1]], dtype=float)
        faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], dtype=np.int32)
        stock = Stock(kind="mesh", vertices_mm=corners, faces=faces)
    removal = cut(TOOLS, [("T", 0), ("G0", 20, -15, -6), ("G1", 20, 55, -6)], stock=stock, pitch=0.5)
    mesh = surface_mesh(removal)
    assert mesh.closed_manifold() == ()
    assert agrees_in_volume(removal, mesh)
    assert off_surface(removal, mesh.points_mm[::17], 2e-6) <= 0.005
    assert set(np.unique(mesh.move).tolist()) == {-1, 2}


def test_nothing_left_is_an_empty_mesh():
    removal = slots(np.arange(0, 64, 4.0), [], -15.0, 0, 1.0)
    assert len(surface_mesh(removal).triangles) == 0


def test_it_can_be_stopped():
    removal = slots([20.0], [], -6.0, 0, 1.0)
    seen = []

    def stop():
        seen.append(1)
        return len(seen) > 3

    with pytest.raises(Cancelled):
        surface_mesh(removal, watch=Watch(asked_to_stop=stop))
