"""A second judge of contacts beside the product's own answer: draws jobs, asks the product, judges by slices, counts.

Written without reading the product's source, the other oracles, the laws, the twins or the unit tests: from the documentation and the reference
texts alone. The geometry is in second_slices.py, the jobs in second_scenes.py. Contacts of one code, program, tool, part and body count as one, at
the first block that surely touches, with the greatest depth. Lengths in mm.

    python -m tests.oracle.second_contacts --jobs 200 [--seed S] [--workers 2] [--keep SEED DIR]
"""

import argparse
import secrets
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.oracle.second_program import Scene
from tests.oracle.second_scenes import draw, write
from tests.oracle.second_slices import FAR, Touch, judge

OWN = 0.01  # own error of a depth, generously: chords of part, stock and path together, and rounding
NAMED = 0.01  # the product promises contacts deeper than this
CLEAN = 0.008  # at most this deep is no contact: chords stand in by less
SURE = 0.05  # a contact this deep may not be missed
SHALLOW = 0.3

CODES = {"cutter": ("P202", "P201", "P211"), "shank": ("P203",) * 2 + ("P212",)}
CODES |= {"neck": CODES["shank"], "holder": ("P204",) * 2 + ("P213",), "spindle nose": ("P205",) * 2 + ("P214",)}
CONTACTS = {code for three in CODES.values() for code in three}
FAILURES = ("missed", "missed thin", "wrong block", "wrong body", "wrong depth", "false STOP", "other STOP")
COUNTED = (
    "jobs",
    "touching",
    "shallow",
    "clean",
    "near",
    "undecided",
    "not as meant",
    "right",
    "same block",
    *FAILURES,
    "abstained",
)


def code_of(t: Touch) -> str:
    """The code of a contact."""
    return CODES[t.part][2 if t.body == "stock" else 0 if t.rapid else 1]


@dataclass
class Verdict:
    """How the product's findings stand beside the judge's for one job."""

    seed: int
    counts: Counter[str]
    story: list[str]

    @property
    def failed(self) -> bool:
        return any(self.counts[k] for k in FAILURES)


def compare(scene: Scene, found: list[dict[str, Any]]) -> Verdict:
    """Count what agrees and what does not."""
    touches = judge(scene)
    counts, story = Counter(["jobs"]), [f"seed {scene.seed}: {scene.story} (meant: {scene.want})"]
    groups: dict[tuple[Any, ...], list[Touch]] = {}
    for t in touches:
        if t.most > CLEAN:
            groups.setdefault((code_of(t), t.file, t.tool, t.part, t.body), []).append(t)
    sure = {k: g for k, g in groups.items() if max(t.least for t in g) > NAMED + OWN}
    deepest = max((t.least for g in sure.values() for t in g), default=0.0)
    counts["touching" if sure else "undecided" if groups else "clean"] += 1
    counts["shallow"] += 0 < deepest <= SHALLOW
    if not groups and scene.want == "near":  # near if it touches as soon as the planted measure is moved a little
        counts["near"] += any(t.least > NAMED for t in judge(draw(scene.seed, SHALLOW + 0.05)))
    counts["not as meant"] += bool(sure) != (scene.want in ("touch", "shallow"))
    product = {(f["code"], f["file"], f["tool"], f["part"], f["body"]): f for f in found}
    for key, group in groups.items():
        if key not in sure:
            counts["abstained"] += 1
            continue
        what = _one(key, groups, product)
        counts[what] += 1
        if what not in ("right", "same block"):
            lines, deep, f = [t.line for t in group], max(t.least for t in group), product.get(key)
            story.append(
                f"  {what}: judge {key} lines {lines[:6]} depth {deep:.3f} lift {max(t.lift for t in group):.3f}; product {f and (f['line'], f['depth'])}"
            )
    for key, f in product.items():
        if key not in groups:
            what = "false STOP" if key[0] in CONTACTS else "other STOP"
            counts[what] += 1
            story.append(f"  {what}: product {f}")
    return Verdict(scene.seed, counts, story)


Key = tuple[Any, ...]


def _one(key: Key, groups: dict[Key, list[Touch]], product: dict[Key, dict[str, Any]]) -> str:
    """What the product made of one contact."""
    group = groups[key]
    lines, depth, f = [t.line for t in group], max(t.least for t in group), product.get(key)
    first = next(k for k, t in enumerate(group) if t.least > NAMED + OWN)
    if f is None:
        beside = [(k, g) for k, g in product.items() if k[1:3] == key[1:3] and g["line"] in lines]
        if any(k[3:] == key[3:] and g["line"] == lines[first] for k, g in beside):
            return "same block"  # in and out of a body in one block, at feed and at rapid: one finding is enough
        if any(k not in groups for k, _ in beside):
            return "wrong body"
        return "missed" if depth >= SURE else "missed thin"
    if f["line"] not in lines[: first + 1]:
        return "wrong block"
    lift, slack = max(t.lift for t in group), 0.02 + 0.01 * depth
    if (
        key[4] != "stock" or min(t.lift for t in group) <= FAR
    ):  # a shift: no less than the shrink, no more than the lift
        close = depth - slack <= f["depth"] and (lift <= FAR or f["depth"] <= lift + slack)
    else:  # smaller all round, or higher
        close = min(abs(f["depth"] - depth), abs(f["depth"] - lift)) <= slack
    return "right" if close else "wrong depth"


def run(seed: int, folder: Path | None = None) -> Verdict:
    """Draw, write, ask the product, judge, compare."""
    from tests.product import stops

    scene = draw(seed)
    with tempfile.TemporaryDirectory() as spare:
        place = folder or Path(spare)
        write(scene, place)
        return compare(scene, stops(place))


def main(arguments: list[str] | None = None) -> int:
    """Run from the command line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--jobs", type=int, default=20)
    ask.add_argument("--seed", type=int, default=None)
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--keep", nargs=2, metavar=("SEED", "DIR"))
    given = ask.parse_args(arguments)
    if given.keep:
        verdict = run(int(given.keep[0]), Path(given.keep[1]))
        print("\n".join(verdict.story), dict(verdict.counts), sep="\n")
        return int(verdict.failed)
    first = secrets.randbelow(10**8) if given.seed is None else given.seed
    print(f"seed {first}", flush=True)
    total: Counter[str] = Counter()
    seeds = range(first, first + given.jobs)
    failed = False
    with ProcessPoolExecutor(given.workers) as pool:
        for v in pool.map(run, seeds) if given.workers > 1 else map(run, seeds):
            total += v.counts
            failed |= v.failed
            if v.failed:
                print("\n".join(v.story), flush=True)
            if total["jobs"] % 20 == 0 or total["jobs"] == given.jobs:
                print("  ".join(f"{name}: {total[name]}" for name in COUNTED), flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
