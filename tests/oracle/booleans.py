"""Removed volume of random programs against mesh Booleans: `python -m tests.oracle.booleans --jobs 50 [--seed S]`.

A convex turned tool along a straight line sweeps the convex hull of its two end positions. With an inscribed and a
circumscribed many-sided tool the union of the hulls, cut with the stock box, bounds the removed volume from both sides.
"""

import argparse
import itertools
import math
import random
import sys
import tempfile
from pathlib import Path

import numpy as np
from manifold3d import Manifold

SIDES = 96
CUTTING = 40.0
BOX = (80.0, 50.0, 20.0)


def profile(kind: str, radius: float) -> list[tuple[float, float]]:
    """(radius, height) of the cutting part."""
    if kind == "flat":
        return [(radius, 0.0), (radius, CUTTING)]
    corner = radius if kind == "ball" else 0.3 * radius
    steps = 24
    arc = [
        (
            radius - corner + corner * math.sin(k / steps * math.pi / 2),
            corner - corner * math.cos(k / steps * math.pi / 2),
        )
        for k in range(steps + 1)
    ]
    return [*arc, (radius, CUTTING)]


def points(kind: str, radius: float, outside: bool) -> np.ndarray:
    """Corners of the many-sided tool, inscribed or circumscribed (both round the axis and along the corner)."""
    round_ = 1.0 / math.cos(math.pi / SIDES) if outside else 1.0
    shape = profile(kind, radius)
    if outside and kind != "flat":
        # tangents of the corner arc instead of its chords
        corner = radius if kind == "ball" else 0.3 * radius
        steps, grow = 24, 1.0 / math.cos(math.pi / 2 / 24 / 2)
        middle = [(k + 0.5) / steps * math.pi / 2 for k in range(steps)]
        arc = [(radius - corner + corner * grow * math.sin(t), corner - corner * grow * math.cos(t)) for t in middle]
        shape = [(radius - corner, 0.0), *arc, (radius, corner), (radius, CUTTING)]
    out = []
    for r, h in shape:
        for k in range(SIDES):
            turn = 2 * math.pi * k / SIDES
            out.append((r * round_ * math.cos(turn), r * round_ * math.sin(turn), h))
    out.append((0.0, 0.0, 0.0))
    return np.array(out)


def random_moves(draw: random.Random, n: int) -> list[tuple[float, float, float]]:
    """End points of straight moves, some of them level, some plunges."""
    found = [(draw.uniform(0, BOX[0]), draw.uniform(0, BOX[1]), 25.0)]
    for _ in range(n):
        x, y, z = found[-1]
        what = draw.random()
        if what < 0.2:
            found.append((x, y, draw.uniform(-12, 2)))
        elif what < 0.5:
            found.append((draw.uniform(0, BOX[0]), draw.uniform(0, BOX[1]), z))
        else:
            found.append((draw.uniform(0, BOX[0]), draw.uniform(0, BOX[1]), draw.uniform(-12, 2)))
    return found


def truth(kind: str, radius: float, path: list[tuple[float, float, float]], outside: bool) -> float:
    """Removed volume by the union of hulls, mm³."""
    corners = points(kind, radius, outside)
    hulls = [
        Manifold.hull_points(np.concatenate([corners + np.array(a), corners + np.array(b)]))
        for a, b in itertools.pairwise(path)
    ]
    stock = Manifold.cube(list(BOX)).translate([0, 0, -BOX[2]])
    return float(Manifold.batch_boolean(hulls, _add()).__xor__(stock).volume())


def _add():  # type: ignore[no-untyped-def]
    from manifold3d import OpType

    return OpType.Add


JOB = """format = 1
units = "mm"
part = "boolean {seed}"
tools = "tools.csv"
invented = true
[[operation]]
name = "op 1"
program = "op1.nc"
[[operation.place]]
name = "vise"
offset = "G54"
[operation.place.stock]
kind = "box"
low = [0, 0, {low}]
high = [{x}, {y}, 0]
[[operation.place.body]]
name = "jaw"
kind = "fixed jaw"
low = [0, -60, -60]
high = [{x}, 0, {low}]
"""


def write(seed: int, kind: str, radius: float, path: list[tuple[float, float, float]], folder: Path) -> None:
    """The job folder of one random program."""
    (folder / "job.toml").write_text(JOB.format(seed=seed, x=BOX[0], y=BOX[1], low=-BOX[2]))
    corner = 0.3 * radius if kind == "bull" else ""
    (folder / "tools.csv").write_text(
        "units = mm\nnumber,name,kind,diameter,corner,cutting_length,stick_out,length,holder_diameter\n"
        f"1,{kind},{kind},{2 * radius!r},{corner!r},{CUTTING},60,120,40\n".replace("''", "")
    )
    lines = [
        "%",
        "G21 G90 G17 G54",
        "T1 M6",
        "S5000 M3",
        f"G0 X{path[0][0]:.6f} Y{path[0][1]:.6f}",
        f"G43 H1 Z{path[0][2]:.6f}",
    ]
    lines += [f"G1 X{x:.6f} Y{y:.6f} Z{z:.6f} F500." for x, y, z in path[1:]]
    (folder / "op1.nc").write_text("\n".join([*lines, "M30", "%"]) + "\n")


def one(seed: int) -> tuple[str, float, float, float, float]:
    """(what is wrong or "", lower, upper, ours, our bound) of one program; volumes removed."""
    from tests.product import volume_left

    draw = random.Random(seed)
    kind, radius = draw.choice(["flat", "ball", "bull"]), draw.uniform(2, 6)
    path = [(round(x, 6), round(y, 6), round(z, 6)) for x, y, z in random_moves(draw, draw.randint(8, 20))]
    with tempfile.TemporaryDirectory() as folder:
        write(seed, kind, radius, path, Path(folder))
        left, bound, plain, plain_bound = volume_left(Path(folder))
    whole = BOX[0] * BOX[1] * BOX[2]
    lower, upper = truth(kind, radius, path, False), truth(kind, radius, path, True)
    ours = whole - left
    wrong = ""
    if not lower - bound <= ours <= upper + bound or not lower * (1 - 1e-3) <= ours <= upper * (1 + 1e-3):
        wrong = f"{kind} r {radius:.3f}: {ours:.2f} ± {bound:.2f} outside {lower:.2f} to {upper:.2f}"
    elif not lower - plain_bound <= whole - plain <= upper + plain_bound:
        wrong = f"plain count {whole - plain:.2f} ± {plain_bound:.2f} outside {lower:.2f} to {upper:.2f}"
    return wrong, lower, upper, ours, bound


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=None)
    asked = parser.parse_args()
    seed = asked.seed if asked.seed is not None else random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    draw, failed, worst, width = random.Random(seed), 0, 0.0, 0.0
    for _ in range(asked.jobs):
        own = draw.randrange(10**9)
        wrong, lower, upper, ours, _bound = one(own)
        middle = (lower + upper) / 2
        worst, width = max(worst, abs(ours - middle) / middle), max(width, (upper - lower) / middle)
        if wrong:
            failed += 1
            print(f"seed {own}: {wrong}")
    print(f"{asked.jobs - failed} of {asked.jobs} within; worst {worst:.2e} from the middle, widest truth {width:.2e}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
