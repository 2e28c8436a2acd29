"""Ratios, not seconds: `python -m bench.run` prints them with the commit and writes bench/results/latest.json.

Every ratio comes from one run on one machine; the bar of each stands beside it. A ratio below its bar ends with exit 1.
"""

import json
import random
import resource
import subprocess
import sys
import time
from pathlib import Path

import halfthou
from bench.engine import engine
from halfthou.base.value import Value
from halfthou.nc.interpret import interpret
from halfthou.nc.start import Start
from halfthou.nouns.machine import Control
from halfthou.nouns.program import Program

ROOT = Path(__file__).resolve().parents[1]


def demo() -> dict[str, float]:
    """Cycle time over proof time of the demo job, warm, and the peak memory of this process in GiB."""
    job = ROOT / "examples" / "ice-core-plate"
    halfthou.open(job).prove(what_if=False)
    began = time.perf_counter()
    proof = halfthou.open(job).prove()
    whole = time.perf_counter() - began
    began = time.perf_counter()
    halfthou.open(job).prove(what_if=False)
    plain = time.perf_counter() - began
    cycle = proof.cycle
    assert isinstance(cycle, Value)
    return {
        "cycle over proof with what-if": cycle.best / whole,
        "cycle over proof": cycle.best / plain,
        "peak memory GiB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,
    }


def reading(seed: int) -> dict[str, float]:
    """The plain-block path against the long one on the same 30,000 blocks, and a million blocks read."""
    draw = random.Random(seed)
    head = ["G21 G90", "T1 M6", "S1000 M3", "G0 Z10.", "G1 F500"]
    body = [
        f"X{draw.uniform(0, 99):.3f} Y{draw.uniform(0, 99):.3f} Z{draw.uniform(-5, 0):.3f}" for _ in range(1_000_000)
    ]

    def took(lines: list[str], plain: bool) -> float:
        program = Program(name="b", file="b", sha256="", raw=b"", lines=(*lines, "M30"))
        began = time.perf_counter()
        read = interpret(program, (), Control(), Start(), plain=plain)
        assert len(read.moves.moves) >= len(lines) - 5
        return time.perf_counter() - began

    short = head + body[:30_000]
    return {
        "long way over plain blocks": took(short, False) / took(short, True),
        "million blocks, s": took(head + body, True),
    }


BARS = {
    "cycle over proof with what-if": (100.0, None),
    "cycle over proof": (100.0, None),
    "peak memory GiB": (None, 1.0),
    "loads over removal, 100,000 moves": (None, 2.0),
}


def main() -> int:
    """Print and write the ratios."""
    seed = random.SystemRandom().randrange(10**6)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    found = {**demo(), **reading(seed), **engine()}
    print(f"commit {commit.stdout.strip()}, seed {seed}")
    failed = False
    for name, value in found.items():
        low, high = BARS.get(name, (None, None))
        bad = (low is not None and value < low) or (high is not None and value > high)
        failed = failed or bad
        bar = f"at least {low:g}" if low is not None else f"at most {high:g}" if high is not None else ""
        print(f"  {name:34s} {value:10.3g}  {bar}{'  MISSED' if bad else ''}")
    results = ROOT / "bench" / "results"
    results.mkdir(exist_ok=True)
    data = {"commit": commit.stdout.strip(), "seed": seed, "ratios": found}
    (results / "latest.json").write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
