"""Chip thickness, contact arcs, cusp heights and theoretical roughness: plain geometry of the cut.

Convention of all milling files: x = feed, y = normal to the feed, tooth angle φ clockwise from +y, h = fz·sin φ.
Up-milling starts at φ = 0, down-milling ends at φ = π. Range: circular tooth path (fz ≪ D), no runout, rigid tool.
"""

import math

Arc = tuple[float, float]


def up_arc_rad(ae_mm: float, diameter_mm: float) -> Arc:
    """Contact arc (enter, leave) in up-milling: 0 … acos(1 − 2·ae/D), radians; 0 ≤ ae ≤ D. By plane geometry."""
    return 0.0, math.acos(_cosine(1.0 - 2.0 * ae_mm / diameter_mm))


def down_arc_rad(ae_mm: float, diameter_mm: float) -> Arc:
    """Contact arc (enter, leave) in down-milling: acos(2·ae/D − 1) … π, radians; 0 ≤ ae ≤ D. By plane geometry."""
    return math.acos(_cosine(2.0 * ae_mm / diameter_mm - 1.0)), math.pi


def offset_arc_rad(low_mm: float, high_mm: float, diameter_mm: float) -> Arc:
    """Contact arc of a cut between y = low and y = high (mm from the tool centre, low < high): face milling, any offset.

    A tooth at height y stands at φ = acos(2y/D); y beyond the radius counts as the radius.
    """
    radius = 0.5 * diameter_mm
    return math.acos(_cosine(high_mm / radius)), math.acos(_cosine(low_mm / radius))


def centred_arc_rad(ae_mm: float, diameter_mm: float) -> Arc:
    """Contact arc of a face mill centred on a strip of width ae."""
    return offset_arc_rad(-0.5 * ae_mm, 0.5 * ae_mm, diameter_mm)


def width_angle_rad(ae_mm: float, diameter_mm: float) -> float:
    """Length of the contact arc of a side cut of radial width ae: φs = acos(1 − 2·ae/D), radians."""
    return math.acos(_cosine(1.0 - 2.0 * ae_mm / diameter_mm))


def width_mm(diameter_mm: float, angle_rad: float) -> float:
    """Radial width of a side cut with contact arc `angle_rad`: the reverse of `width_angle_rad`."""
    return 0.5 * diameter_mm * (1.0 - math.cos(angle_rad))


def thickest(ratio: float) -> float:
    """Largest chip thickness as a share of fz: 2·√(x − x²), x = ae/D, and 1 from x = 0.5 on (0 ≤ x ≤ 1).

    The bare formula falls again beyond x = 0.5, though the tooth still passes φ = π/2 where h = fz.
    """
    x = min(max(ratio, 0.0), 0.5)
    return 2.0 * math.sqrt(x - x * x)


def thickest_mm(feed_mm: float, ratio: float, lead_rad: float = 0.5 * math.pi) -> float:
    """Largest chip thickness fz·sin κ·2√(x − x²), mm; κ the lead (setting) angle, 90° for a shoulder mill."""
    return feed_mm * thickest(ratio) * math.sin(lead_rad)


def feed_for_chip_mm(chip_mm: float, ratio: float, lead_rad: float = 0.5 * math.pi) -> float:
    """Feed per tooth that makes the largest chip `chip_mm` thick: h/(2·√(x − x²)·sin κ), mm."""
    return chip_mm / (thickest(ratio) * math.sin(lead_rad))


def ratio_for_chip(chip_mm: float, feed_mm: float) -> float:
    """ae/D ≤ 0.5 at which the largest chip is `chip_mm` thick for a feed per tooth ≥ chip_mm."""
    share = min(1.0, chip_mm / feed_mm)
    return 0.5 * (1.0 - math.sqrt(1.0 - share * share))


def mean_chip_mm(feed_mm: float, ae_mm: float, diameter_mm: float, lead_rad: float = 0.5 * math.pi) -> float:
    """Mean chip thickness over the contact arc, exact: fz·sin κ·(1 − cos φs)/φs, mm."""
    angle = width_angle_rad(ae_mm, diameter_mm)
    if angle <= 0.0:
        return 0.0
    return feed_mm * math.sin(lead_rad) * (1.0 - math.cos(angle)) / angle


def mean_chip_arc_mm(feed_mm: float, arc: Arc) -> float:
    """Mean chip thickness over any contact arc: fz·(cos φ_enter − cos φ_leave)/(φ_leave − φ_enter), mm."""
    start, end = arc
    return feed_mm * (math.cos(start) - math.cos(end)) / (end - start)


def mean_chip_handbook_mm(feed_mm: float, ae_mm: float, diameter_mm: float) -> float:
    """Mean chip thickness, handbook form fz·√(ae/D), mm. 1.7 % above the arc mean at ae/D = 0.1.

    Source: a tool maker's catalogue. Range: ae/D ≤ 0.3; beyond, use `mean_chip_mm`.
    """
    return feed_mm * math.sqrt(ae_mm / diameter_mm)


def lead_chip_mm(feed_mm: float, lead_rad: float) -> float:
    """Chip thickness of an edge with lead (setting) angle κ: f·sin κ, mm."""
    return feed_mm * math.sin(lead_rad)


