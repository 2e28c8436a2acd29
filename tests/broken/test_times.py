"""Files of times that are wrong, and the complaint each must earn."""

from pathlib import Path

import pytest

from halfthou.base.errors import ReadingError
from halfthou.flow.pace import pace_of
from tests.unit.pace_scene import write

WRONG = (
    ("F001", None, ""),
    ("F302", "time,line\n", "no readings"),
    ("F302", "time,row\n1,2\n", "'row' is not known"),
    ("F003", "override = 3\nseconds\n30\n", "`override` is not a known key"),
    ("F005", "plus_minus = much\nseconds\n30\n", "not a number"),
    ("F009", "seconds,feed_override\n30,900\n", "percent"),
    ("F202", "operation = op 9\nseconds\n30\n", "'op 9' is not in the job"),
    ("F701", "time,line\nsoon,4\n2,5\n", "'soon' is not a time"),
    ("F701", "time,line\n10,4\n2,5\n", "runs backwards"),
    ("F702", "time,line\n1,4\n2,900\n3,end\n", "is not in the program"),
    ("F702", "time,block\n1,70\n2,75\n3,80\n", "is not in the program"),
    ("F702", "time,line,program\n1,4,q.nc\n2,5,q.nc\n", "'q.nc' is not in the job"),
    ("F702", "time,line\n1,11\n2,10\n3,9\n4,8\n5,7\n6,6\n", "follow the program"),
    ("F702", "tool,seconds\n2,10\n1,10\n", "the tools timed are [2, 1]"),
)


@pytest.mark.parametrize(("code", "text", "says"), WRONG)
def test_wrong_times_earn_their_complaint(tmp_path: Path, code: str, text: str | None, says: str) -> None:
    path = write(tmp_path, text or "")
    if text is None:
        path.unlink()
    with pytest.raises(ReadingError) as caught:
        pace_of(tmp_path, path)
    assert code in {c.code for c in caught.value.complaints}, caught.value
    assert says in str(caught.value)
