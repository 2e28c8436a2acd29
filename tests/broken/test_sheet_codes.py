"""Complaints of the sheets: an unknown code, a report that cannot be written."""

from pathlib import Path

import pytest

from halfthou.base.errors import InputError
from halfthou.sheets import report
from halfthou.sheets.pages import code_page


def test_unknown_code_earns_f901() -> None:
    with pytest.raises(InputError) as caught:
        code_page("P999")
    assert [complaint.code for complaint in caught.value.complaints] == ["F901"]


def test_report_into_a_missing_folder_earns_f902(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report, "report_data", lambda proof, watch: ({}, {}))
    monkeypatch.setattr(report, "set_pages", lambda name, data, pictures: [b"%PDF"])
    with pytest.raises(InputError) as caught:
        report.write_report(None, tmp_path / "missing" / "report.pdf")  # type: ignore[arg-type]
    assert [complaint.code for complaint in caught.value.complaints] == ["F902"]
    report.write_report(None, tmp_path / "report.pdf")  # type: ignore[arg-type]
    assert (tmp_path / "report.pdf").read_bytes() == b"%PDF"
