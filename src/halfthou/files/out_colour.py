"""The colour scale of deviations in mesh files: blue outside the design, pale at it, orange inside, grey not known."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F8 = NDArray[np.float64]
STEPS = 257  # an odd number, so that one colour stands for zero

#: Anchors in sRGB, 0 … 1. Blue against orange stays apart for red-, green- and blue-blind eyes, and both get darker
#: away from zero alike. Chosen by us, no source; tests/unit/test_out_mesh.py checks it with a dichromat model.
INSIDE, AT, OUTSIDE, NOT_KNOWN = (0.70, 0.29, 0.00), (0.95, 0.95, 0.93), (0.00, 0.36, 0.66), (0.45, 0.45, 0.45)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How deviations become colours: full colour at ± limit_mm and beyond, straight in sRGB between."""

    limit_mm: float

    def words(self) -> str:
        """The scale in a sentence, written into the file."""
        return (
            f"colour = deviation from the design: orange {hex_of(INSIDE)} at -{self.limit_mm:g} mm and below (inside the "
            f"design), pale {hex_of(AT)} at 0, blue {hex_of(OUTSIDE)} at +{self.limit_mm:g} mm and above (outside it), "
            f"straight in sRGB between, {STEPS} steps; grey {hex_of(NOT_KNOWN)} = not known"
        )

    def step_of(self, deviation_mm: F8) -> NDArray[np.int64]:
        """Number of the colour in `palette` for each deviation (n,); NaN gets the last one."""
        half = STEPS // 2
        part = np.clip(np.nan_to_num(deviation_mm) / self.limit_mm, -1.0, 1.0)
        step = np.round(part * half).astype(np.int64) + half
        return np.where(np.isnan(deviation_mm), STEPS, step)


def scale_of(deviation_mm: F8, limit_mm: float | None = None) -> Scale:
    """The scale asked for, or one that reaches the largest deviation known. Raises ValueError for a limit not above 0."""
    if limit_mm is None:
        known = np.abs(deviation_mm[~np.isnan(deviation_mm)])
        limit_mm = float(known.max()) if known.size and known.max() > 0 else 1.0
    if not (np.isfinite(limit_mm) and limit_mm > 0):
        raise ValueError(f"the limit of the colour scale is {limit_mm!r} mm; it should be above 0")
    return Scale(limit_mm=float(limit_mm))


def palette() -> F8:
    """sRGB colours f8 (STEPS + 1, 3), from inside to outside, then the one for "not known"."""
    way = np.linspace(-1.0, 1.0, STEPS)[:, None]
    inside, at, outside = (np.array(one) for one in (INSIDE, AT, OUTSIDE))
    ramp = at + np.abs(way) * (np.where(way < 0, inside, outside) - at)
    return np.concatenate([ramp, [NOT_KNOWN]])


def linear(srgb: F8) -> F8:
    """sRGB to linear light, 0 … 1. Source: IEC 61966-2-1 (from memory)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def hex_of(colour: tuple[float, float, float] | F8) -> str:
    """#RRGGBB of an sRGB colour."""
    return "#" + "".join(f"{round(float(v) * 255):02X}" for v in colour)
