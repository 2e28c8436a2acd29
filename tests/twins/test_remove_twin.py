"""The compiled removal against the slow, plain one: the same columns on random scenes of all tools and moves."""

import math

import numpy as np
import pytest

from halfthou.nouns.tool import Zone
from tests.twins import remove_twin as twin
from tests.unit.clash_scene import tool
from tests.unit.remove_scene import cut, heights

C, N, S = Zone.CUTTING, Zone.NECK, Zone.SHANK
KINDS = ("flat", "ball", "bull", "drill", "countersink")
MOVES = ("level", "ramp", "plunge", "arc", "helix")
LOW, HIGH = (0.0, 0.0, -12.0), (30.0, 24.0, 0.0)
SAME_MM = 1e-9


def random_tool(kind, rng):
    """The same tool for both sides: a turned profile for the package, plain functions for the twin."""
    d = rng.uniform(4, 10)
    r, edge = d / 2, rng.uniform(5.5, 16)
    if kind == "flat":
        points, zone, more = [[0, 0], [r, 0], [r, edge]], [C, C], {}
        plain = twin.shape(kind, d, edge)
    elif kind == "ball":
        t = np.linspace(0, np.pi / 2, 25)
        points, zone, more = [*zip(r * np.sin(t), r - r * np.cos(t), strict=True), (r, edge)], [C] * 25, {}
        plain = twin.shape(kind, d, edge)
    elif kind == "bull":
        c = rng.uniform(0.2, 0.8) * r
        t = np.linspace(0, np.pi / 2, 17)
        arc = zip(r - c + c * np.sin(t), c - c * np.cos(t), strict=True)
        points, zone, more = [(0, 0), *arc, (r, edge)], [C] * 18, {"corner_mm": c}
        plain = twin.shape(kind, d, edge, corner=c)
    elif kind in ("drill", "countersink"):
        degrees = rng.uniform(110, 145) if kind == "drill" else rng.uniform(85, 125)
        tip = 0.0 if kind == "drill" else rng.uniform(0.1, 0.5) * d
        high = (r - tip / 2) / math.tan(math.radians(degrees / 2))
        points = [[0, 0], *([[tip / 2, 0]] if tip else []), [r, high], [r, edge]]
        zone, more = [C] * (len(points) - 1), {"point_rad": math.radians(degrees)}
        plain = twin.shape(kind, d, edge, degrees=degrees, tip=tip)
    else:  # wider below than above: the upper side cuts too
        edge = rng.uniform(1, 4)
        top = d if kind == "tslot" else rng.uniform(0.4, 0.8) * d
        neck = [[0.3 * d, edge], [0.3 * d, 60]] if kind == "tslot" else [[top / 2, 60]]
        points, zone, more = [[0, 0], [r, 0], [top / 2, edge], *neck], [C, C, *[N] * len(neck)], {}
        return tool(1, kind, d, points, zone, **more), twin.shape(kind, d, edge, tip=top)
    return tool(1, kind, d, [*points, (r, 100)], [*zone, S], **more), plain


def random_path(rng, words):
    """A path for `cut` and the same moves for the twin; row k is entry k, row 0 the tool change."""
    path: list[tuple] = [("T", 0), ("G0", rng.uniform(0, 30), rng.uniform(0, 24), 30.0)]
    moves = [twin.Move(1, (0.0, 0.0, 200.0), path[1][1:4])]
    for word in words:
        x, y, z = path[-1][1:4]
        if (word == "level" and z > 0) or rng.random() < 0.15:  # begin somewhere else, by a rapid and a plunge
            x, y, low = rng.uniform(-3, 33), rng.uniform(-3, 27), rng.uniform(-11, -0.5)
            for step in (("G0", x, y, 30.0), ("G1", x, y, low)):
                moves.append(twin.Move(len(path), path[-1][1:4], step[1:4]))
                path.append(step)
            z = low
        deep = rng.uniform(-11, 0.5)
        if word in ("level", "ramp"):
            x, y = rng.uniform(-3, 33), rng.uniform(-3, 27)
            path.append(("G1", x, y, z if word == "level" else deep))
            moves.append(twin.Move(len(path) - 1, path[-2][1:4], path[-1][1:4]))
        elif word == "plunge":
            path.append(("G0" if rng.random() < 0.2 else "G1", x, y, deep))
            moves.append(twin.Move(len(path) - 1, path[-2][1:4], path[-1][1:4]))
        else:
            z = deep if z > 0 else z
            if z != path[-1][3]:
                path.append(("G1", x, y, z))
                moves.append(twin.Move(len(path) - 1, path[-2][1:4], path[-1][1:4]))
            away, around = rng.uniform(1, 7), rng.uniform(0, 2 * math.pi)
            cx, cy = x + away * math.cos(around), y + away * math.sin(around)
            sweep = rng.choice([-1, 1]) * rng.uniform(0.3, 6.2)
            c, s = math.cos(sweep), math.sin(sweep)
            end = (cx + c * (x - cx) - s * (y - cy), cy + s * (x - cx) + c * (y - cy), z)
            if word == "helix":
                end = (*end[:2], rng.uniform(-11, 0.5))
            path.append(("G3" if sweep > 0 else "G2", *end, cx, cy))
            moves.append(twin.Move(len(path) - 1, path[-2][1:4], end, (cx, cy), sweep))
    return path, moves


