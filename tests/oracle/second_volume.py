"""Second, independent judge of the volume left: random jobs, mesh Booleans and school formulas against the program's two figures.

Written from the public documents alone (docs/job-file.md, docs/prove.md, docs/json.md, the removal and language references); the author did not
read the program, its other oracles, laws, twins or unit tests. The sweeps are in second_sweeps.py, the shapes in second_shapes.py.

    python -m tests.oracle.second_volume --jobs N [--seed S]

What is removed is stock ∩ (union of all sweeps), the later operation's sweeps brought back to the first one's coordinates. It is computed twice,
with meshes that surely lie inside and surely outside the true sweeps, and refined until half the gap is at most 2e-4 of the removed volume
(and further, as far as it pays, when a bound of the program cannot be decided otherwise). Exit 1 when the refined figure is off by more than
0.1 % of the removed volume, when either figure surely lies outside its own bound, or when a formula lies outside the judge's own bracket.
"""

from __future__ import annotations

import argparse
import math
import secrets
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import manifold3d
import numpy as np

from tests.oracle.second_jobs import Job, Stock, write
from tests.oracle.second_shapes import draw
from tests.oracle.second_sweeps import INSIDE, OUTSIDE, sweep, union
from tests.product import volume_left

FACET_SHARE = 2e-4  # half the gap between the meshes, of the removed volume
REFINED_SHARE = 1e-3  # what the refined figure may be off, of the removed volume
MOST_FACETS = 768


@dataclass(frozen=True)
class Truth:
    """Removed volume, mm³: middle of the bracket, half its width, corners of the round sections."""

    removed: float
    half: float
    facets: int


@dataclass(frozen=True)
class Verdict:
    """One job compared; volumes left, mm³."""

    seed: int
    job: Job
    truth: Truth
    left: float
    refined: tuple[float, float]
    plain: tuple[float, float]
    faults: tuple[str, ...]

    @property
    def error_share(self) -> float:
        """Error of the refined figure as a share of the removed volume."""
        return abs(self.refined[0] - self.left) / max(self.truth.removed, 1e-9)

    def inside(self, which: tuple[float, float]) -> bool:
        """Whether a figure lies within its bound of the truth, the judge's own half-width granted."""
        return abs(which[0] - self.left) <= which[1] + self.truth.half


def _stock_mesh(stock: Stock, side: int) -> manifold3d.Manifold:
    """Raw stock; a cylinder inside or outside the true one, in 1440 facets."""
    size, middle = stock.high - stock.low, (stock.low + stock.high) / 2
    if stock.kind == "box":
        return manifold3d.Manifold.cube(tuple(size)).translate(tuple(stock.low))
    count = 1440
    radius = size[0] / 2 * (1.0 if side == INSIDE else 1.0 / math.cos(math.pi / count))
    upright = manifold3d.Manifold.cylinder(float(size[2]), float(radius), float(radius), count)
    return upright.translate((float(middle[0]), float(middle[1]), float(stock.low[2])))


def removed_at(job: Job, side: int, facets: int) -> float:
    """Volume (mm³) of stock ∩ all sweeps, from inside or outside."""
    raw = _stock_mesh(job.stock, side)
    solids = []
    for op in job.ops:
        back = np.hstack([op.turn.T, (-op.turn.T @ op.shift)[:, None]])
        for tool, move in op.moves:
            solids += [solid.transform(back) ^ raw for solid in sweep(tool, move, side, facets)]
    return float(union(solids).volume())


def truth_of(job: Job, facets: int = 48, share: float = FACET_SHARE) -> Truth:
    """Removed volume within a bracket no wider than asked (or MOST_FACETS)."""
    while True:
        low, high = removed_at(job, INSIDE, facets), removed_at(job, OUTSIDE, facets)
        if low > high * (1 + 1e-9) + 1e-6:
            raise ArithmeticError(f"bracket upside down: {low} > {high} at {facets} facets")
        middle, half = (low + high) / 2, max((high - low) / 2, 0.0)
        if half <= share * middle or facets >= MOST_FACETS or middle < 1e-6:
            return Truth(middle, half, facets)
        grow = math.sqrt(half / (share * middle)) * 1.1
        facets = min(MOST_FACETS, 4 * math.ceil(facets * min(max(grow, 1.2), 5.0) / 4))


