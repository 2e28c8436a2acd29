"""The closed list of unit suffixes, exact factors, reading and printing a number with its unit."""

import math
import re
from dataclasses import dataclass

MM_PER_INCH = 25.4  # exact by definition of the inch
LENGTH_UNITS = ("mm", "inch")

#: A float says its unit in its name with one of these endings (a test checks the nouns).
SUFFIXES = (
    "_mm", "_mm2", "_mm3", "_mm_per_s", "_mm_per_s2", "_mm_per_s3", "_mm_per_rev", "_n", "_n_m", "_w",
    "_rad", "_rad_per_s", "_s", "_hz", "_rpm", "_rpm_per_s", "_mpa", "_degc", "_ratio", "_kg", "_bar",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """How a shop wants its numbers written: unit and decimals (inch to 0.0001, mm to 0.001)."""

    length_unit: str = "mm"

    def length(self, value_mm: float, *, unit: bool = True, sign: bool = False) -> str:
        """A length in the shop's unit, for example `12.700 mm` or `0.5000 inch`."""
        if not math.isfinite(value_mm):
            return "not known" if math.isnan(value_mm) else ("-inf" if value_mm < 0 else "inf")
        number = value_mm if self.length_unit == "mm" else value_mm / MM_PER_INCH
        digits = 3 if self.length_unit == "mm" else 4
        text = f"{number:+.{digits}f}" if sign else f"{number:.{digits}f}"
        if float(text) == 0.0:  # no "-0.000"
            text = text.replace("-", "+" if sign else "")
        return f"{text} {self.length_unit}" if unit else text

    def feed(self, value_mm_per_s: float) -> str:
        """A feed in mm/min or inch/min."""
        per_min = value_mm_per_s * 60.0
        if self.length_unit == "mm":
            return f"{per_min:.0f} mm/min"
        return f"{per_min / MM_PER_INCH:.1f} inch/min"


def to_mm(value: float, unit: str) -> float:
    """A length in `unit` ("mm" or "inch") as mm."""
    if unit == "mm":
        return value
    if unit == "inch":
        return value * MM_PER_INCH
    raise ValueError(f"unknown length unit {unit!r}; use one of {', '.join(LENGTH_UNITS)}")


def duration(seconds: float) -> str:
    """Seconds as people say them: `8.4 s`, `3 min 05 s`, `1 h 02 min`."""
    if not math.isfinite(seconds):
        return "not known"
    if seconds < 60:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(mm|inch|in)?\s*$")


def read_length(text: str, default_unit: str) -> float:
    """`"12.7"`, `"0.5 inch"` or `"12.7 mm"` as mm; raises ValueError with what is wrong."""
    match = _QUANTITY.match(text)
    if match is None:
        raise ValueError(f"{text!r} is not a length; write a number, or a number with mm or inch")
    unit = {"in": "inch", None: default_unit}.get(match.group(2), match.group(2))
    return to_mm(float(match.group(1)), unit or default_unit)
