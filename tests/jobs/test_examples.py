"""The example jobs: what is planted in their files, and that a proof finds it at the right block and nothing else."""

import csv
import tomllib
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
CLEAN = ("ice-core-plate", "valve-body", "soil-auger-coupling", "winch-side-frame")
JOBS = (*CLEAN, "ice-core-plate/faulty", "soil-auger-coupling/faulty", "winch-side-frame/small")


def toml(name: str) -> dict[str, object]:
    return tomllib.loads((EXAMPLES / name / "job.toml").read_text(encoding="utf-8"))


def block(name: str, text: str) -> int:
    """The line number of the only block that holds `text`."""
    lines = (EXAMPLES / name).read_text(encoding="utf-8").splitlines()
    hits = [k for k, line in enumerate(lines, 1) if text in line]
    assert len(hits) == 1, hits
    return hits[0]


def table(name: str, key: str) -> dict[int, dict[str, str]]:
    lines = (EXAMPLES / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("units")
    return {int(row[key]): row for row in csv.DictReader(lines[1:])}


@pytest.mark.parametrize("name", JOBS)
def test_example_says_it_is_invented_and_names_files_that_exist(name: str) -> None:
    job = toml(name)
    assert job["invented"] is True
    folder = EXAMPLES / name
    operations = job["operation"]
    assert isinstance(operations, list)
    names = [job["shop"], job["tools"], job["design"]["file"]]  # type: ignore[index]
    names += [file for op in operations for file in (op["program"], *op.get("subprograms", []))]
    for file in names:
        assert (folder / str(file)).is_file(), file


def test_the_plate_differs_from_its_faulty_variant_by_the_three_planted_faults_only() -> None:
    clean = (EXAMPLES / "ice-core-plate/op2.nc").read_text(encoding="utf-8").splitlines()
    faulty = (EXAMPLES / "ice-core-plate/faulty/op2.nc").read_text(encoding="utf-8").splitlines()
    other = [k for k, (a, b) in enumerate(zip(clean, faulty, strict=True), 1) if a != b]
    assert other == [block("ice-core-plate/faulty/op2.nc", "R-0.6")]
    planned, held = table("ice-core-plate/tools.csv", "number"), table("ice-core-plate/faulty/tools.csv", "number")
    assert [number for number in planned if planned[number] != held[number]] == [4]
    assert float(planned[4]["stick_out"]) - float(held[4]["stick_out"]) == 6.0
    found = table("ice-core-plate/faulty/found-tools.csv", "slot")
    wrong = {n: float(found[n]["length"]) - float(held[n]["length"]) for n in held}
    assert {n: round(v, 3) for n, v in wrong.items() if v} == {6: -3.6}


def test_winch_frame_stands_6_mm_over_the_travel_of_the_small_machine() -> None:
    block("winch-side-frame/op1.nc", "G0 X375. Y60.")
    origin = toml("winch-side-frame/small")["operation"][0]["offset"][0]["origin"]  # type: ignore[index]
    shop = tomllib.loads((EXAMPLES / "shop.toml").read_text(encoding="utf-8"))
    small = next(machine for machine in shop["machine"] if machine["name"] == "small")
    assert origin[0] + 375.0 - small["travel"]["X"][1] == 6.0


def proof_of(name: str):  # type: ignore[no-untyped-def]
    """The proof of an example; these tests wait for the command that joins the rooms."""
    flow = pytest.importorskip("halfthou.flow.prove")
    return flow.prove(EXAMPLES / name)


def stops(proof) -> list[tuple[str, str, int, int]]:  # type: ignore[no-untyped-def]
    """(code, file name, line, tool) of every STOP finding."""
    return [
        (f.code, Path(f.place.file).name, f.place.line, f.tool)
        for f in proof.findings
        if f.severity.name == "STOP"
    ]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", CLEAN)
def test_clean_example_has_no_stop(name: str) -> None:
    proof = proof_of(name)
    assert stops(proof) == []
    assert not [f.what for f in proof.findings if f.code.startswith("P3") and f.severity.name != "NOTE"]
    assert "no contact found" in proof.words


@pytest.mark.slow
def test_faulty_plate_is_found_by_block() -> None:
    proof = proof_of("ice-core-plate/faulty")
    found = stops(proof)
    assert ("P211", "op2.nc", block("ice-core-plate/faulty/op2.nc", "G82"), 8) in found
    assert ("P211", "op1.nc", block("ice-core-plate/op1.nc", "G81"), 6) in found
    holder = [f for f in proof.findings if f.code == "P204"]
    assert holder
    assert {f.tool for f in holder} == {4}
    assert {f.body for f in holder} == {"moving jaw"}
    assert max(f.amount.best for f in holder) == pytest.approx(0.8, abs=0.02)


@pytest.mark.slow
def test_faulty_coupling_is_found_by_block() -> None:
    first = block("soil-auger-coupling/faulty/op1.nc", "G83")
    found = stops(proof_of("soil-auger-coupling/faulty"))
    assert any(code == "P211" and file == "op1.nc" and first < line <= first + 5 for code, file, line, _ in found)


@pytest.mark.slow
def test_winch_frame_over_travel_on_the_small_machine_is_6_mm() -> None:
    proof = proof_of("winch-side-frame/small")
    line = block("winch-side-frame/op1.nc", "G0 X375. Y60.")
    over = [f for f in proof.findings if f.place.line == line and Path(f.place.file).name == "op1.nc"]
    assert any(f.amount is not None and f.amount.best == pytest.approx(6.0, abs=0.01) for f in over)
