"""Whatever happens to a typed file, reading it ends in a Job or in complaints with a place, never in a traceback."""

import functools
import random
import shutil
from pathlib import Path

import pytest

from halfthou.base.errors import InputError
from halfthou.files import mesh, mesh_step
from halfthou.files.codes import CODES
from halfthou.files.job import Loaded, load_job
from tests.unit.files_scene import MINIMAL, PROGRAM, TOOLS, files, write

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
JOBS = ("ice-core-plate", "valve-body", "soil-auger-coupling", "winch-side-frame", "ice-core-plate/faulty",
        "soil-auger-coupling/faulty", "winch-side-frame/small")  # fmt: skip
TYPED = (".toml", ".csv")
#: Pieces that hurt readers: marks of TOML and CSV, other kinds, other scripts, huge and tiny numbers, ends of lines.
PIECES = (
    "", "=", "[", "]", "[[", "]]", "{", "}", '"', "'", '"""', "#", ",", ";", ".", "..", "-", "\\", "\\u12", "\t", "\r",
    "\r\n", "\n", "\0", "\ufeff", "\u2028", "\x0b", "\x85", "ä", "٣", "²", "😀", "0", "00", "1e400", "-1e400", "nan", "inf", "-inf",
    "0x10", "0b1", "1_0", "9" * 30, "9" * 5000, "1979-05-27", "07:32:00", "true", "false", "?", '"?"', "[]", "{}", "[[]]", "{ X = 1 }",
    '"not known"', "mm", "inch", "sure", 'sure = ["rapid.X"]', "G54", "../job.toml", "/", "0", "-1", "1e-300", "a.b = 1", "a = 1", "[a]",
    "[operation]", "[machine.spindle]", "operation = 3", "units", "[" * 2000, "\ud800",
)  # fmt: skip


def mutated(raw: bytes, pick: random.Random) -> bytes:
    """One to three random changes: lines deleted, doubled or swapped, characters changed, values swapped, cut off."""
    text = raw.decode("utf-8")
    for _ in range(pick.choice((1, 1, 2, 3))):
        lines = text.split("\n")
        a, b, way = pick.randrange(len(lines)), pick.randrange(len(lines)), pick.randrange(9)
        at = pick.randrange(len(text) + 1)
        if way == 0:
            del lines[a]
        elif way == 1:
            lines[a], lines[b] = lines[b], lines[a]
        elif way == 2:
            lines.insert(a, lines[b])
        elif way == 3 and "=" in lines[a] and "=" in lines[b]:
            (ka, va), (kb, vb) = lines[a].split("=", 1), lines[b].split("=", 1)
            lines[a], lines[b] = f"{ka}={vb}", f"{kb}={va}"
        elif way == 4 and "=" in lines[a]:
            lines[a] = lines[a].split("=", 1)[0] + "= " + pick.choice(PIECES)
        elif way == 5 and "," in lines[a]:
            cells = lines[a].split(",")
            cells[pick.randrange(len(cells))] = pick.choice((*PIECES, pick.choice(cells)))
            lines[a] = ",".join(cells)
        else:
            cut = {6: 1, 7: 0}.get(way, pick.randrange(40))
            piece = "" if way == 8 else pick.choice(PIECES) if pick.random() < 0.7 else chr(pick.randrange(1, 0x3000))
            lines = (text[:at] + piece + text[at + cut :]).split("\n")
        text = "\n".join(lines) or "\n"
    return text.encode("utf-8", "surrogatepass")


def outcome(folder: Path, seed: int) -> str:
    """ "job", or the codes complained of; anything but a Job or an InputError with places fails the test."""
    try:
        loaded = load_job(folder)
    except InputError as error:
        assert error.complaints, f"seed {seed}"
        for complaint in error.complaints:
            assert complaint.code in CODES, f"seed {seed}"
            assert complaint.place.file, f"seed {seed}"
            assert complaint.what, f"seed {seed}"
            assert str(complaint), f"seed {seed}"
        return ",".join(sorted({c.code for c in error.complaints}))
    except BaseException:
        print(f"seed {seed}")
        raise
    assert isinstance(loaded, Loaded), f"seed {seed}"
    assert len(loaded.programs) == len(loaded.job.ops), f"seed {seed}"
    assert all(programs for programs in loaded.programs), f"seed {seed}"
    assert all(op.places for op in loaded.job.ops), f"seed {seed}"
    return "job"


@pytest.fixture
def quick_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same STEP bytes are meshed once."""
    monkeypatch.setattr(mesh, "solid_of_step", functools.lru_cache(mesh_step.solid_of_step))


@pytest.mark.usefixtures("quick_step")
def test_any_change_of_an_example_is_a_job_or_complaints(tmp_path: Path) -> None:
    root = tmp_path / "examples"
    shutil.copytree(EXAMPLES, root)
    typed = [path for path in sorted(root.rglob("*")) if path.suffix in TYPED]
    assert len(typed) > 12
    seen = set()
    for seed in range(150):
        pick = random.Random(seed)
        path = pick.choice(typed)
        name = pick.choice([job for job in JOBS if (root / job) == path.parent] or JOBS)
        kept = path.read_bytes()
        path.write_bytes(mutated(kept, pick))
        seen.add(outcome(root / name, seed))
        path.write_bytes(kept)
    assert "job" in seen
    assert len(seen) > 8


@pytest.mark.parametrize("block", range(4))
def test_any_change_of_a_small_job_is_a_job_or_complaints(block: int, tmp_path: Path) -> None:
    content = files()
    write(tmp_path, content)
    names = sorted(name for name in content if name.endswith(TYPED))
    seen = set()
    for seed in range(1000 * (block + 1), 1000 * (block + 1) + 250):
        pick = random.Random(seed)
        name = pick.choice(names)
        (tmp_path / name).write_bytes(mutated(content[name], pick))
        seen.add(outcome(tmp_path, seed))
        (tmp_path / name).write_bytes(content[name])
    assert "job" in seen
    assert len(seen) > 8


def test_bytes_that_are_no_text_are_complaints(tmp_path: Path) -> None:
    content = files()
    for seed in range(60):
        pick = random.Random(seed)
        name = pick.choice(sorted(content))
        raw = bytearray(content[name])
        for _ in range(pick.choice((1, 5, 50))):
            raw[pick.randrange(len(raw))] = pick.randrange(256)
        write(tmp_path, {**content, name: bytes(raw[: pick.choice((len(raw), pick.randrange(len(raw))))])})
        outcome(tmp_path, seed)


def test_cut_off_anywhere_is_a_job_or_complaints(tmp_path: Path) -> None:
    write(tmp_path, {"tools.csv": TOOLS.replace(",collet 34", ",").encode(), "op1.nc": PROGRAM.encode()})
    for end in range(0, len(MINIMAL), 3):
        (tmp_path / "job.toml").write_text(MINIMAL[:end])
        outcome(tmp_path, end)
