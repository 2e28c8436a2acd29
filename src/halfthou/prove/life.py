"""Tool life used by one part: from the life the shop states for a tool, or the material's life line, with its spread."""

import math

import numpy as np

from halfthou.base.table import Rows
from halfthou.base.value import Result, Unknown, Value
from halfthou.nouns.material import Cutting
from halfthou.nouns.tool import Tool
from halfthou.physics.reliability import change_time
from halfthou.physics.wear import weibull_scale_min

SHAPE = 3.0
"""Weibull shape of tool life where none is stated: 2 … 6 for wear (from memory)."""
QUANTILES = (0.9, 0.1)  # survival probabilities at which life is given as low and high


def life_used(table: Rows, tool: Tool, cutting: Cutting) -> tuple[Result, str]:
    """(share of one edge's life that these LOAD rows of one tool use, what it rests on).

    best: time over mean life; bound: to the life that nine of ten edges reach (one of ten: the lower side is inside).
    Different speeds add up as Σ tᵢ/Tᵢ. Cutting time only.
    """
    time_s = float(table["time_s"].sum(dtype=np.float64))
    if tool.life_s:
        used, said = time_s / tool.life_s, f"life {tool.life_s / 60:g} min as the tool list states"
    elif cutting.life is not None and tool.edge != "hss":
        line = cutting.life
        speed = np.maximum(table["edge_mm_per_s"].astype(np.float64), 1e-9)
        life = line.life_s * (line.speed_mm_per_s / speed) ** (1.0 / line.n)
        used = float((table["time_s"] / life).sum())
        said = (
            f"life line of the material: {line.life_s / 60:g} min at {line.speed_mm_per_s * 0.06:g} m/min, n {line.n:g}"
            f" ({line.source or 'stated in the shop file'})"
        )
    else:
        return Unknown(reason="neither the tool list states a life nor the material a life line for it"), ""
    shape = tool.life_shape or SHAPE
    if not tool.life_shape:
        said += f"; spread: Weibull shape {SHAPE:g} taken, from memory"
    low, high = spread_of(shape)
    return Value(best=used, u=0.0, unit="1", bound=max(used / low - used, used - used / high)), said


def spread_of(shape: float) -> tuple[float, float]:
    """(life that nine of ten edges reach, life that one of ten reaches), as shares of the mean life."""
    scale = weibull_scale_min(1.0, shape)
    return change_time(scale, shape, QUANTILES[0]), change_time(scale, shape, QUANTILES[1])


def ends_in_part(used: float, shape: float) -> tuple[int, int, int]:
    """(part in which nine of ten edges still last, mean, one of ten): the first part that one edge cannot finish."""
    low, high = spread_of(shape)
    return tuple(math.floor(share / used + 1e-9) + 1 for share in (low, 1.0, high))  # type: ignore[return-value]
