"""How the tip of a tool moves: its tap test, or an estimate from its profile, holder and spindle nose; and which."""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.nouns.chatter import Dynamics
from halfthou.nouns.job import Job
from halfthou.physics.deflect import CARBIDE_MPA, STEEL_MPA, Step, stepped_mm
from halfthou.physics.stability_many import hertz_of, rayleigh_mass_kg
from halfthou.prove.load_tool import LoadTool, steps_of

F8 = NDArray[np.float64]

DAMPING = (0.02, 0.05)
"""Damping ratio of a tool in its holder where nobody measured it (from memory); the middle is their geometric mean."""
MASS_RATIO = (0.8, 1.25)  # factors on the frequency for masses and joints that are not known (no source)
NOSE = (5000.0, 50000.0)
"""Stiffness sideways at the spindle nose that a vibration meets, N/mm, where none is stated: a compact machine (university
notes) to a heavy spindle (from memory); the middle is their geometric mean. Bending under a steady force is judged with
the low end."""
STATED_RATIO = 0.25  # a stated nose stiffness is that of a steady force
TAPPED = (0.98, 1.02), (0.8, 1.25)
"""Factors on frequency and damping of a tap test: limits from it are uncertain by 10 … 30 % (from memory)."""
CARBIDE_KG_PER_MM3 = 14.5e-6
STEEL_KG_PER_MM3 = 7.85e-6
PIECES = 24  # a step of the profile is cut into for its mass


def dynamics_of(own: LoadTool, job: Job) -> Dynamics:
    """Modes of the tip. Estimated: the whole on the spindle nose, and the tool bending from the gauge line down."""
    tool = own.tool
    band = own.stiffness_low_n_per_mm / own.stiffness_n_per_mm, own.stiffness_high_n_per_mm / own.stiffness_n_per_mm
    if tool.modes:
        words = ", ".join(f"{hz:.0f} Hz {k / 1000:.1f} N/µm {100 * z:.1f} %" for hz, k, z in tool.modes)
        return Dynamics(
            modes=tool.modes, measured=True, said=f"measured by a tap test ({words}), taken alike in both directions",
            hertz_band_ratio=TAPPED[0], stiffness_bands_ratio=(band,) * len(tool.modes), damping_band_ratio=TAPPED[1],
        )  # fmt: skip
    stated = job.machine.spindle.stiffness_n_per_mm
    nose = stated or math.sqrt(NOSE[0] * NOSE[1])
    nose_band = (1 - STATED_RATIO, 1 + STATED_RATIO) if stated else (NOSE[0] / nose, NOSE[1] / nose)
    modes = _estimated(own, nose)
    middle = modes[0][2]
    words = f"spindle nose {nose / 1000:.0f} N/µm {'stated' if stated else f'({NOSE[0] / 1000:.0f} … {NOSE[1] / 1000:.0f}) taken'}"
    return Dynamics(
        modes=modes, measured=False,
        said=(
            f"estimated, not measured: {words}, tool bending {modes[1][1] / 1000:.1f} N/µm from its profile, "
            f"damping {100 * DAMPING[0]:.0f} … {100 * DAMPING[1]:.0f} % from memory"
        ),
        hertz_band_ratio=MASS_RATIO, stiffness_bands_ratio=(nose_band, band), damping_band_ratio=(DAMPING[0] / middle, DAMPING[1] / middle),
    )  # fmt: skip


def _estimated(own: LoadTool, nose: float) -> tuple[tuple[float, float, float], ...]:
    """(Hz, N/mm, damping) of the nose mode and of the bending mode."""
    e = STEEL_MPA if own.tool.edge == "hss" else CARBIDE_MPA
    steps = steps_of(own.tool, e)
    at, masses = _masses(steps)
    length = sum(step.length_mm for step in steps)
    tip = stepped_mm(steps, 1.0, length, length)
    shape = np.array([stepped_mm(steps, 1.0, length, z) / tip for z in at])
    bend = 1.0 / tip
    if own.tool.stiffness_n_per_mm:  # measured at the tip: what the nose does not take is the tool's
        bend = 1.0 / max(1.0 / own.stiffness_n_per_mm - 1.0 / nose, 0.1 / own.stiffness_n_per_mm)
    damping = math.sqrt(DAMPING[0] * DAMPING[1])
    whole = float(masses.sum()) if own.tool.mass_kg is None else max(own.tool.mass_kg, 1e-3)
    return (
        (hertz_of(nose, whole), nose, damping),
        (hertz_of(bend, rayleigh_mass_kg(masses, shape)), bend, damping),
    )


def _masses(steps: list[Step]) -> tuple[F8, F8]:
    """(distance from the gauge line mm, mass kg) of small pieces; a fluted part weighs like its bending rod."""
    at, masses, start = [], [], 0.0
    for step in steps:
        one = step.length_mm / PIECES
        density = CARBIDE_KG_PER_MM3 if step.e_mpa > 0.5 * (CARBIDE_MPA + STEEL_MPA) else STEEL_KG_PER_MM3
        at.append(start + one * (np.arange(PIECES) + 0.5))
        masses.append(np.full(PIECES, density * math.pi / 4 * step.diameter_mm**2 * one))
        start += step.length_mm
    return np.concatenate(at), np.concatenate(masses)
