"""One wrong job for every code of the rotary axis; the right job (tests/jobs/rotary) earns none of them."""

import shutil
from pathlib import Path

import pytest

import halfthou
from halfthou.base.errors import ProgramError

FOLDER = Path(__file__).parents[1] / "jobs" / "rotary"
ROTARY = ("P107", "P108", "P109")
WRONG = {
    "P107": ("job.toml", "range = [-360, 360]", "range = [-120, 120]"),
    "P108": ("op1.nc", "G1 Y30 F800 (SLOT ACROSS, SIDE", "G1 Y30 A100 F800 (SLOT ACROSS, SIDE"),
    "P109": ("op1.nc", "G0 Z60\nA90\n", "G0 Z8\nA10\nG0 Z60\nA90\n"),
}


def earned(folder: Path) -> list[str]:
    """Codes of the rotary axis and of contacts, once each."""
    try:
        proof = halfthou.open(folder).prove(what_if=False, pitch_mm=1.0)
    except ProgramError as error:
        return sorted({complaint.code for complaint in error.complaints})
    return sorted({f.code for f in proof.findings if f.code in ROTARY or f.code.startswith("P2")})


def test_the_right_job_earns_none() -> None:
    assert earned(FOLDER) == []


@pytest.mark.parametrize("code", ROTARY)
def test_the_wrong_job_earns_its_code(code: str, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(FOLDER, folder)
    file, old, new = WRONG[code]
    text = (folder / file).read_text()
    assert old in text
    (folder / file).write_text(text.replace(old, new))
    assert earned(folder) == [code]
