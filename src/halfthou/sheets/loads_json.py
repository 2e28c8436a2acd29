"""Loads of a proof as plain dictionaries: one entry a tool and operation, SI-like units in the names."""

from typing import Any

from halfthou.base.value import Result
from halfthou.nouns.loads import Loads, ToolLoads


def loads_dict(loads: Loads | None, ops: list[str], result: Any, number: Any) -> list[dict[str, Any]] | None:
    """None when there are no loads. `result`, `number`: how a result and a number are written."""
    if loads is None:
        return None

    def one(own: ToolLoads) -> dict[str, Any]:
        named: dict[str, Result] = {
            "power_w": own.power, "power_ratio": own.power_ratio, "torque_nm": own.torque, "force_n": own.force,
            "bend_mm": own.bend, "chip_high_mm": own.chip_high, "chip_mean_mm": own.chip_mean,
            "life_ratio": own.life, "roughness_mm": own.roughness_mm, "scallop_mm": own.scallop_mm,
        }  # fmt: skip
        return {
            "op": ops[own.op], "tool": own.tool, "name": own.name, "cutting_s": number(own.cutting_s),
            "removed_mm3": number(own.removed_mm3), "mean_mm3_per_s": number(own.mean_mm3_per_s),
            "peak_mm3_per_s": number(own.peak_mm3_per_s), "edge_mm_per_s": number(own.speed_mm_per_s),
            "low_ratio": number(own.low_ratio), "high_ratio": number(own.high_ratio),
            "stiffness_n_per_mm": number(own.stiffness_n_per_mm), "stiffness_said": own.stiffness_said,
            "outside": list(own.outside), "source": own.source, "life_said": own.life_said,
            **{name: result(value) for name, value in named.items()},
        }  # fmt: skip

    return [one(own) for own in loads.tools]
