"""Blocks of two programs compared: what acts the same is not a change, what moves elsewhere is."""

import random

from hypothesis import given
from hypothesis import strategies as st

from halfthou.prove.revision_text import aligned, plain


def test_spaces_comments_and_numbers_do_not_act() -> None:
    assert plain("N10 G1 X5. (finish) F200") == plain("g1x5.f200 ; rough") == "G1X5.F200"
    assert plain("/2 N30 M1") == "/2M1"
    assert plain("(only words)") == ""
    assert plain("X5.") != plain("X5.01")
    assert plain("M98 P10") != plain("M98 P1")


def test_one_changed_line_is_one_change() -> None:
    a = list(range(100))
    assert aligned(a, a) == []
    b = [*a[:40], 1000, *a[41:]]
    assert aligned(a, b) == [(40, 41, 40, 41)]
    assert aligned(a, a[:10] + a[12:]) == [(10, 12, 10, 10)]
    assert aligned(a[:10] + a[12:], a) == [(10, 10, 10, 12)]


def test_repeated_lines_are_aligned_too() -> None:
    a = [1, 2] * 50
    assert aligned(a, [*a, 3]) == [(100, 100, 100, 101)]
    assert aligned(a, [*a[:50], 7, *a[50:]]) == [(50, 50, 50, 51)]


@given(st.lists(st.integers(0, 6), max_size=30), st.lists(st.integers(0, 6), max_size=30))
def test_what_is_not_named_is_equal(a: list[int], b: list[int]) -> None:
    i = j = 0
    for a0, a1, b0, b1 in [*aligned(a, b), (len(a), len(a), len(b), len(b))]:
        assert a[i:a0] == b[j:b0]
        i, j = a1, b1
    assert (i, j) == (len(a), len(b))


def test_long_programs_with_many_repeats() -> None:
    draw = random.Random(1)
    a = [draw.randrange(50_000) for _ in range(50_000)]
    b = [*a[:20000], -1, *a[20001:]]
    assert aligned(a, b) == [(20_000, 20_001, 20_000, 20_001)]
