"""Every code of the NC language is earned by a wrong program, at its line, and by nothing else on it."""

import pytest

from halfthou.base.errors import ProgramError
from halfthou.nc.codes import CODES
from halfthou.nc.interpret import interpret
from halfthou.nc.start import Start
from halfthou.nouns.machine import Control
from halfthou.nouns.moves import Reading
from halfthou.nouns.program import Program
from tests.broken.nc_programs import REFUSED, WARNED


def read(text: str, profile: str) -> Reading:
    lines = tuple(text.split("\n"))
    program = Program(name="o.nc", file="o.nc", sha256="", raw=text.encode(), lines=lines)
    start = Start(registers=dict.fromkeys(range(1, 25), (50.0, 5.0)), tools={1: 10.0})
    contact = (lambda _ask: None) if "G38" in text or "G31" in text else None
    return interpret(program, (), Control(profile=profile), start, contact=contact)


@pytest.mark.parametrize("code", sorted(REFUSED))
def test_refusal(code: str) -> None:
    profile, text, line, _ = REFUSED[code]
    with pytest.raises(ProgramError) as caught:
        read(text, profile)
    first = caught.value.complaints[0]
    assert (first.code, first.kind, first.place.line) == (code, CODES[code].kind, line)
    assert first.what.endswith((".", "?"))
    assert first.place.text == text.split("\n")[line - 1]


@pytest.mark.parametrize("code", sorted(WARNED))
def test_warning(code: str) -> None:
    text, line, _ = WARNED[code]
    found = [f for f in read(text, "mill").findings if f.code == code]
    assert [f.place.line for f in found] == [line]
    assert found[0].what.endswith((".", "?"))


def test_all_codes_are_covered() -> None:
    assert set(REFUSED) | set(WARNED) == set(CODES)
