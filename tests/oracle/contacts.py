"""Contacts against planted truth: `python -m tests.oracle.contacts --jobs 500 [--seed S] [--workers 2]`.

No contact of 0.05 mm or more may be missed, block, moving part and body named right, no STOP on a clean job.
"""

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from multiprocessing import get_context
from pathlib import Path

from tests.oracle.scenes import Scene, scene_of, write


def judge(scene: Scene, stops: list[dict]) -> tuple[str, str]:
    """(word for the count, what is wrong); the word is 'right' when all is well."""
    truth = scene.truth
    contacts = [s for s in stops if s["code"].startswith(("P20", "P21"))]
    if not truth.touches:
        return ("false stop", f"{stops[0]}") if stops else ("right", "")
    here = [s for s in contacts if s["file"] == f"op{truth.op + 1}.nc"]
    if not here:
        return "missed", f"{truth}"
    same_body = [s for s in here if s["body"].startswith(truth.body) and s["part"] == truth.part]
    if not same_body:
        return "wrong body", f"{truth} against {here}"
    if not any(s["line"] == truth.line for s in same_body):
        return "wrong block", f"{truth} against {same_body}"
    others = [s for s in contacts if s not in same_body]
    if others and truth.depth < 1.0:
        return "false stop", f"beside {truth}: {others[0]}"
    return "right", ""


def one(seed: int) -> tuple[int, Scene, str, str]:
    """Write, ask, judge."""
    from tests.product import stops

    scene = scene_of(seed)
    with tempfile.TemporaryDirectory() as folder:
        write(scene, Path(folder))
        try:
            found = stops(Path(folder))
        except Exception as error:
            return seed, scene, "error", f"{type(error).__name__}: {error}"
    word, what = judge(scene, found)
    return seed, scene, word, what


def run(jobs: int, seed: int, workers: int) -> tuple[Counter, list[str]]:
    """Counts and failures."""
    draw = random.Random(seed)
    seeds = [draw.randrange(10**9) for _ in range(jobs)]
    counts: Counter = Counter()
    failed: list[str] = []
    with get_context("spawn").Pool(workers) as pool:
        for number, scene, word, what in pool.imap_unordered(one, seeds):
            truth = scene.truth
            counts["touching" if truth.touches else "clean"] += 1
            counts["shallow"] += truth.touches and truth.depth <= 0.3
            counts["near"] += not truth.touches and truth.kind != ""
            counts["inch"] += scene.inch
            counts["short"] += scene.moves < 200
            counts[word] += 1
            if word != "right":
                failed.append(f"seed {number}: {word}: {what}")
    return counts, failed


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--one", type=int, default=None, help="write the job of one scene seed")
    parser.add_argument("--keep", type=Path, default=Path("oracle-job"))
    asked = parser.parse_args()
    if asked.one is not None:
        scene = scene_of(asked.one)
        write(scene, asked.keep)
        print(scene.truth, f"{scene.moves} moves, written to {asked.keep}")
        return 0
    seed = asked.seed if asked.seed is not None else random.SystemRandom().randrange(10**9)
    print(f"seed {seed}", flush=True)
    began = time.monotonic()
    counts, failed = run(asked.jobs, seed, asked.workers)
    print(", ".join(f"{name} {counts[name]}" for name in ("touching", "shallow", "clean", "near", "inch", "short")))
    print(
        ", ".join(
            f"{name} {counts[name]}" for name in ("right", "missed", "wrong block", "wrong body", "false stop", "error")
        )
    )
    print(f"{time.monotonic() - began:.0f} s")
    for line in failed[:40]:
        print(line)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
