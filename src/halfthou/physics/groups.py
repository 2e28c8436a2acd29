"""Groups of work materials and how they cut, for shops that have measured nothing yet. Every band is wide and named.

kc1.1, mc: `specific_force.SPECIFIC_FORCES`; the band is at least ±30 % (`FORCE_BAND`) about the middle, since sets for one
alloy differ by a factor of two. Radial share of the tangential force: cutting parts of the sets in `edge_force.COEFFICIENTS`
of the same family; where there is none, 0.2 … 0.6 with 0.35 (common practice, no source). Tap kc: a tap maker's page.
"""

from dataclasses import replace

from halfthou.nouns.material import Band, Cutting, Material
from halfthou.physics.edge_force import COEFFICIENTS
from halfthou.physics.specific_force import FORCE_BAND, SPECIFIC_FORCES

CHIP_MM = (0.05, 2.5)
RADIAL = Band(low=0.2, best=0.35, high=0.6)

#: group: (rows of SPECIFIC_FORCES by name, start of names in COEFFICIENTS, tap kc MPa low … high or None)
GROUPS: dict[str, tuple[tuple[str, ...], str, tuple[float, float] | None]] = {
    "wrought aluminium": (("aluminium 6061", "aluminium 7075"), "Al", (680.0, 800.0)),
    "structural steel": (("E295", "E335"), "", None),
    "carbon steel": (("C45", "C60"), "", None),
    "case-hardening steel": (("16MnCr5", "18CrNi8"), "", None),
    "tempered steel": (("42CrMo4",), "", (2600.0, 2600.0)),
    "austenitic stainless": (("austenitic stainless 304/316",), "", (3200.0, 3200.0)),
    "grey iron": (("GG25",), "", None),
    "titanium alloy": (("Ti-6Al-4V",), "Ti-6Al-4V", None),
    "brass": (("brass CuZn39Pb3",), "", (720.0, 1100.0)),
}


STATED = "stated in the shop file"


def cutting_of(material: Material) -> Cutting | None:
    """How a material cuts: what the shop states, the rest from its group; None when neither tells kc1.1 and mc."""
    known = group_cutting(material.group) if material.group in GROUPS else None
    if material.kc11_mpa is not None and (material.mc is not None or known is not None):
        mc = known.mc if material.mc is None and known is not None else material.mc
        base = known or Cutting(kc11_mpa=material.kc11_mpa, mc=0.0, radial=RADIAL, chip_mm=CHIP_MM, source="")
        known = replace(base, kc11_mpa=material.kc11_mpa, mc=mc or 0.0, source=material.source or STATED)
    if known is None:
        return None
    return replace(
        known, mc=known.mc if material.mc is None else material.mc, radial=material.radial or known.radial,
        tap_kc_mpa=material.tap_kc_mpa or known.tap_kc_mpa, life=material.life,
    )  # fmt: skip


def group_cutting(group: str) -> Cutting:
    """Coefficients of a group of the table."""
    names, edges, tap = GROUPS[group]
    rows = [row for row in SPECIFIC_FORCES if row.name in names]
    best = sum(row.kc11_mpa for row in rows) / len(rows)
    low = min(best * (1 - FORCE_BAND), *(row.low_mpa for row in rows))
    high = max(best * (1 + FORCE_BAND), *(row.high_mpa for row in rows))
    shares = [k.krc_mpa / k.ktc_mpa for k in COEFFICIENTS if edges and k.name.startswith(edges)]
    radial = RADIAL
    if len(shares) > 1:
        radial = Band(low=min(shares), best=sum(shares) / len(shares), high=max(shares))
    elif shares:
        radial = Band(low=shares[0] * (1 - FORCE_BAND), best=shares[0], high=shares[0] * (1 + FORCE_BAND))
    return Cutting(
        kc11_mpa=Band(low=low, best=best, high=high), mc=sum(row.mc for row in rows) / len(rows), radial=radial,
        chip_mm=CHIP_MM, source=f"group {group!r}: " + "; ".join(sorted({row.source for row in rows})),
        tap_kc_mpa=None if tap is None else Band(low=tap[0] * (1 - FORCE_BAND), best=(tap[0] + tap[1]) / 2, high=tap[1] * (1 + FORCE_BAND)),
    )  # fmt: skip
