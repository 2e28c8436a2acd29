"""The loads in report and JSON: pictures drawn, tables as wide as their heads, estimated said, equal bytes twice."""

import json
from pathlib import Path

import pytest

from halfthou.base.units import Display
from halfthou.flow.prove import ProveOptions, prove
from halfthou.nouns.answers import Proof
from halfthou.sheets.load_section import load_section
from halfthou.sheets.proof_json import proof_json
from halfthou.sheets.report import report_data
from halfthou.sheets.typeset import set_pages
from tests.broken.test_load_readings import cutting_lines, scene


@pytest.fixture(scope="module")
def proof(tmp_path_factory: pytest.TempPathFactory) -> Proof:
    folder = tmp_path_factory.mktemp("loads")
    scene(folder)
    (folder / "job.toml").write_text((folder / "job.toml").read_text() + "life = 40\n")
    lines = "".join(
        f"{line},{watts}\n" for line, watts in zip(cutting_lines(folder), (1060, 1240, 1130, 850), strict=True)
    )
    (folder / "loads.csv").write_text("idle_power_w = 240\nline,power_w\n" + lines)
    return prove(folder, ProveOptions(pitch_mm=0.5, what_if=False, readings=folder / "loads.csv"))


def test_section_has_every_picture_and_full_tables(proof: Proof) -> None:
    assert proof.loads is not None
    for unit in ("mm", "inch"):
        data, pictures = load_section(proof.loads, proof.job, Display(length_unit=unit))
        named = {s["file"] for s in data["strips"]} | set(data["charts"]) | {data["life"], data["learned"]["picture"]}
        assert named == set(pictures) and len(named) == 4
        assert all(p.startswith(b"<?xml") and b"</svg>" in p for p in pictures.values())
        assert all(len(row) == len(data["heads"]) for row in data["tools"])
        assert all(len(row) == len(data["chatter_heads"]) for row in data["chatter"])
        assert data["chatter"][0][-1] == "estimated" and "estimated, not measured" in data["dynamics"][0]
        assert f"bend {unit}" in data["heads"]
        again = load_section(proof.loads, proof.job, Display(length_unit=unit))[1]
        assert again == pictures
    assert any("left out" in row[0] for row in data["learned"]["rows"])


def test_the_report_sets(proof: Proof) -> None:
    data, pictures = report_data(proof)
    assert "loads" in data
    pages = set_pages("proof.typ", data, pictures)
    assert pages[0].startswith(b"%PDF")


def test_json_tells_chatter_and_what_was_learned(proof: Proof) -> None:
    told = json.loads(proof_json(proof))
    own = told["loads"][0]["chatter"]
    assert own["measured"] is False and own["limit_low_mm"] < own["limit_mm"] < own["limit_high_mm"]
    assert own["depth_mm"] == pytest.approx(6.0, abs=0.01)
    assert told["learned"]["readings"] == 4 and len(told["learned"]["points"]) == 4
    low, best, high = told["learned"]["kc11_mpa"]
    assert low < best < high
    assert any("learned from 4 readings" in text for text in proof.assumptions)


def test_without_loads_there_is_no_section(tmp_path: Path) -> None:
    scene(tmp_path, material="unobtainium")
    plain = prove(tmp_path, ProveOptions(pitch_mm=0.5, what_if=False))
    assert plain.loads is None
    assert "loads" not in report_data(plain)[0]
    told = json.loads(proof_json(plain))
    assert told["loads"] is None and told["learned"] is None
