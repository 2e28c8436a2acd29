"""Ten good jobs written apart from the checks, and the same ten with one fault each, found at its block.

Invented jobs, as different people post them: inch and mm, G90 and G91, cycles, compensation, macros, loops, probing,
two parts at once, two operations, clamps. Each faulty folder holds the one changed file and points at the others.
"""

import json
from pathlib import Path
from typing import Any

import pytest

import halfthou
from halfthou.base.errors import InputError

HERE = Path(__file__).parent
GOOD, FAULTY = HERE / "known_good", HERE / "known_good_faulty"
EXPECTED: dict[str, dict[str, Any]] = json.loads((FAULTY / "expected.json").read_text(encoding="utf-8"))
MOST_CARES = 5


def test_there_are_ten() -> None:
    assert sorted(EXPECTED) == sorted(folder.name for folder in GOOD.iterdir() if folder.is_dir())
    assert len(EXPECTED) == 10


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_good_job_has_no_stop_and_few_cares(name: str) -> None:
    proof = halfthou.open(GOOD / name).prove()
    assert [f.what for f in proof.findings if f.severity.name == "STOP"] == []
    cares = [f for f in proof.findings if f.severity.name == "CARE"]
    assert len(cares) <= MOST_CARES
    for finding in cares:
        assert finding.place.line > 0
        assert finding.what
        assert finding.why


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_faulty_job_is_stopped_at_its_block(name: str) -> None:
    want = EXPECTED[name]
    try:
        proof = halfthou.open(FAULTY / name).prove(what_if=False)
    except InputError as error:
        found = [(c.code, Path(c.place.file).name, c.place.line) for c in error.complaints]
    else:
        stops = [f for f in proof.findings if f.severity.name == "STOP"]
        found = [(f.code, Path(f.place.file).name, f.place.line) for f in stops]
    assert any(code in want["codes"] and (file, line) == (want["file"], want["line"]) for code, file, line in found), (
        found
    )


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_one_thing_was_changed(name: str) -> None:
    good, faulty = GOOD / name, FAULTY / name
    changed = EXPECTED[name]["fault"].split(":")[0]
    assert {file.name for file in faulty.iterdir()} == {"job.toml", changed}
    if changed != "job.toml":
        before, after = (folder / changed for folder in (good, faulty))
        old, new = before.read_text().split("\n"), after.read_text().split("\n")
        assert len(set(old) ^ set(new)) <= 2
        assert abs(len(old) - len(new)) <= 1
    own, other = ((f / "job.toml").read_text().replace(f"../../known_good/{name}/", "") for f in (good, faulty))
    lines = list(zip(own.split("\n"), other.replace("../../known_good/shop", "../shop").split("\n"), strict=True))
    assert sum(a != b for a, b in lines) == (1 if changed == "job.toml" else 0)
