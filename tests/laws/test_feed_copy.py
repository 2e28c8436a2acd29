"""The changed copy, read again: exactly the scaled feeds and speeds for the tools concerned, everything else as it was.

What may differ in the text is told by a second route (regular expressions on the bytes), not by the code that changed it.
"""

import random
import re
from dataclasses import dataclass

import numpy as np
import pytest

from halfthou.files.program import program_of
from halfthou.nc.interpret import interpret
from halfthou.nc.rewrite import edited
from halfthou.nc.start import Start
from halfthou.nouns.machine import Control
from halfthou.nouns.moves import MoveList
from halfthou.nouns.program import Program
from halfthou.prove.feed_words import (
    Governed,
    Plan,
    differences,
    edits_of,
    feed_sites,
    marked,
    plan,
    same_path,
    sites_of,
    speed_sites,
)

CONTROL = Control(start_units="mm")
WORD = re.compile(rb"(?i)([FS])([ \t]*)([+]?\d*\.?\d+\.?)")


def program(name: str, text: str | bytes) -> Program:
    return program_of(name, text if isinstance(text, bytes) else text.encode(), [])


def read(programs: tuple[Program, ...]) -> MoveList:
    return interpret(programs[0], programs[1:], CONTROL, Start(offsets={1: (0.0, 0.0, 0.0)})).moves


@dataclass(frozen=True)
class Copied:
    base: MoveList
    now: MoveList
    done: Plan
    own: Governed
    programs: tuple[Program, ...]


def copied(programs: tuple[Program, ...], ratios: dict[int, tuple[float, float]]) -> Copied:
    base = read(programs)
    sites = [sites_of([programs], letter, strict=False) for letter in "FS"]
    seen = [read(marked(programs, own)) for own in sites]
    assert all(same_path(base, one) for one in seen)
    own = Governed(0, base, feed_sites(seen[0], len(sites[0])), speed_sites(seen[1], len(sites[1])))
    done = plan([own], sites[0], sites[1], {(0, tool): pair for tool, pair in ratios.items()})
    edits = {k.file: [] for k in programs}  # type: ignore[var-annotated]
    for texts, of in ((done.feed, sites[0]), (done.speed, sites[1])):
        for file, each in edits_of(texts, of).items():
            edits[file] += each
    new = tuple(program(one.file, edited(one, edits[one.file])) for one in programs)
    now = read(new)
    assert differences(own, now, done, sites[0], sites[1]) == []
    return Copied(base, now, done, own, new)


def factor(of: Copied, tool: int, name: str = "feed_mm_per_s") -> list[float]:
    """Distinct new-over-old values of a tool's moves."""
    mine = (of.base.moves["tool"] == tool) & (of.base.moves[name] != 0)
    return sorted({round(float(v), 6) for v in of.now.moves[name][mine] / of.base.moves[name][mine]})


HEAD = "G21 G90 G17 G54 G94\nG0 Z50.\n"
TWO = (
    HEAD + "T1 M6\nS1000 M3\nG1 X1. F100.\nY1.\nG2 X2. Y2. I1. J0. F200\nG0 X0.\nG1 Z-1. F50.5\n"
    "T2 M6\nS2000 M3\nG1 X5. F300\nG81 X6. Z-5. R1. F60.\nX7.\nG80\nM30\n"
)


def test_only_the_tools_concerned_are_scaled_and_only_their_words_differ() -> None:
    found = copied((program("a.nc", TWO),), {1: (1.2, 1.0)})
    assert factor(found, 1) == [1.2]
    assert factor(found, 2) == [1.0]
    assert factor(found, 1, "spindle_rpm") == [1.0]
    text = found.programs[0].raw.decode()
    assert text == TWO.replace("F100.", "F120.").replace("F200", "F240").replace("F50.5", "F60.6")
    assert [(w.line, w.before, w.after, w.tool) for w in found.done.words] == [
        (5, "F100.", "F120.", 1), (7, "F200", "F240", 1), (9, "F50.5", "F60.6", 1)
    ]  # fmt: skip


def test_speed_and_feed_together_and_feed_per_turn_keeps_its_number() -> None:
    found = copied((program("a.nc", TWO),), {2: (1.5, 1.25)})
    assert factor(found, 2) == [1.5]
    assert factor(found, 2, "spindle_rpm") == [1.25]
    turn = HEAD + "T1 M6\nS1000 M3\nG95\nG1 X1. F0.2\nG94\nG1 X2. F100.\nM30\n"
    found = copied((program("a.nc", turn),), {1: (1.5, 1.25)})
    assert factor(found, 1) == [1.5]
    assert b"F0.24\n" in found.programs[0].raw
    assert b"F150.\n" in found.programs[0].raw


