"""Complaints of the sheets: an unknown code, a report that cannot be written."""

from pathlib import Path

import pytest

from halfthou.base.errors import InputError
from halfthou.flow.new import write_skeleton
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


def test_new_does_not_write_over_a_job_file(tmp_path: Path) -> None:
    program = tmp_path / "op1.nc"
    program.write_text("G21 G90\nT1 M6\nS1000 M3\nM999\nM98 P77\nG0 X0 Y0 Z5.\nG1 Z-2. F100\nX10.\nM30\n")
    written, told = write_skeleton([program], out=None, shop=None, force=False)
    assert written == tmp_path / "job.toml"
    assert any("M999" in line for line in told)
    assert any("O77" in line for line in told)
    text = written.read_text()
    assert "M999" in text
    assert "O77" in text
    with pytest.raises(InputError) as caught:
        write_skeleton([program], out=None, shop=None, force=False)
    assert [complaint.code for complaint in caught.value.complaints] == ["F903"]
    assert written.read_text() == text
