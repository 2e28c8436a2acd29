"""Numbers changed in program text: everything else stays byte for byte, whatever coding, line ends and spacing."""

import random

import pytest

from halfthou.files.program import program_of
from halfthou.nc.rewrite import Edit, edited, like, spots
from halfthou.nouns.program import Program

TEXT = "%\nO1 (F100 IS A COMMENT; S5)\nG1 X1. F100. ; F7\nx2. f 250 (mid) s1200 M3\nG65 P9 F30. S2\nF#100\nF[2*3]\nG1 F1 0.\n%"


def program(text: str, coding: str, ends: str) -> Program:
    complaints: list[object] = []
    read = program_of("a.nc", text.replace("\n", ends).encode(coding), complaints)  # type: ignore[arg-type]
    assert not complaints
    return read


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_only_the_named_characters_differ(coding: str, ends: str) -> None:
    text = TEXT.replace("COMMENT", "CÖMMENT")
    if coding == "utf-16-le":
        text = "\ufeff" + text
    own = program(text, coding, ends)
    assert edited(own, []) == own.raw
    found = spots(own, "FS", strict=False)
    assert [(s.line, s.column, s.letter, s.text, s.whole, s.argument) for s in found] == [
        (3, 8, "F", "100.", True, False),
        (4, 5, "F", "250", True, False),
        (4, 17, "S", "1200", True, False),
        (5, 8, "F", "30.", True, True),
        (5, 13, "S", "2", True, True),
        (8, 4, "F", "10.", False, False),
    ]
    edits = [Edit(s.line, s.start, s.end, "77") for s in found[:3]]
    want = text.replace("X1. F100.", "X1. F77").replace("f 250", "f 77").replace("s1200", "s77")
    assert edited(own, edits) == want.replace("\n", ends).encode(coding)


@pytest.mark.parametrize(
    ("old", "value", "new"),
    [
        ("1900.", 2280.0, "2280."),
        ("900", 1080.9, "1080"),
        ("12.50", 15.0, "15.00"),
        (".5", 0.6, ".6"),
        ("0.5", 0.6, "0.6"),
        ("0090", 99.0, "0099"),
        ("+40.", 44.2, "+44."),
        ("5.", 5.5, "5.5"),
        ("0.1", 0.125, "0.125"),
        ("5", 5.9, "5"),
        ("0.05", 0.055, "0.055"),
        ("100", 120.00000000001, "120"),
        ("100", 119.9999999999999, "120"),
    ],
)
def test_a_number_keeps_its_style(old: str, value: float, new: str) -> None:
    assert like(old, value) == new


def test_a_number_is_never_above_its_value_and_close_below() -> None:
    source = random.Random(5)
    for _ in range(2000):
        digits = source.randrange(4)
        value = source.uniform(0.5, 5000.0)
        old = f"{source.uniform(0.5, 5000.0):.{digits}f}" + ("." if digits == 0 and source.random() < 0.5 else "")
        got = float(like(old, value))
        assert got <= value * (1 + 1e-11)
        assert value - got <= max(10.0**-digits, 0.0) + 1e-9
