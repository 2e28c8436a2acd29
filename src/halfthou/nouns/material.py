"""Work material: what is known about it, with sources."""

from dataclasses import dataclass

from halfthou.base.source import Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A work material; cutting coefficients come with later work."""

    name: str
    group: str = ""
    density_kg_per_mm3_ratio: float | None = None
    sources: tuple[Source, ...] = ()
