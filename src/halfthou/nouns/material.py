"""Work material: what is known about it and how it cuts, with sources."""

from dataclasses import dataclass

from halfthou.base.source import Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A coefficient with the lowest and highest value that published or learned sets give."""

    low: float
    best: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLine:
    """A point (cutting speed, life) of v·Tⁿ = C with its exponent, for carbide."""

    speed_mm_per_s: float
    life_s: float
    n: float
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutting:
    """How a material cuts: kc = kc11·h^(−mc), h in mm; radial share of the cutting force; tap kc; where it holds.

    chip_mm: range of chip thickness the coefficients were taken in; outside it loads are said to be extrapolated.
    """

    kc11_mpa: Band
    mc: float
    radial: Band
    chip_mm: tuple[float, float]
    source: str
    tap_kc_mpa: Band | None = None
    life: LifeLine | None = None

    def spread(self) -> tuple[float, float]:
        """Lowest and highest load as a share of the best estimate."""
        return self.kc11_mpa.low / self.kc11_mpa.best, self.kc11_mpa.high / self.kc11_mpa.best


#: Groups whose handbook coefficients come with the tool (physics/groups.py).
GROUP_NAMES = (
    "wrought aluminium", "structural steel", "carbon steel", "case-hardening steel", "tempered steel",
    "austenitic stainless", "grey iron", "titanium alloy", "brass",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A work material as the shop file states it; None = left to its group, or not known.

    kc11_mpa, mc, radial, tap_kc_mpa, life: as in `Cutting`. source: where the stated numbers come from.
    """

    name: str
    group: str = ""
    density_kg_per_mm3_ratio: float | None = None
    kc11_mpa: Band | None = None
    mc: float | None = None
    radial: Band | None = None
    tap_kc_mpa: Band | None = None
    life: LifeLine | None = None
    source: str = ""
    sources: tuple[Source, ...] = ()