def test_inch_and_mm_are_scaled_alike() -> None:
    inch = TWO.replace("G21", "G20").replace("F100.", "F4.").replace("F200", "F8.0").replace("F50.5", "F2.02")
    found = copied((program("a.nc", inch),), {1: (1.25, 1.0)})
    assert np.allclose(factor(found, 1), 1.25, atol=0.004)  # 2.02 -> 2.52, not 2.525: as many decimals as it had
    assert b"F2.52\n" in found.programs[0].raw
    assert b"F5.\n" in found.programs[0].raw and b"F10.0\n" in found.programs[0].raw
    assert b"G20" in found.programs[0].raw
    mm = copied((program("a.nc", TWO),), {1: (1.25, 1.0)})
    assert np.allclose(factor(mm, 1), 1.25, atol=6e-4)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("T1 M6\nS1000 M3\n#1=100.\nG1 X1. F#1\nM30\n", "variable"),
        ("T1 M6\nS1000 M3\nG1 X1. F[50.*2]\nM30\n", "variable"),
        ("T1 M6\nS1000 M3\nG65 P9 F100.\nM30\nO9\nG1 X1. F#9\nM99\n", "variable"),
        ("T1 M6\nS1000 M3\nG1 X1. F100.\nT2 M6\nS1000 M3\nG1 X2.\nM30\n", "T2"),
        ("T1 M6\nS1000 M3\nM98 P9\nT2 M6\nS1000 M3\nM98 P9\nM30\nO9\nG1 X1. F100.\nX0.\nM99\n", "T2"),
        ("T1 M6\nS1000 M3\nG93 G1 X1. F10.\nG94\nM30\n", "G93"),
        ("T1 M6\nS1000 M3\nG1 X1. F1 00.\nM30\n", "space"),
        ("T1 M6\nS1000 M3\nG1 X1. F1(not 2)00.\nM30\n", "space"),
        ("T1 M6\nS1000 M3\nG1 X1. F1\nM30\n", "coarse"),
    ],
)
def test_what_cannot_be_changed_alone_is_refused_with_its_reason(text: str, why: str) -> None:
    found = copied((program("a.nc", HEAD + text),), {1: (1.2, 1.0)})
    assert [(one.tool, why in one.why) for one in found.done.not_written] == [(1, True)], found.done.not_written
    assert found.done.words == ()
    assert found.programs[0].raw == (HEAD + text).encode()


def test_a_refusal_pulls_along_the_tools_that_share_with_it() -> None:
    chain = (
        "T1 M6\nS1000 M3\nG1 X1. F100.\nT2 M6\nS900 M3\nG1 X2.\nF200.\nX3.\nT3 M6\nS900 M3\nG1 X4.\nG1 X5. F#5\nM30\n"
        "\nT4 M6\n"
    )
    found = copied((program("a.nc", HEAD + "#5=10.\n" + chain),), {1: (1.2, 1.0), 2: (1.2, 1.0), 3: (1.2, 1.0)})
    assert {one.tool for one in found.done.not_written} == {1, 2, 3}
    same = copied((program("a.nc", HEAD + chain.replace(" F#5", "")),), {1: (1.2, 1.0), 2: (1.2, 1.0), 3: (1.2, 1.0)})
    assert same.done.not_written == ()
    assert factor(same, 3) == [1.2]


def test_a_shared_subprogram_is_changed_when_all_its_tools_agree() -> None:
    main = HEAD + "T1 M6\nS1000 M3\nM98 P9\nT2 M6\nS1500 M3\nM98 P9\nM30\n"
    sub = "O9\nG1 X1. F100.\nX0. ; f5\nM99\n"
    found = copied((program("a.nc", main), program("s.nc", sub)), {1: (1.3, 1.0), 2: (1.3, 1.0)})
    assert found.done.not_written == ()
    assert found.programs[0].raw == main.encode()
    assert found.programs[1].raw == sub.replace("F100.", "F130.").encode()
    assert factor(found, 1) == factor(found, 2) == [1.3]


def test_a_program_that_reads_its_own_feed_goes_another_way_when_marked() -> None:
    text = HEAD + "T1 M6\nS1000 M3\nG1 X1. F100.\nIF[#4109GT110]GOTO5\nG1 X2.\nN5 G1 X3.\nM30\n"
    programs = (program("a.nc", text),)
    sites = sites_of([programs], "F", strict=False)
    assert not same_path(read(programs), read(marked(programs, sites)))


