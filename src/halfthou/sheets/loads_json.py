"""Loads of a proof as plain dictionaries: one entry a tool and operation, SI-like units in the names."""

from typing import Any

from halfthou.base.value import Result
from halfthou.nouns.chatter import Chatter
from halfthou.nouns.learned import Learned
from halfthou.nouns.loads import Loads, ToolLoads


def loads_dict(loads: Loads | None, ops: list[str], result: Any, number: Any) -> list[dict[str, Any]] | None:
    """None when there are no loads. `result`, `number`: how a result and a number are written."""
    if loads is None:
        return None

    found = {(c.op, c.tool): c for c in loads.chatter}

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
            "chatter": _chatter(found.get((own.op, own.tool)), number),
            **{name: result(value) for name, value in named.items()},
        }  # fmt: skip

    return [one(own) for own in loads.tools]


def _chatter(own: Chatter | None, number: Any) -> dict[str, Any] | None:
    """The deciding cut of a milling tool; None where no side cut lasts long enough."""
    if own is None:
        return None
    limit = own.limit
    return {
        "measured": own.dynamics.measured, "dynamics": own.dynamics.said, "modes": [list(m) for m in own.dynamics.modes],
        "move": own.move, "rpm": number(own.speed_rpm), "depth_mm": number(own.depth_mm), "width_mm": number(own.width_mm),
        "limit_mm": number(limit.best_mm), "limit_low_mm": number(limit.low_mm), "limit_high_mm": number(limit.high_mm),
        "zero_order_mm": number(limit.zero_order_mm), "periodic_mm": number(limit.periodic_mm),
        "periodic_said": limit.periodic_said, "hertz": number(limit.vibration_hz), "other_rpm": number(own.other_rpm),
    }  # fmt: skip


def learned_dict(own: Learned | None, result: Any, number: Any) -> dict[str, Any] | None:
    """What readings of the spindle load taught; None when none were given."""
    if own is None:
        return None
    return {
        "file": own.file, "readings": own.readings, "blocks": own.blocks, "mc": number(own.mc), "mc_std": number(own.mc_std),
        "mc_told": own.mc_told, "pivot_mm": number(own.pivot_mm), "chip_mm": [number(v) for v in own.chip_mm],
        "kc11_mpa": [number(v) for v in (own.kc11_mpa.low, own.kc11_mpa.best, own.kc11_mpa.high)],
        "kc11_before_mpa": [number(v) for v in (own.before_mpa.low, own.before_mpa.best, own.before_mpa.high)],
        "efficiency": [number(v) for v in (own.efficiency.low, own.efficiency.best, own.efficiency.high)],
        "idle_w": result(own.idle), "left_out_ratio": result(own.left_out), "noise_ratio": result(own.noise),
        "model_ratio": result(own.model), "said": list(own.said),
        "points": [{"line": p.place.line, "tool": p.tool, "read_w": number(p.reading_w), "told_w": number(p.told_w)} for p in own.points],
    }  # fmt: skip
