"""Makes examples/soil-auger-coupling/design.step (invented part, needs build123d; not run by the tests)."""

from pathlib import Path

import soil_auger_coupling as s
from build123d import Box, Cone, Cylinder, Pos, export_step

OUT = Path(__file__).resolve().parent.parent / "soil-auger-coupling"


def solid():
    """The finished part in op 1 coordinates, mm: axis Z, top of the rim Z 0."""
    body = s.HIGH - s.RIM_HIGH
    part = Pos(0, 0, -s.RIM_HIGH - body / 2) * Cylinder(s.OUTER, body)
    part = part + Pos(0, 0, -s.RIM_HIGH / 2) * Cylinder(s.RIM, s.RIM_HIGH)
    part = part - Cylinder(s.BORE, 100)
    deep = s.RIM_HIGH + s.SLOT_DEEP
    part = part - Pos(0, 0, -deep / 2) * Box(100, s.SLOT_WIDE, deep)
    for angle in s.ANGLES:
        x, y = s.spot(angle)
        part = part - Pos(x, y, -s.HIGH / 2) * Cylinder(s.CORE, 100)
        part = part - Pos(x, y, -s.HIGH + s.SINK / 2) * Cone(s.SINK, 0, s.SINK)
    assert len(part.solids()) == 1
    return part


if __name__ == "__main__":
    export_step(solid(), str(OUT / "design.step"))
