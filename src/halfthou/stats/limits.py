"""Limits and fits of ISO 286 up to 500 mm: tolerance grades, fundamental deviations, clearance of a fit.

The tables are the rounded ones of the standard, not its formulas. Grades and the letters d to p agree with two public
tables up to 250 mm (tests/published/data/iso286_limits_um.csv); the rest (a, b, c, j, J, r, s, t, u and 250 to 500 mm)
is from memory and marked so in `Zone.memory`.
"""

import math
import re
from bisect import bisect_left
from dataclasses import dataclass

from halfthou.base.errors import CannotAnswer

#: Upper ends (mm, inclusive) of the main ranges, and of the finer ones some letters use.
MAIN_MM = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
FINE_MM = (
    3,
    6,
    10,
    14,
    18,
    24,
    30,
    40,
    50,
    65,
    80,
    100,
    120,
    140,
    160,
    180,
    200,
    225,
    250,
    280,
    315,
    355,
    400,
    450,
    500,
)

#: Standard tolerances in µm by grade and main range (ISO 286-1 table 1; IT5 to IT11 checked, the others from memory).
GRADES_UM: dict[int, tuple[float, ...]] = {
    1: (0.8, 1, 1, 1.2, 1.5, 1.5, 2, 2.5, 3.5, 4.5, 6, 7, 8),
    2: (1.2, 1.5, 1.5, 2, 2.5, 2.5, 3, 4, 5, 7, 8, 9, 10),
    3: (2, 2.5, 2.5, 3, 4, 4, 5, 6, 8, 10, 12, 13, 15),
    4: (3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20),
    5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    10: (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    11: (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
    12: (100, 120, 150, 180, 210, 250, 300, 350, 400, 460, 520, 570, 630),
    13: (140, 180, 220, 270, 330, 390, 460, 540, 630, 720, 810, 890, 970),
    14: (250, 300, 360, 430, 520, 620, 740, 870, 1000, 1150, 1300, 1400, 1550),
    15: (400, 480, 580, 700, 840, 1000, 1200, 1400, 1600, 1850, 2100, 2300, 2500),
    16: (600, 750, 900, 1100, 1300, 1600, 1900, 2200, 2500, 2900, 3200, 3600, 4000),
    17: (1000, 1200, 1500, 1800, 2100, 2500, 3000, 3500, 4000, 4600, 5200, 5700, 6300),
    18: (1400, 1800, 2200, 2700, 3300, 3900, 4600, 5400, 6300, 7200, 8100, 8900, 9700),
}

#: Shaft deviations in µm: es below zero (a to h), ei above zero (m to u); 13 values by main range, 25 by fine range.
SHAFT_UM: dict[str, tuple[float | None, ...]] = {
    "a": (-270, -270, -280, -290, -290, -300, -300, -310, -320, -340, -360, -380, -410, -460, -520, -580, -660, -740, -820, -920, -1050, -1200, -1350, -1500, -1650),
    "b": (-140, -140, -150, -150, -150, -160, -160, -170, -180, -190, -200, -220, -240, -260, -280, -310, -340, -380, -420, -480, -540, -600, -680, -760, -840),
    "c": (-60, -70, -80, -95, -95, -110, -110, -120, -130, -140, -150, -170, -180, -200, -210, -230, -240, -260, -280, -300, -330, -360, -400, -440, -480),
    "d": (-20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230),
    "e": (-14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135),
    "f": (-6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68),
    "g": (-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20),
    "h": (0,) * 13,
    "k": (0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5),
    "m": (2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23),
    "n": (4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40),
    "p": (6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68),
    "r": (10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132),
    "s": (14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232, 252),
    "t": (None, None, None, None, None, None, 41, 48, 54, 66, 75, 91, 104, 122, 134, 146, 166, 180, 196, 218, 240, 268, 294, 330, 360),
    "u": (18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144, 170, 190, 210, 236, 258, 284, 315, 350, 390, 435, 490, 540),
}  # fmt: skip

#: j and J follow no rule: lower deviation of the shaft, upper deviation of the hole, in µm by main range.
J_SHAFT_UM: dict[int, tuple[float, ...]] = {
    5: (-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20),
    6: (-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20),
    7: (-4, -4, -5, -6, -8, -10, -12, -15, -18, -21, -26, -28, -32),
}
J_HOLE_UM: dict[int, tuple[float, ...]] = {
    6: (2, 5, 5, 6, 8, 10, 13, 16, 18, 22, 25, 29, 33),
    7: (4, 6, 8, 10, 12, 14, 18, 22, 26, 30, 36, 39, 43),
    8: (6, 10, 12, 15, 20, 24, 28, 34, 41, 47, 55, 60, 66),
}
_CHECKED = frozenset("defghkmnp") | {"js"}
_ABOVE = "kmnprstu"  # letters whose shafts lie above the nominal


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """Limit deviations of a tolerance class at a size, in mm from the nominal."""

    name: str
    size_mm: float
    lower_mm: float
    upper_mm: float
    memory: bool  # True where the number was recalled and not compared with a printed table

    @property
    def middle_mm(self) -> float:
        """Middle of the zone, from the nominal."""
        return 0.5 * (self.lower_mm + self.upper_mm)

    @property
    def width_mm(self) -> float:
        """The tolerance."""
        return self.upper_mm - self.lower_mm


def _range(size_mm: float) -> int:
    """Number of the main range."""
    if not (math.isfinite(size_mm) and 0.0 < size_mm <= MAIN_MM[-1]):
        raise CannotAnswer(f"the ISO 286 tables here hold for sizes above 0 up to 500 mm, not {size_mm} mm")
    return bisect_left(MAIN_MM, size_mm)


def unit_um(over_mm: float, up_to_mm: float) -> float:
    """Standard tolerance unit i = 0.45 cbrt(D) + 0.001 D in µm, D the geometric mean of the range ends in mm.

    IT6 is 10 i, IT7 16 i, ... : the printed tables are rounded from it, so use `grade_mm` for limits.
    The first range starts at 0: the standard takes sqrt(3) for it (geometric mean of 1 and 3).
    Source: ISO 286-1.  Check: published area 5 (18 to 30 mm: 1.3074).
    """
    d = math.sqrt(max(over_mm, 1.0) * up_to_mm)
    return 0.45 * math.cbrt(d) + 0.001 * d


def grade_mm(grade: int, size_mm: float) -> float:
    """Standard tolerance IT1 to IT18 at a size, from the table.

    >>> grade_mm(7, 25.0)
    0.021
    """
    if grade not in GRADES_UM:
        raise CannotAnswer(f"there is no IT{grade} in the tables here (IT1 to IT18)")
    return GRADES_UM[grade][_range(size_mm)] / 1000.0


def zone(name: str, size_mm: float) -> Zone:
    """Limit deviations of a class such as "H7" (hole, capital) or "g6" (shaft) at a nominal size.

    Holes of A to H mirror the shafts (EI = -es). K, M, N (to IT8) and P to U (to IT7): ES = -ei + D with
    D = IT_n - IT_(n-1), 0 up to 3 mm; N9 and coarser ES = 0 (-4 µm up to 3 mm); coarser P to U: ES = -ei.

    Source: ISO 286-1, -2.  Check: published area 5.
    >>> z = zone("K7", 40.0)
    >>> round(1000 * z.lower_mm), round(1000 * z.upper_mm)
    (-18, 7)
    """
    found = re.fullmatch(r"\s*([A-Za-z]{1,2})\s*(\d{1,2})\s*", name)
    if not found:
        raise CannotAnswer(f"{name!r} is not a tolerance class such as H7 or g6")
    letter, grade = found[1], int(found[2])
    width = round(1000 * grade_mm(grade, size_mm), 3)
    at = _range(size_mm)
    hole, low = letter[0].isupper(), letter.lower()
    if low == "js":
        lower, upper = -width / 2, width / 2
    elif low == "j":
        lower, upper = _j(grade, at, width, hole=hole)
    elif hole:
        lower, upper = _hole(low, grade, size_mm, width)
    else:
        base = _shaft(low, grade, size_mm)
        lower, upper = (base, base + width) if low in _ABOVE else (base - width, base)
    memory = low not in _CHECKED or size_mm > 250 or not 5 <= grade <= 11
    return Zone(name=name.strip(), size_mm=size_mm, lower_mm=lower / 1000, upper_mm=upper / 1000, memory=memory)


def _shaft(letter: str, grade: int, size_mm: float) -> float:
    """Fundamental deviation of a shaft in µm; k has one only for IT4 to IT7."""
    row = SHAFT_UM.get(letter)
    if row is None:
        raise CannotAnswer(f"no deviations for the letter {letter!r} in the tables here ({', '.join(SHAFT_UM)}, j, js)")
    if letter == "k" and not 4 <= grade <= 7:
        return 0.0
    value = row[_range(size_mm) if len(row) == len(MAIN_MM) else bisect_left(FINE_MM, size_mm)]
    if value is None:
        raise CannotAnswer(f"the letter {letter!r} is not defined at {size_mm} mm")
    return value


def _hole(letter: str, grade: int, size_mm: float, width: float) -> tuple[float, float]:
    """Deviations of a hole in µm from the shaft of the same letter."""
    if letter not in _ABOVE:
        base = -_shaft(letter, grade, size_mm)
        return base, base + width
    if letter == "n" and grade > 8:
        upper = -4.0 if size_mm <= 3 else 0.0
        return upper - width, upper
    base = _shaft(letter, 7 if letter == "k" else grade, size_mm)
    finest = 8 if letter in "kmn" else 7
    delta = 0.0
    if 3 <= grade <= finest and size_mm > 3:
        at = _range(size_mm)
        delta = GRADES_UM[grade][at] - GRADES_UM[grade - 1][at]
    if letter == "k" and grade > 8 and size_mm > 3:
        raise CannotAnswer("K is not defined coarser than IT8 above 3 mm")
    upper = -base + delta
    if letter == "m" and grade == 6 and 250 < size_mm <= 315:
        upper = -9.0  # the standard's one exception
    return upper - width, upper


def _j(grade: int, at: int, width: float, *, hole: bool) -> tuple[float, float]:
    """Deviations of j (shaft) or J (hole) in µm."""
    table = J_HOLE_UM if hole else J_SHAFT_UM
    if grade not in table:
        raise CannotAnswer(f"{'J' if hole else 'j'}{grade} is not in the tables here ({', '.join(map(str, table))})")
    value = table[grade][at]
    return (value - width, value) if hole else (value, value + width)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Clearance of a fit in mm; negative is interference."""

    max_clearance_mm: float
    min_clearance_mm: float

    @property
    def kind(self) -> str:
        """ "clearance", "transition" or "interference"."""
        if self.min_clearance_mm >= 0:
            return "clearance"
        return "interference" if self.max_clearance_mm <= 0 else "transition"


def fit(hole: Zone, shaft: Zone) -> Fit:
    """Largest and smallest clearance: ES - ei and EI - es.

    Check: published area 5 (25 H7/g6: 41 and 7 µm).
    """
    return fit_of(hole.lower_mm, hole.upper_mm, shaft.lower_mm, shaft.upper_mm)


def fit_of(hole_low_mm: float, hole_high_mm: float, shaft_low_mm: float, shaft_high_mm: float) -> Fit:
    """The same from deviations, for bearings and other bought parts."""
    return Fit(max_clearance_mm=hole_high_mm - shaft_low_mm, min_clearance_mm=hole_low_mm - shaft_high_mm)
