"""Units of the mechanics cases: a written unit becomes a factor to mm, N, s, rad, K and its dimensions.

Turns per minute are 1/60 per second (a turn counts as a number, not as 2π rad), so "1/min" reads alike for a speed and a rate.
"""

import math
import re
from dataclasses import dataclass

Dims = tuple[int, int, int]  # powers of mm, N, s

LB_N = 4.4482216152605


@dataclass(frozen=True)
class Unit:
    """A factor to the base and the powers of mm, N, s; `shift` for temperatures read on a scale."""

    factor: float
    dims: Dims


class UnknownUnit(ValueError):
    """A unit that cannot be read."""


def _length(f: float) -> Unit:
    return Unit(f, (1, 0, 0))


_SYMBOLS: dict[str, Unit] = {
    "mm": _length(1), "um": _length(1e-3), "µm": _length(1e-3), "μm": _length(1e-3), "micron": _length(1e-3),
    "nm": _length(1e-6), "cm": _length(10), "dm": _length(100), "m": _length(1000), "in": _length(25.4),
    "inch": _length(25.4), "ft": _length(304.8), "uin": _length(25.4e-6), "µin": _length(25.4e-6), "thou": _length(0.0254),
    "mil": _length(0.0254),
    "N": Unit(1, (0, 1, 0)), "kN": Unit(1e3, (0, 1, 0)), "MN": Unit(1e6, (0, 1, 0)), "daN": Unit(10, (0, 1, 0)),
    "mN": Unit(1e-3, (0, 1, 0)), "lbf": Unit(LB_N, (0, 1, 0)), "lb": Unit(LB_N, (0, 1, 0)), "kgf": Unit(9.80665, (0, 1, 0)),
    "Pa": Unit(1e-6, (-2, 1, 0)), "kPa": Unit(1e-3, (-2, 1, 0)), "MPa": Unit(1, (-2, 1, 0)), "GPa": Unit(1e3, (-2, 1, 0)),
    "bar": Unit(0.1, (-2, 1, 0)), "mbar": Unit(1e-4, (-2, 1, 0)), "psi": Unit(LB_N / 645.16, (-2, 1, 0)),
    "ksi": Unit(LB_N / 0.64516, (-2, 1, 0)), "atm": Unit(0.101325, (-2, 1, 0)),
    "s": Unit(1, (0, 0, 1)), "sec": Unit(1, (0, 0, 1)), "ms": Unit(1e-3, (0, 0, 1)), "min": Unit(60, (0, 0, 1)),
    "h": Unit(3600, (0, 0, 1)), "hr": Unit(3600, (0, 0, 1)), "hour": Unit(3600, (0, 0, 1)), "d": Unit(86400, (0, 0, 1)),
    "hours": Unit(3600, (0, 0, 1)), "minutes": Unit(60, (0, 0, 1)), "seconds": Unit(1, (0, 0, 1)),
    "day": Unit(86400, (0, 0, 1)), "Hz": Unit(1, (0, 0, -1)), "kHz": Unit(1e3, (0, 0, -1)), "rpm": Unit(1 / 60, (0, 0, -1)),
    "W": Unit(1e3, (1, 1, -1)), "kW": Unit(1e6, (1, 1, -1)), "mW": Unit(1, (1, 1, -1)), "MW": Unit(1e9, (1, 1, -1)),
    "hp": Unit(745699.871582, (1, 1, -1)), "HP": Unit(745699.871582, (1, 1, -1)), "PS": Unit(735498.75, (1, 1, -1)),
    "J": Unit(1e3, (1, 1, 0)), "kJ": Unit(1e6, (1, 1, 0)), "Nm": Unit(1e3, (1, 1, 0)), "Nmm": Unit(1, (1, 1, 0)),
    "kg": Unit(1e-3, (-1, 1, 2)), "g": Unit(1e-6, (-1, 1, 2)), "t": Unit(1, (-1, 1, 2)), "L": Unit(1e6, (3, 0, 0)),
    "l": Unit(1e6, (3, 0, 0)), "mL": Unit(1e3, (3, 0, 0)),
    "rad": Unit(1, (0, 0, 0)), "deg": Unit(math.pi / 180, (0, 0, 0)), "°": Unit(math.pi / 180, (0, 0, 0)),
    "K": Unit(1, (0, 0, 0)), "C": Unit(1, (0, 0, 0)), "degC": Unit(1, (0, 0, 0)), "F": Unit(5 / 9, (0, 0, 0)),
    "degF": Unit(5 / 9, (0, 0, 0)), "ppm": Unit(1e-6, (0, 0, 0)), "%": Unit(0.01, (0, 0, 0)), "percent": Unit(0.01, (0, 0, 0)),
}  # fmt: skip
_SYMBOLS |= {
    "ipm": Unit(25.4 / 60, (1, 0, -1)), "sfm": Unit(304.8 / 60, (1, 0, -1)), "fpm": Unit(304.8 / 60, (1, 0, -1)),
    "ipr": Unit(25.4, (1, 0, 0)), "ipt": Unit(25.4, (1, 0, 0)), "°C": Unit(1, (0, 0, 0)), "°F": Unit(5 / 9, (0, 0, 0)),
    "rps": Unit(1, (0, 0, -1)), "deg.": Unit(math.pi / 180, (0, 0, 0)), "ºC": Unit(1, (0, 0, 0)),
}  # fmt: skip
_SYMBOLS |= {"cc": Unit(1e3, (3, 0, 0)), "ccm": Unit(1e3, (3, 0, 0)), "cu": Unit(1, (0, 0, 0))}
_COUNTED = (
    "$|€|EUR|USD|cent|rev|turn|tooth|teeth|edge|part|parts|piece|pc|pcs|check|checks|number|unit|units|time|ratio|fraction|"
    "life|x|times|cycle|cycles|count|one|-|—|–|dimensionless|none|safety|factor|pass|passes|hit|hits|flute|flutes|blocks"
)
for _word in _COUNTED.split("|"):
    _SYMBOLS[_word] = Unit(1, (0, 0, 0))
