"""A number with its standard uncertainty, or the reason why there is none."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A result: best estimate, standard uncertainty (k = 1) and unit.

    `bound` is a hard limit on the error (geometry) instead of a spread; one of `u` and `bound` may be zero,
    never both left out.
    """

    best: float
    u: float
    unit: str
    dof: float = math.inf
    bound: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """No number, and why."""

    reason: str


Result = Value | Unknown