def ball_diameter_mm(diameter_mm: float, depth_mm: float) -> float:
    """Effective diameter of a ball tip at axial depth ap ≤ D/2: 2·√(ap·(D − ap)), mm."""
    depth = min(depth_mm, 0.5 * diameter_mm)
    return 2.0 * math.sqrt(depth * (diameter_mm - depth))


def tilted_ball_diameter_mm(diameter_mm: float, depth_mm: float, tilt_rad: float) -> float:
    """Effective diameter of a ball tilted by β against the surface normal: D·sin(β + acos(1 − 2·ap/D)), mm.

    By plane geometry; at most D.
    """
    angle = tilt_rad + math.acos(_cosine(1.0 - 2.0 * depth_mm / diameter_mm))
    return diameter_mm if angle >= 0.5 * math.pi else diameter_mm * math.sin(angle)


def cusp_mm(radius_mm: float, step_mm: float) -> float:
    """Cusp between passes of a ball (or fillet) of radius R: R − √(R² − s²/4), mm; s ≤ 2R, else NaN (no overlap).

    Written as (s²/4)/(R + √…): no cancellation for small steps.
    """
    quarter = 0.25 * step_mm * step_mm
    rest = radius_mm * radius_mm - quarter
    if rest < 0.0:
        return math.nan
    return quarter / (radius_mm + math.sqrt(rest))


def cusp_step_mm(radius_mm: float, height_mm: float) -> float:
    """Stepover that leaves cusps of height H: 2·√(R² − (R − H)²) = 2·√(H·(2R − H)), mm; 0 ≤ H ≤ R."""
    return 2.0 * math.sqrt(height_mm * (2.0 * radius_mm - height_mm))


def slope_step_mm(step_mm: float, slope_rad: float) -> float:
    """Distance along a surface sloped by θ for a stepover s in the XY plane: s/cos θ, mm (steps up the slope)."""
    return step_mm / math.cos(slope_rad)


def bull_cusp_mm(diameter_mm: float, corner_mm: float, step_mm: float) -> float:
    """Cusp on a flat floor from a corner-radius mill: ball formula with R = r, s − (D − 2r); 0 if s ≤ D − 2r, mm."""
    over = step_mm - (diameter_mm - 2.0 * corner_mm)
    return 0.0 if over <= 0.0 else cusp_mm(corner_mm, over)


def bull_step_mm(diameter_mm: float, corner_mm: float, height_mm: float) -> float:
    """Stepover of a corner-radius mill that leaves cusps of height H on a flat floor, mm."""
    return diameter_mm - 2.0 * corner_mm + cusp_step_mm(corner_mm, height_mm)


def tilted_flat_cusp_mm(step_mm: float, tilt_rad: float) -> float:
    """Saw-tooth of a flat end mill tilted sideways by t: s·sin t·cos t, mm."""
    return step_mm * math.sin(tilt_rad) * math.cos(tilt_rad)


def turned_peak_mm(feed_mm: float, nose_mm: float) -> float:
    """Peak-to-valley roughness of a round nose, printed form f²/(8r), mm; exact is `cusp_mm(r, f)` (0.2 % apart at f/r 0.18).

    Source: Ghosh & Mallik, Manufacturing Science, 4.24. Range: f ≤ 2·r·sin(end angle), perfect copy of the nose.
    """
    return feed_mm * feed_mm / (8.0 * nose_mm)


def sharp_peak_mm(feed_mm: float, side_rad: float, end_rad: float) -> float:
    """Peak-to-valley roughness of a sharp corner f/(tan Cs + cot Ce), mm; Cs side, Ce end cutting-edge angle.

    Source: Ghosh & Mallik, Manufacturing Science, 4.24.
    """
    return feed_mm / (math.tan(side_rad) + 1.0 / math.tan(end_rad))


def slab_peak_mm(feed_mm_per_s: float, diameter_mm: float, speed_rpm: float, teeth: int) -> float:
    """Peak-to-valley roughness of slab milling f²/(4·D·N²·Z²), f feed speed, N speed: fz²/(4D), mm.

    Source: Ghosh & Mallik, Manufacturing Science, 4.25.
    """
    per_tooth = 60.0 * feed_mm_per_s / (speed_rpm * teeth)
    return per_tooth * per_tooth / (4.0 * diameter_mm)


#: Mean deviation of a parabola of height f²/(8r) from its mean line: (f²/8r)·4/(9·√3) = 0.03208·f²/r.
RA_SHARE = 4.0 / (9.0 * math.sqrt(3.0))


def turned_mean_mm(feed_mm: float, nose_mm: float) -> float:
    """Arithmetic mean roughness Ra of a round nose about its mean line: 0.0321·f²/r, mm (derived)."""
    return RA_SHARE * turned_peak_mm(feed_mm, nose_mm)


def turned_mean_handbook_mm(feed_mm: float, nose_mm: float) -> float:
    """Ra as books print it, f²/(32r), mm: 2.6 % below the mean-line value."""
    return feed_mm * feed_mm / (32.0 * nose_mm)


def _cosine(value: float) -> float:
    """A cosine kept within −1 … 1."""
    return max(-1.0, min(1.0, value))
