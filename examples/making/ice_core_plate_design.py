"""Makes examples/ice-core-plate/design.step (invented part, needs build123d; not run by the tests)."""

from pathlib import Path

import ice_core_plate as plate
from build123d import (
    Axis,
    Box,
    BuildPart,
    BuildSketch,
    Cylinder,
    Locations,
    Mode,
    Plane,
    Pos,
    SlotOverall,
    chamfer,
    export_step,
    extrude,
    fillet,
)

HERE = Path(__file__).resolve().parent


def solid():
    """The finished part in op 1 coordinates: X 0..140, Y 0..90, top face Z 0, underside Z -14."""
    part = Pos(70, 45, -7) * Box(140, 90, 14)
    part = fillet(part.edges().filter_by(Axis.Z), plate.CORNER)
    top = part.faces().sort_by(Axis.Z)[-1]
    low = part.faces().sort_by(Axis.Z)[0]
    part = chamfer(top.edges() + low.edges(), plate.BREAK)
    for (x, y), r, deep in plate.BORES:
        hole = Pos(x, y, -deep / 2) * Cylinder(r, deep)
        b = plate.BREAK
        from build123d import Cone

        hole = hole + Pos(x, y, -b / 2) * Cone(r, r + b, b)
        part = part - hole
    for x, y in plate.M4:
        part = part - Pos(x, y, -7) * Cylinder(1.65, 20)
    for x, y in plate.DOWELS:
        part = part - Pos(x, y, -7) * Cylinder(2.0, 20)
    for x, y in plate.CAPS:  # op 2 coordinates: y_old = 90 - y
        part = part - Pos(x, 90 - y, -7) * Cylinder(1.7, 20)
        part = part - Pos(x, 90 - y, -14 + 3.4 / 2) * Cylinder(3.25, 3.4)
    gx, gy = plate.GROOVE
    with BuildPart() as groove:
        with BuildSketch(Plane.XY.offset(-14)), Locations((gx, 90 - gy)):
            SlotOverall(60 + 2.4, 40 + 2.4)
            SlotOverall(60 - 2.4, 40 - 2.4, mode=Mode.SUBTRACT)
        extrude(amount=plate.GROOVE_DEEP)
    part = part - groove.part
    assert len(part.solids()) == 1
    return part


if __name__ == "__main__":
    made = solid()
    export_step(made, str(HERE.parent / "ice-core-plate" / "design.step"))
    print("volume", made.volume, "faces", len(made.faces()))
