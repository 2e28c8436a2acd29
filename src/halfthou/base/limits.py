"""Every numerical tolerance the tool uses: a name, a real unit, a reason. Passed down as arguments."""

CONTACT_MM = 0.01
"""A contact shallower than this is not called one: below the repeatability of seating a part (common practice,
no source), and above the chord error of helical arcs and the resolution of the contact search."""

CHORD_MM = 0.0005
"""Largest distance between a curved path and the chords that stand for it where no closed form is used."""

LABEL_MM = 1e-5
"""A cut must go this much deeper than the last one to take over the surface's label: re-cutting the same surface
must not steal it (0.01 µm)."""

MAKERS_MM = 0.05
"""Other moves whose swept surface lies within this of a surface point are listed as its further makers."""

PITCH_MM = 0.25
"""Default spacing of the depth elements: bounds what can be missed, not how exact what was found is."""

NEAR_MM = 1.0
"""A clearance below this is a near approach worth a line on the report (common practice, no source)."""

DESIGN_MM = 0.05
"""Default limit on gouge and left-over when the design states none (common practice, no source)."""

ARC_ENDS_MM = 0.002
"""Largest difference of start and end radius of an arc in mm programs (NISTIR 6556, 3.5.3)."""

ARC_ENDS_INCH = 0.0002
"""The same in inch programs (NISTIR 6556, 3.5.3)."""

SAME_POINT_MM = 1e-6
"""Two programmed points nearer than this are one point."""
