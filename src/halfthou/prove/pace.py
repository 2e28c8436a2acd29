"""What a machine file leaves open of its pace: prior bands, and moves as the time model takes them."""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import MoveList
from halfthou.physics.pace import INDEX, NAMES, Course, course_of
from halfthou.physics.pace_fit import Prior
from halfthou.prove.motion import drives_of

F8 = NDArray[np.float64]

# log-normal bands: centre, standard deviation of the logarithm; common practice, no source
BANDS = {
    "accel": (3000.0, 0.8), "accel_x": (1.0, 0.15), "accel_y": (1.0, 0.15), "accel_z": (1.0, 0.35),
    "accel_rapid": (1.0, 0.3), "accel_arc": (0.7, 0.7), "round": (0.03, 1.0), "corner": (30.0, 1.5),
    "block": (0.0013, 1.2), "rest_feed": (0.03, 1.2), "rest_rapid": (0.04, 1.2), "rapid": (1.0, 0.02),
    "rapid_z": (1.0, 0.02), "feed": (1.0, 0.001), "change": (4.0, 0.5), "run_up": (1.5, 1.0), "spindle": (0.1, 1.2),
    "aux": (0.1, 1.2), "long": (1.0, 0.08), "short": (1.0, 0.2), "arc": (1.0, 0.1), "fast": (1.0, 0.06),
    "split": (1.0, 1.5),
}  # fmt: skip


def prior_of(machine: Machine) -> Prior:
    """The bands a machine file leaves open; what it states is still only nearly true."""
    centre = np.array([math.log(BANDS[name][0]) for name in NAMES])
    std = np.array([BANDS[name][1] for name in NAMES])

    def state(name: str, value: float, spread: float) -> None:
        centre[INDEX[name]], std[INDEX[name]] = math.log(max(value, 1e-9)), spread

    known = [axis.accel_mm_per_s2 for axis in machine.axes]
    if all(a is not None for a in known):
        mean = math.exp(sum(math.log(a) for a in known if a) / 3)
        state("accel", mean, 0.3)
        for name, a in zip("xyz", known, strict=True):
            state(f"accel_{name}", (a or mean) / mean, 0.2)
    if machine.magazine.change_s:
        state("change", machine.magazine.change_s, 0.3)
    if machine.spindle.run_up_s:
        state("run_up", machine.spindle.run_up_s, 0.5)
    if any(not (np.isfinite(axis.rapid_mm_per_s) and axis.rapid_mm_per_s > 0) for axis in machine.axes):
        state("rapid", 1.0, 0.4)
        state("rapid_z", 1.0, 0.4)
    a = math.exp(centre[INDEX["accel"]])
    d = machine.corner_mm or 0.01
    spread = 1.2 if machine.corner_mm else 1.7
    corner = (
        (math.log(a * d), spread), (math.log(12.0), 1.7), (math.log(10.0), 1.7), (math.log(30 * a * d * d), 2 * spread),
        (math.log(a * d), spread), (math.log(a * d), spread),
    )  # fmt: skip
    path = machine.control.rapid_path
    return Prior(centre=centre, std=std, corner_log=corner, dog_leg=None if path is None else path == "dog-leg")


def course_for(
    moves: MoveList, machine: Machine, feed_ratio: F8 | float = 1.0, rapid_ratio: F8 | float = 1.0
) -> Course:
    """The moves as the time model takes them."""
    drives = drives_of(machine, 1)
    return course_of(moves, drives.rapid, drives.most_rpm, drives.feed_limit, feed_ratio, rapid_ratio)
