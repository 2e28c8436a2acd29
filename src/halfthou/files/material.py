"""`[[material]]` tables of the shop file: group, density, and how the material cuts as far as the shop knows it."""

import math
from typing import Any

from halfthou.files.node import Node
from halfthou.nouns.material import GROUP_NAMES, Band, LifeLine, Material

FORCE_SPREAD = 0.30  # a single typed kc1.1 is taken this far either way: published sets of one alloy differ more


def material_of(node: Node) -> Material:
    """One `[[material]]`; density in kg/dm³, kc11 and tap_kc in MPa (one number or [low, high]), life at a speed."""
    density = node.number("density", None, over=0, band="density")
    group = node.text("group", "", words=GROUP_NAMES) if node.data.get("group") else ""
    node.allow("group")
    kc11, mc = _band(node, "kc11", "kc1.1"), node.number("mc", None, least=0.0, band="mc")
    if kc11 is not None and mc is None and not group:
        node.complain("F004", "kc11", "`kc11` needs its exponent `mc`", do="add mc = 0.25 or what the source gives")
    material = Material(
        name=node.text("name"), group=group, density_kg_per_mm3_ratio=None if density is None else density * 1e-6,
        kc11_mpa=kc11, mc=mc, radial=_band(node, "radial", "radial share"), tap_kc_mpa=_band(node, "tap_kc", "tap kc"),
        life=_life(node), source=node.text("source", ""),
    )  # fmt: skip
    node.done()
    return material


def _band(node: Node, key: str, band: str) -> Band | None:
    """One number (± FORCE_SPREAD) or [low, high]."""
    if not node.has(key):
        return None
    if isinstance(node.data[key], list):
        both: Any = node.vector(key, 2, None, band=band)
        if both is None or not all(math.isfinite(v) for v in both):
            return None
        low, high = (float(v) for v in both)
        if low > high:
            node.complain("F009", key, f"{key} = [{low:g}, {high:g}]: the first is the lower one")
            return None
        return Band(low=low, best=(low + high) / 2, high=high)
    value = node.number(key, None, over=0, band=band)
    if value is None or not math.isfinite(value):
        return None
    return Band(low=value * (1 - FORCE_SPREAD), best=value, high=value * (1 + FORCE_SPREAD))


def _life(node: Node) -> LifeLine | None:
    """life = { speed = m/min, minutes = …, n = … }."""
    inner = node.child("life", None)
    if inner is None:
        return None
    speed = inner.number("speed", over=0, band="cutting speed")
    minutes = inner.number("minutes", over=0, band="life")
    n = inner.number("n", over=0, band="life exponent")
    inner.done()
    if not all(math.isfinite(v) for v in (speed, minutes, n)):
        return None
    return LifeLine(speed_mm_per_s=speed * 1000 / 60, life_s=minutes * 60, n=n, source=node.text("source", ""))