def test_random_programs_keep_every_other_byte_and_give_the_asked_feeds() -> None:
    source = random.Random(11)
    for round_ in range(40):
        inch = source.random() < 0.5
        end = source.choice(["\n", "\r\n", "\r"])
        lines = ["%", "(Ä F99. S8)", ("G20" if inch else "G21") + " G90 G17 G54 G94", "G0 Z2."]
        for tool in (1, 2, 3):
            lines += [
                f"T{tool} M6",
                f"S{source.randrange(500, 9000)} M3",
                f"G1 X-{tool}. F{source.uniform(20, 90):.1f}",
            ]
            for _ in range(source.randrange(2, 9)):
                f = source.uniform(20.0, 900.0)
                number = source.choice([f"{f:.0f}.", f"{f:.0f}", f"{f:.1f}", f"{f:.2f}", f"0{f:.0f}"])
                gap = source.choice(["", " ", "  "])
                letter = source.choice(["F", "f"])
                x = f"X{source.uniform(0, 3):.3f}"
                lines.append(
                    source.choice([
                        f"G1 {x} {letter}{gap}{number}", f"{letter}{gap}{number} {x}(F1.)", f"N{source.randrange(1, 900)}{x}",
                        f"g1{x}Y1.{letter}{number}", f"; F{number}", "",
                    ])
                )  # fmt: skip
        lines += ["M30", "%", "F5. AFTER THE END"]
        raw = end.join(lines).encode(source.choice(["utf-8", "latin-1", "utf-8-sig"]))
        ratios = {
            1: (source.choice([source.uniform(0.5, 0.9), source.uniform(1.1, 1.5)]), 1.0),
            3: (source.uniform(1.1, 1.5), source.uniform(0.9, 1.3)),
        }
        found = copied((program("a.nc", raw),), ratios)
        assert found.done.not_written == (), round_
        new = found.programs[0].raw
        assert WORD.sub(rb"\1\2#", new) == WORD.sub(rb"\1\2#", raw)
        base, now = found.base.moves, found.now.moves
        for tool, (feed, speed) in {2: (1.0, 1.0), **ratios}.items():
            mine = base["tool"] == tool
            travel = mine & (base["feed_mm_per_s"] > 0)
            got = now["feed_mm_per_s"][travel] / base["feed_mm_per_s"][travel]
            unit = 25.4 if inch else 1.0
            step = unit / 60.0 / base["feed_mm_per_s"][travel]  # one unit of a number without decimals
            assert np.all(got <= feed * (1 + 1e-9)) and np.all(got >= feed - np.maximum(step, 1e-9))
            spin = mine & (base["spindle_rpm"] != 0)
            turn = now["spindle_rpm"][spin] / base["spindle_rpm"][spin]
            assert np.all(turn <= speed * (1 + 1e-9)) and np.all(turn >= speed - 1 / 400)
            if tool == 2:
                assert np.array_equal(now["feed_mm_per_s"][mine], base["feed_mm_per_s"][mine])
        for name in base.dtype.names:
            if name not in ("feed_mm_per_s", "spindle_rpm", "state"):
                assert np.array_equal(base[name], now[name]), name


def test_a_wrong_copy_is_seen() -> None:
    programs = (program("a.nc", TWO),)
    good = copied(programs, {1: (1.2, 1.0)})
    sites = [sites_of([programs], letter, strict=False) for letter in "FS"]
    for old, new in (("F120.", "F121."), ("F300", "F301"), ("S2000", "S2001"), ("X5.", "X5.1"), ("G1 X5.", "G0 X5.")):
        bad = read((program("a.nc", good.programs[0].raw.decode().replace(old, new)),))
        assert differences(good.own, bad, good.done, sites[0], sites[1]), old


MORE = {
    "compensation": "T1 M6\nS1000 M3\nG0 X-5. Y-5.\nG41 D1 G1 X0. F100.\nY10. F110.\nX10. F120.\nY0.\nX-5. F90.\nG40 G1 X-9. Y-9.\n",
    "helix": "T1 M6\nS1000 M3\nG1 X0. F100.\nG3 X0. Y0. Z-2. I3. J0. F80.\nG2 X0. Y0. Z-3. I1. J1.\n",
    "cycles": "T1 M6\nS1000 M3\nG99 G83 X1. Y1. Z-9. R1. Q2. F70.\nX2.\nG82 X3. Z-3. R1. P100 F40.\nG85 X4. Z-3. R1.\nG80\n",
    "loops": "T1 M6\nS1000 M3\n#1=0\nWHILE[#1LT3]DO1\nG1 X[#1] F100.\nX-1.\n#1=#1+1\nEND1\nM98 P7 L2\n",
    "moving modes": "T1 M6\nS1000 M3\nG95 G1 X1. F0.15\nX2.\nG94\nX3. F100.\nG91 X1.\nG90\n",
}


@pytest.mark.parametrize("name", MORE)
@pytest.mark.parametrize(
    "control", [CONTROL, Control(start_units="mm", helix_feed="plane", decimal_mode="least_increment")]
)
def test_every_way_of_moving_is_scaled(name: str, control: Control, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.laws.test_feed_copy.CONTROL", control)
    monkeypatch.setitem(globals(), "CONTROL", control)
    text = HEAD + MORE[name] + "T2 M6\nS1000 M3\nG1 X20. F100.\nM30\nO7\nG1 X5. F60.\nX6.\nM99\n"
    found = copied((program("a.nc", text),), {1: (1.2, 1.0)})
    assert found.done.not_written == ()
    assert np.allclose(factor(found, 1), 1.2, rtol=1e-6)
    assert factor(found, 2) == [1.0]