def random_scene(kind, seed):
    rng = np.random.default_rng(seed)
    words = [*MOVES, *MOVES, *rng.choice(MOVES[:4], 6)]
    rng.shuffle(words)
    ours, plain = random_tool(kind, rng)
    path, moves = random_path(rng, words)
    at = tuple(rng.uniform(-400, 400, 3)) if seed % 2 else None
    done = cut([ours], path, low=LOW, high=HIGH, pitch=1.0, at=at)
    x, y = rng.uniform(0.01, 29.99, 250), rng.uniform(0.01, 23.99, 250)
    return done, plain, moves, x, y


def rays_of(record):
    """x, y and spans of every ray of a record."""
    grid = record.grid
    i, j = np.divmod(np.arange(grid.nx * grid.ny), grid.ny)
    x, y = grid.low_mm[0] + (i + 0.5) * grid.pitch_mm, grid.low_mm[1] + (j + 0.5) * grid.pitch_mm
    return x, y, [record.spans[record.first[k] : record.first[k + 1]] for k in range(len(x))]


def ends_near(plain, moves, x, y, z, row):
    """Does a cut of move `row` end within the label width of z over (x, y)?"""
    ends = [e for m in moves if m.row == row for e in twin.swept(plain, m, np.array([x]), np.array([y]))]
    return any(np.any(np.abs(e - z) <= 2 * twin.LABEL) for e in ends)


def compare(ours, slow, plain, moves, x, y):
    """Same intervals to SAME_MM, same labels but at ties; returns (interval ends seen, ends made by a cut, ties)."""
    ends = made = ties = 0
    for k, (spans, solid) in enumerate(zip(ours, slow, strict=True)):
        assert len(spans) == len(solid), (x[k], y[k], spans, solid)
        for span, (low, high, low_row, high_row) in zip(spans, solid, strict=True):
            for z, row, mine, my_row in (
                (low, low_row, span["low_mm"], span["low_move"]),
                (high, high_row, span["high_mm"], span["high_move"]),
            ):
                assert abs(z - mine) <= SAME_MM, (x[k], y[k], z, float(mine), row, int(my_row))
                ends, made = ends + 1, made + (row >= 0)
                if row != my_row:
                    assert ends_near(plain, moves, x[k], y[k], z, my_row), (x[k], y[k], z, row, int(my_row))
                    ties += 1
    return ends, made, ties


@pytest.mark.parametrize(
    ("kind", "seed"),
    [(KINDS[k % 5], 4100 + k) for k in range(20)] + [(("tslot", "dovetail")[k % 2], 4200 + k) for k in range(4)],
)
def test_the_same_columns(kind, seed):
    done, plain, moves, x, y = random_scene(kind, seed)
    first, spans = done.columns(x, y)
    apart = [spans[first[k] : first[k + 1]] for k in range(len(x))]
    ray_x, ray_y, rays = rays_of(done.record)
    for ours, at_x, at_y in ((apart, x, y), (rays, ray_x, ray_y)):
        slow = twin.columns(plain, moves, LOW[2], HIGH[2], at_x, at_y)
        ends, made, ties = compare(ours, slow, plain, moves, at_x, at_y)
        assert made > 0.2 * ends and ties <= 0.005 * ends  # the scene was cut, and ties are rare
        assert len({row for s in slow for span in s for row in span[2:]}) >= 5
    exact = twin.columns(plain, moves, LOW[2], HIGH[2], x, y, label=0.0)
    for k, (ours, solid) in enumerate(zip(apart, exact, strict=True)):  # the promise: LABEL_MM an end, no more
        mine = [[float(s["low_mm"]), float(s["high_mm"])] for s in ours]
        assert twin.unlike_mm(mine, solid) <= twin.LABEL * 2 * max(1, len(solid)), (x[k], y[k], mine, solid)


