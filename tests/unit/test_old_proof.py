"""Earlier answers read back: only what this tool wrote, unchanged."""

import json
from pathlib import Path
from typing import Any

import pytest

from halfthou.base.errors import JobError
from halfthou.base.stamp import Stamp
from halfthou.files.old_proof import read_old_proof

STAMP = Stamp(
    tool_version="0.1.0", inputs=(("job", "aa"), ("tools", "bb")), options=(("pitch_mm", "1"), ("what_if", "True"))
)


def body(**changes: Any) -> dict[str, Any]:
    stamp = {
        "tool_version": STAMP.tool_version, "short": STAMP.short, "options": dict(STAMP.options),
        "inputs": [{"role": role, "sha256": sha} for role, sha in STAMP.inputs],
    }  # fmt: skip
    return {"schema": "halfthou.proof/1", "stamp": stamp | changes.pop("stamp", {})} | changes


def test_a_stamp_comes_back_as_it_was(tmp_path: Path) -> None:
    file = tmp_path / "old.json"
    file.write_text(json.dumps(body()))
    assert read_old_proof(file).stamp == STAMP


@pytest.mark.parametrize(
    "text",
    [
        "no json", "[1, 2]", '{"schema": "other/1"}', '{"schema": "halfthou.proof/1", "error": "JobError"}',
        json.dumps(body(stamp={"inputs": [{"role": "job"}]})), json.dumps(body(stamp={"short": "000000000000"})),
        json.dumps(body(stamp={"inputs": [{"role": "job", "sha256": "ab"}, {"role": "tools", "sha256": "bb"}]})),
    ],
)  # fmt: skip
def test_anything_else_is_complained_of(text: str, tmp_path: Path) -> None:
    file = tmp_path / "old.json"
    file.write_text(text)
    with pytest.raises(JobError) as caught:
        read_old_proof(file)
    assert [c.code for c in caught.value.complaints] == ["F601"]
    assert str(file) in caught.value.complaints[0].what


def test_a_missing_file_is_complained_of(tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        read_old_proof(tmp_path / "none.json")
    assert [c.code for c in caught.value.complaints] == ["F601"]
