"""Inspection documents and machine streams: what is read, and what is wrong with wrong ones."""

from pathlib import Path

import pytest

from halfthou.base.errors import CannotAnswer
from halfthou.files import inspection, stream

XML = Path(__file__).parents[1] / "published" / "data" / "xml"


@pytest.mark.parametrize(
    ("name", "line", "word"),
    [
        ("qif_bad_dangling_item", 32, "leads to no CharacteristicItem"), ("qif_bad_duplicate_id", 30, "used twice"),
        ("qif_bad_no_qpid", 2, "QPId"), ("qif_bad_status_word", 31, "GOOD"), ("qif_bad_unit_missing", 8, "SIUnitName"),
        ("mtconnect_bad_execution_word", 11, "RUNNING"), ("mtconnect_bad_no_header", 2, "Header"),
        ("mtconnect_bad_no_timestamp", 13, "timestamp"),
    ],
)  # fmt: skip
def test_wrong_documents_are_told_why_and_where(name: str, line: int, word: str) -> None:
    law = inspection.problems if name.startswith("qif") else stream.problems
    found = law((XML / f"{name}.xml").read_bytes())
    assert [p.line for p in found] == [line] and word in found[0].what


@pytest.mark.parametrize("name", ["qif_min_results", "qif_empty_valid", "qif_bad_count"])
def test_good_results(name: str) -> None:
    assert inspection.problems((XML / f"{name}.xml").read_bytes()) == ()


def test_results_are_read() -> None:
    (one,) = inspection.read((XML / "qif_min_results.xml").read_bytes())
    assert (one.name, one.status, one.value, one.u, one.target, one.low, one.high) == (
        "DIA BORE1", "PASS", 25.0093, 0.0012, 25.0, 0.0, 0.021,
    )  # fmt: skip
    with pytest.raises(CannotAnswer, match="line 32"):
        inspection.read((XML / "qif_bad_dangling_item.xml").read_bytes())


def test_a_stream_is_read_and_what_is_not_known_stays_unknown() -> None:
    read = stream.read((XML / "mtconnect_streams_min.xml").read_bytes())
    assert read.next_sequence == 13
    assert [o.sequence for o in read.observations] == [3, 4, 5, 6, 7, 8]
    assert read.latest("DoorState") is None
    other = stream.read((XML / "mtconnect_unavailable_ok.xml").read_bytes())
    assert any(o.value == stream.NOT_KNOWN and o.number != o.number for o in other.observations)


@pytest.mark.parametrize("raw", [b"", b"<a>", b"not xml", b"<a/>", b'<!DOCTYPE a [<!ENTITY e "x">]><a>&e;</a>'])
def test_other_bytes_are_refused(raw: bytes) -> None:
    assert stream.problems(raw) and inspection.problems(raw)
