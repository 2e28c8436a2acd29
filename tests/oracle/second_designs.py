"""Makes the small designs of second_hand.py as STEP files (needs build123d; not run by the tests).

    python -m tests.oracle.second_designs

All lie in the coordinates of the first operation: x 0 … 40, y 0 … 30, top of the raw block at z = 0, its bottom at z = −12, mm.
"""

import math
import re
from pathlib import Path

from build123d import Axis, Box, Cone, Cylinder, Plane, Polygon, Pos, export_step, extrude, fillet

OUT = Path(__file__).with_name("second_designs")


def box(low, high):
    """Box between two corners."""
    size = [b - a for a, b in zip(low, high, strict=True)]
    return Pos(*[(a + b) / 2 for a, b in zip(low, high, strict=True)]) * Box(*size)


def hollow(low, high, radius):
    """Box with rounded upright edges."""
    solid = box(low, high)
    return fillet(solid.edges().filter_by(Axis.Z), radius)


def designs():
    """Name and solid of each design."""
    block = box((0, 0, -12), (40, 30, 0))
    yield "pocket", block - hollow((8, 7, -4), (32, 23, 1), 3)
    filleted = hollow((8, 7, -4), (32, 23, 1), 4)
    filleted = fillet(filleted.edges().group_by(Axis.Z)[0], 2)
    yield "pocket_fillet", block - filleted
    c = math.tan(math.radians(12)) * 40
    side = Plane.XZ * Polygon((0, -12), (40, -12), (40, -10 + c), (0, -10), align=None)
    yield "slope", extrude(side, amount=-30)
    cone = 4 / math.tan(math.radians(59))
    yield "hole", block - Pos(20, 15, -3.5) * Cylinder(4, 7) - Pos(20, 15, -7 - cone / 2) * Cone(0, 4, cone)
    yield "bore", block - Pos(20, 15, -2.5) * Cylinder(12, 5)
    yield "boss", box((0, 0, -12), (40, 30, -5)) + box((10, 8, -5), (30, 22, 0))
    yield "faced", box((0, 0, -12), (40, 30, -1))
    yield "sink", block - Pos(20, 15, -6) * Cylinder(2.5, 12) - Pos(20, 15, -1) * Cone(2.5, 4.5, 2)
    yield "thin", box((0, 0, -11), (40, 30, 0))


if __name__ == "__main__":
    OUT.mkdir(exist_ok=True)
    for name, solid in designs():
        assert len(solid.solids()) == 1, name
        whole = solid.bounding_box()
        print(name, whole.min, whole.max, f"{solid.volume:.4f} mm3, {len(solid.faces())} faces")
        path = OUT / f"{name}.step"
        export_step(solid, str(path))
        text = path.read_text(encoding="ascii")
        head = f"FILE_DESCRIPTION(('hand case'),'2;1');\nFILE_NAME('{name}','2000-01-01T00:00:00',(''),(''),'','','');\nFILE_SCHEMA"
        path.write_text(re.sub(r"FILE_DESCRIPTION\(.*?FILE_SCHEMA", head, text, count=1, flags=re.S), encoding="ascii")