#: Whole texts that mean a plain number.
_PLAIN = ("", "1", "-", "h/fz", "h/f", "hmax/fz", "fz/h", "life fraction", "time", "none", "ratio")
_ASCII = str.maketrans({"²": "2", "³": "3", "·": "*", "×": "*", "⋅": "*", "−": "-", "⁻": "-"})


def unit(text: str) -> Unit:
    """Read a unit such as "N/mm2", "W*s/mm3", "um/(m K)", "hp/(in3/min)"; UnknownUnit if a symbol is not known."""
    text = text.translate(_ASCII).strip()
    if text in _PLAIN:
        return Unit(1, (0, 0, 0))
    tokens = re.findall(r"[()*/]|\^?-?\d+(?:\.\d+)?(?:e-?\d+)?|[^\s()*/^\d]+|\s+", text)
    value, rest = _product(tokens)
    if rest:
        raise UnknownUnit(text)
    return value


def _product(tokens: list[str]) -> tuple[Unit, list[str]]:
    factor, dims, sign = 1.0, [0, 0, 0], 1
    while tokens and tokens[0] != ")":
        head, tokens = tokens[0], tokens[1:]
        if head == "/":
            sign = -1
            continue
        if head == "*" or head.isspace():
            sign = sign if head.isspace() else 1
            continue
        if head == "(":
            got, tokens = _product(tokens)
            tokens = tokens[1:]
        elif re.fullmatch(r"\d+(?:\.\d+)?(?:e-?\d+)?", head):
            got = Unit(float(head), (0, 0, 0))
        else:
            got = _symbol(head)
        power = 1
        if tokens and re.fullmatch(r"\^?-?\d+", tokens[0]):
            power, tokens = int(tokens[0].lstrip("^")), tokens[1:]
        factor *= got.factor ** (sign * power)
        dims = [a + sign * power * b for a, b in zip(dims, got.dims, strict=True)]
        sign = 1
    return Unit(factor, (dims[0], dims[1], dims[2])), tokens


def _symbol(word: str) -> Unit:
    for spelling in (word, word.rstrip("."), word.lower(), word.rstrip("s")):
        if spelling in _SYMBOLS:
            return _SYMBOLS[spelling]
    if "-" in word[1:]:  # "in-lb", "N-m"
        parts = [_symbol(piece) for piece in word.split("-")]
        dims = [sum(part.dims[i] for part in parts) for i in range(3)]
        return Unit(math.prod(part.factor for part in parts), (dims[0], dims[1], dims[2]))
    raise UnknownUnit(word)


def is_unit(text: str) -> bool:
    """Whether a text reads as a unit."""
    try:
        unit(text)
    except UnknownUnit:
        return False
    return True
