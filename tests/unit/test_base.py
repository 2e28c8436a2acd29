"""Ground floor: units, durations, places, stamps, progress."""

import numpy as np
import pytest

from halfthou.base.errors import Cancelled, Complaint, InputError
from halfthou.base.place import Place
from halfthou.base.stamp import Stamp
from halfthou.base.table import dtype, empty, lock
from halfthou.base.units import MM_PER_INCH, Display, duration, read_length, to_mm
from halfthou.base.watch import Watch


def test_inch_is_exact() -> None:
    # International inch, 25.4 mm exactly (ISO 31 / NIST SP 811, appendix B.8)
    assert MM_PER_INCH == 25.4
    assert to_mm(0.5, "inch") == 12.7
    with pytest.raises(ValueError, match="unknown length unit 'cm'"):
        to_mm(1.0, "cm")


def test_lengths_are_shown_in_the_shops_unit() -> None:
    mm, inch = Display(length_unit="mm"), Display(length_unit="inch")
    assert mm.length(12.7) == "12.700 mm"
    assert inch.length(12.7) == "0.5000 inch"
    assert mm.length(-0.0001, unit=False) == "0.000"  # no "-0.000"
    assert mm.length(float("nan")) == "not known"
    assert inch.feed(25.4) == "60.0 inch/min"
    assert mm.feed(10.0) == "600 mm/min"


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [("12.7", "mm", 12.7), (".5 inch", "mm", 12.7), ("0.5", "inch", 12.7), ("-3 mm", "inch", -3.0)],
)
def test_lengths_are_read_with_their_unit(text: str, unit: str, mm: float) -> None:
    assert read_length(text, unit) == pytest.approx(mm, abs=1e-12)


def test_a_length_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="is not a length"):
        read_length("12,7", "mm")


@pytest.mark.parametrize(
    ("seconds", "text"), [(8.44, "8.4 s"), (185.0, "3 min 05 s"), (3720.0, "1 h 02 min"), (float("nan"), "not known")]
)
def test_durations(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_input_error_keeps_every_complaint() -> None:
    place = Place(file="a.toml", line=3, column=5, word="rapdi")
    one = Complaint(code="F101", place=place, what="Unknown key.", do="Did you mean rapid?")
    error = InputError([one, one])
    assert len(error.complaints) == 2
    assert "a.toml:3:5: F101 [rapdi] Unknown key. Did you mean rapid?" in str(error)
    assert error.exit_code == 2


def test_equal_stamps_are_equal_and_differ_by_any_input() -> None:
    a = Stamp(tool_version="1", inputs=(("program", "ab"),))
    assert a.short == Stamp(tool_version="1", inputs=(("program", "ab"),)).short
    assert a.short != Stamp(tool_version="1", inputs=(("program", "ac"),)).short


def test_locked_tables_cannot_be_written() -> None:
    rows = lock(empty(dtype(("a_mm", "f8"), ("b", "i4")), 3))
    with pytest.raises(ValueError, match="read-only"):
        rows["a_mm"] = np.ones(3)


def test_watch_stops_when_asked() -> None:
    told: list[tuple[str, int, int]] = []
    Watch(tell=lambda *a: told.append(a)).step("x", 1, 2)
    assert told == [("x", 1, 2)]
    with pytest.raises(Cancelled, match="stopped by the user during: x"):
        Watch(asked_to_stop=lambda: True).step("x", 1, 2)