def test_the_twin_by_hand():
    """The twin itself against closed forms: ball ramp, bull nose, cone ramp, flat arc, take()."""
    m = -0.1
    ramp = twin.Move(1, (0.0, 0.0, -2.0), (80.0, 0.0, -10.0))
    low, high = twin.swept(twin.shape("ball", 6, 20), ramp, np.array([40.0]), np.array([2.0]))
    assert low[0, 0] == pytest.approx(-2 + m * 40 + 3 - math.sqrt(9 - 4) * math.sqrt(1 + m * m), abs=1e-12)
    assert high[0, 0] == pytest.approx(-2 + m * (40 - math.sqrt(5)) + 20, abs=1e-12)
    low, _ = twin.swept(twin.shape("countersink", 12, 20, degrees=90), ramp, np.array([40.0]), np.array([1.5]))
    d = 1.5 * 0.1 / math.sqrt(1 - 0.01)
    assert low[0, 0] == pytest.approx(-2 + m * (40 + d) + math.hypot(1.5, d), abs=1e-12)
    arc = twin.Move(1, (10.0, 0.0, -3.0), (0.0, 10.0, -3.0), (0.0, 0.0), math.pi / 2)
    bull = twin.shape("bull", 6, 9, corner=1)
    low, high = twin.swept(bull, arc, np.array([9.0, 8.8, 6.9, 10.5]), np.array([9.0, 8.8, 0.0, -2.5]))
    rho = math.hypot(8.8, 8.8) - 10
    assert low[0, 1] == pytest.approx(-3 + 1 - math.sqrt(1 - (rho - 2) ** 2), abs=1e-12)
    assert low[0, 3] == pytest.approx(-3 + 1 - math.sqrt(1 - (math.hypot(0.5, 2.5) - 2) ** 2), abs=1e-12)
    assert np.isfinite(low[0]).tolist() == [True, True, False, True] and high[0, 0] == 6.0
    solid = [[-10.0, 0.0, -1, -1]]
    assert twin.take(solid, -4.0, 9.0, 7, 1e-5) == [[-10.0, -4.0, -1, 7]]
    assert twin.take(solid, -4.0, -2.0, 7, 1e-5) == [[-10.0, -4.0, -1, 7], [-2.0, 0.0, 7, -1]]
    assert twin.take(solid, -9e-6, 9.0, 7, 1e-5) == solid
    assert twin.take(solid, -10.000001, -4.0, 7, 1e-5) == [[-4.0, 0.0, 7, -1]]
    assert twin.take(solid, -9.999999, 9.0, 7, 1e-5) == []
    assert twin.unlike_mm([[0, 2]], [[1, 4]]) == 3


def test_chords_of_a_helix_are_near_enough():
    """The contract on chords is not taken on trust: heights against the helix in far finer pieces, and its points."""
    move = twin.Move(3, (21.0, 12.0, -2.0), (15 + 6 * math.cos(4.0), 12 + 6 * math.sin(4.0), -8.0), (15.0, 12.0), 4.0)
    coarse, fine = twin.helix_points(move, twin.chords(move)), twin.helix_points(move, 200 * twin.chords(move))
    share = np.arange(len(fine)) / 200
    chord = np.column_stack([np.interp(share, np.arange(len(coarse)), coarse[:, k]) for k in range(3)])
    off = float(np.linalg.norm(fine - chord, axis=1).max())
    assert 0.5 * twin.CHORD < off <= twin.CHORD
    ball = random_tool("ball", np.random.default_rng(1))[0]
    r = ball.diameter_mm / 2
    path = [("T", 0), ("G0", 21, 12, 30), ("G1", 21, 12, -2), ("G3", *move.end, 15, 12)]
    done = cut([ball], path, low=LOW, high=HIGH, pitch=1.0)
    rng = np.random.default_rng(2)
    turn, aside = rng.uniform(0.5, 3.5, 60), rng.uniform(-0.6, 0.6, 60) * r
    x, y = 15 + (6 + aside) * np.cos(turn), 12 + (6 + aside) * np.sin(turn)
    true, _ = twin.swept(twin.shape("ball", 2 * r, 16), move, x, y, pieces=6000)
    got = [solid[0][1] for solid in heights(done, np.column_stack([x, y]))]
    assert np.abs(np.nanmin(true, axis=0) - got).max() < 3 * twin.CHORD
