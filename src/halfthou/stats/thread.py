"""60 degree threads (metric and unified): basic diameters, percent of thread, wires; countersinks.

Lengths in any one unit: mm with mm, inch with inch. H = sqrt(3) / 2 P is the height of the sharp triangle.
Source: ISO 68-1, ISO 724, ASME B1.1.  Check: published area 5.
"""

import math

from halfthou.stats.number import positive

HEIGHT_RATIO = math.sqrt(3.0) / 2.0


def pitch_diameter(major: float, pitch: float) -> float:
    """d2 = d - 3/4 H = d - 0.6495 P.

    >>> round(pitch_diameter(6.0, 1.0), 3)
    5.35
    """
    return major - 0.75 * HEIGHT_RATIO * positive(pitch, "pitch")


def minor_diameter(major: float, pitch: float) -> float:
    """Basic minor diameter D1 = d - 5/4 H = d - 1.0825 P (internal thread, and basic for the external)."""
    return major - 1.25 * HEIGHT_RATIO * positive(pitch, "pitch")


def root_diameter(major: float, pitch: float) -> float:
    """External root with a rounded profile d3 = d - 17/12 H = d - 1.2269 P (ISO 68-1 R = H / 6)."""
    return major - 17.0 / 12.0 * HEIGHT_RATIO * positive(pitch, "pitch")


def stress_area(major: float, pitch: float) -> float:
    """Tensile stress area pi/4 ((d2 + d3) / 2)^2 (ISO 898-1)."""
    return math.pi / 4.0 * (0.5 * (pitch_diameter(major, pitch) + root_diameter(major, pitch))) ** 2


def percent_of_thread(major: float, drill: float, pitch: float) -> float:
    """Percent of thread by the shop's definition: 100 (d - drill) / (1.299 P), 1.299 = 3/2 H.

    100 % is a depth of 0.6495 P a side. The trade rounds the constant to 1.299.
    """
    return 100.0 * (major - drill) / (1.5 * HEIGHT_RATIO * positive(pitch, "pitch"))


def percent_of_basic_height(major: float, drill: float, pitch: float) -> float:
    """Percent of the basic height of an internal thread: 100 (d - drill) / (1.0825 P), 100 % = 5/8 H a side."""
    return 100.0 * (major - drill) / (1.25 * HEIGHT_RATIO * positive(pitch, "pitch"))


def drill_for_percent(major: float, pitch: float, percent: float) -> float:
    """Tap drill for a percent of thread by the shop's definition."""
    return major - 1.5 * HEIGHT_RATIO * positive(pitch, "pitch") * percent / 100.0


def best_wire(pitch: float) -> float:
    """Wire that touches at the pitch line: P / (2 cos 30) = 0.57735 P."""
    return positive(pitch, "pitch") / math.sqrt(3.0)


def over_wires(pitch_dia: float, pitch: float, wire: float | None = None) -> float:
    """Measurement over three wires: M = E + 3 w - 0.86603 P (lead angle neglected).

    wire    default the best wire
    """
    w = best_wire(pitch) if wire is None else wire
    return pitch_dia + 3.0 * w - HEIGHT_RATIO * positive(pitch, "pitch")


def pitch_diameter_from_wires(measured: float, pitch: float, wire: float) -> float:
    """The inverse: E = M - 3 w + 0.86603 P."""
    return measured - 3.0 * wire + HEIGHT_RATIO * positive(pitch, "pitch")


def countersink_depth(major_dia: float, hole_dia: float, angle_rad: float) -> float:
    """Depth of a cone from its diameter at the face down to the hole: (D - d) / (2 tan(angle / 2)).

    Included angles: 90 deg metric flat heads (ISO 10642, 7046), 82 deg inch, 100 deg aerospace (from memory).
    """
    return (major_dia - hole_dia) / (2.0 * math.tan(0.5 * positive(angle_rad, "angle")))


def countersink_diameter(depth: float, hole_dia: float, angle_rad: float) -> float:
    """Diameter at the face of a cone of this depth over the hole."""
    return hole_dia + 2.0 * depth * math.tan(0.5 * positive(angle_rad, "angle"))


def point_length(diameter: float, angle_rad: float) -> float:
    """Length of a drill's point: D / (2 tan(angle / 2)); 118 deg gives 0.3 D."""
    return diameter / (2.0 * math.tan(0.5 * positive(angle_rad, "angle")))