def compare(seed: int, job: Job, asked: tuple[tuple[float, float], tuple[float, float]]) -> Verdict:
    """Compares the program's (refined, bound) and (plain count, bound), volumes left in mm³, with the job's truth."""
    truth = truth_of(job)
    whole = job.stock.volume()

    def unsure(t: Truth) -> bool:
        return any(abs(abs(value - (whole - t.removed)) - bound) <= t.half for value, bound in asked)

    if unsure(truth) and truth.facets < 400:
        truth = truth_of(job, truth.facets * 2, FACET_SHARE / 4)
    left = whole - truth.removed
    faults = []
    if abs(asked[0][0] - left) > REFINED_SHARE * truth.removed + truth.half:
        faults.append("refined off by more than 0.1 % of the removed volume")
    for name, (value, bound) in zip(("refined", "plain"), asked, strict=True):
        if not abs(value - left) <= bound + truth.half:
            faults.append(f"{name} outside its own bound")
    if job.formula is not None and abs(job.formula - truth.removed) > truth.half + 1e-6 * truth.removed:
        faults.append(
            f"JUDGE BROKEN: formula {job.formula:.4f} outside its bracket {truth.removed:.4f} ± {truth.half:.4f}"
        )
    return Verdict(seed, job, truth, left, asked[0], asked[1], tuple(faults))


def judge(seed: int, folder: Path) -> Verdict:
    """Draws the job of a seed, writes it, asks the program, and compares."""
    job = draw(seed)
    write(job, folder)
    refined, refined_bound, plain, plain_bound = volume_left(folder)
    return compare(seed, job, ((refined, refined_bound), (plain, plain_bound)))


def line_of(v: Verdict) -> str:
    """One printed line of a comparison."""
    removed = v.truth.removed
    return (
        f"{v.seed}: removed {removed:.3f} ± {v.truth.half:.3f}, left {v.left:.3f}; refined {v.refined[0] - v.left:+.4f} (bound {v.refined[1]:.4f},"
        f" {100 * v.error_share:.4f} %), plain {v.plain[0] - v.left:+.3f} (bound {v.plain[1]:.3f}); {v.job.name}"
        + "".join(f"\n    FAULT {fault}" for fault in v.faults)
    )


def main(words: list[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.oracle.second_volume", description="Random jobs against a second judge of volume."
    )
    parser.add_argument("--jobs", type=int, default=10)
    parser.add_argument("--seed", type=int, default=None, help="default: drawn, and printed")
    parser.add_argument("--keep", type=Path, default=None, help="folder for the job folders (default: thrown away)")
    asked = parser.parse_args(words)
    seed = secrets.randbelow(10**9) if asked.seed is None else asked.seed
    print(f"seed {seed}", flush=True)
    done: list[Verdict] = []
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as scrap:
        base = asked.keep or Path(scrap)
        for i in range(asked.jobs):
            done.append(judge(seed + i, base / f"job-{seed + i}"))
            print(line_of(done[-1]), flush=True)
    worst = max(done, key=lambda v: v.error_share)
    bad = [v for v in done if v.faults]
    print(f"{len(done)} jobs in {time.monotonic() - begun:.0f} s, {len(bad)} with faults: {[v.seed for v in bad]}")
    print(
        f"worst error of the refined figure: {100 * worst.error_share:.4f} % of the removed volume (job {worst.seed})"
    )
    for name in ("refined", "plain"):
        figures = [getattr(v, name) for v in done]
        covered = sum(v.inside(f) for v, f in zip(done, figures, strict=True))
        strict = sum(abs(f[0] - v.left) <= f[1] for v, f in zip(done, figures, strict=True))
        width = statistics.median(f[1] / max(v.truth.removed, 1e-9) for v, f in zip(done, figures, strict=True))
        print(
            f"{name}: inside its bound {covered}/{len(done)} (without granting the judge's own half-width {strict}/{len(done)}),"
            f" median bound {100 * width:.4f} % of the removed volume"
        )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
