"""Positions in TOML: every key and array item is found at its own line and column, whatever the way it is written."""

import random
import tomllib
from pathlib import Path
from typing import Any

import pytest

from halfthou.files.lines import positions

ROOT = Path(__file__).resolve().parents[2]
ODD = """\
# a comment with [brackets] and = signs
title = "a # no comment" # but this is one
"quoted key" = 'literal \\ text'
dotted . "in side".key = 1
empty = []
table = { a = 1, "b c" = [ 1, { d = 2 } ], e.f = "x" }
long = [ # comment in a list
  1,
  [2, 3], # nested
  "]",
  '''literal
over lines ] , ''',
]
many = \"\"\"
three " quotes "" inside \\\"\"\" and an end\"\"\"\"
when = 1979-05-27 07:32:00
[plain]
x=-1_000.5e3
[plain.inner] # header comment
y = true
[[list]]
name = "first"
[[list.deep]]
z = 0x1F
[[list.deep]]
z = 2
[[list]]
name = "second"
[list.only]
w = [[1, 2], [3]]
[ spaced . "he ad" ]
v = ""
"""


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    """Every key and item with its path."""
    found = []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found.append(((*path, key), inner))
        found += leaves(inner, (*path, key))
    return found


def check(text: str) -> int:
    spots = positions(text)
    lines = text.split("\n")
    wanted = leaves(tomllib.loads(text))
    for path, value in wanted:
        line, column, word = spots[path]
        assert lines[line - 1][column - 1 :].startswith(word), path
        if isinstance(path[-1], str):
            assert path[-1] in (word, str(tomllib.loads(f"x = {word}")["x"]) if word[0] in "\"'" else word), path
        elif isinstance(value, int | float) and not isinstance(value, bool):
            assert tomllib.loads(f"x = {word}")["x"] == value, path
    assert set(spots) == {path for path, _ in wanted}
    return len(wanted)


def test_every_way_of_writing() -> None:
    assert check(ODD) == 47


@pytest.mark.parametrize("path", sorted((ROOT / "examples").rglob("*.toml")), ids=lambda p: str(p.relative_to(ROOT)))
def test_example_files(path: Path) -> None:
    assert check(path.read_text(encoding="utf-8")) > 60


def test_any_valid_mixture_of_lines() -> None:
    """Random subsets and orders of top-level parts: whatever the standard reader takes, the scanner follows."""
    parts = ODD.split("\n[")
    parts = [parts[0], *("[" + part for part in parts[1:])]
    checked = 0
    for seed in range(200):
        pick = random.Random(seed)
        some = pick.sample(parts[1:], pick.randrange(len(parts)))
        text = "\n".join((parts[0], *some))
        try:
            tomllib.loads(text)
        except tomllib.TOMLDecodeError:
            continue
        checked += 1
        assert check(text) > 0, f"seed {seed}"
    assert checked > 40
