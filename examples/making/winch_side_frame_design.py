"""Makes examples/winch-side-frame/design.step (invented part, needs build123d; not run by the tests)."""

from pathlib import Path

import winch_side_frame as w
from build123d import Axis, Box, Cone, Cylinder, Pos, export_step, fillet

OUT = Path(__file__).resolve().parent.parent / "winch-side-frame"


def solid():
    """The finished part in op 1 coordinates, mm."""
    x, y, z = w.SIZE
    part = Pos(x / 2, y / 2, -z / 2) * Box(x, y, z)
    part = fillet(part.edges().filter_by(Axis.Z), w.CORNER)
    y0, y1 = w.WINDOW_Y
    for x0, x1 in w.WINDOWS:
        tool = Box(x1 - x0, y1 - y0, 40)
        tool = fillet(tool.edges().filter_by(Axis.Z), w.WINDOW_R)
        part = part - Pos((x0 + x1) / 2, (y0 + y1) / 2, 0) * tool
    for cx, cy, r in w.BORES:
        part = part - Pos(cx, cy, 0) * Cylinder(r, 60)
    for hx, hy in w.M4:
        part = part - Pos(hx, hy, 0) * Cylinder(1.65, 60)
    for hx, hy in w.M3:  # op 2 coordinates
        part = part - Pos(hx, y - hy, 0) * Cylinder(w.M3_R, 60)
        part = part - Pos(hx, y - hy, -z + w.SINK_R / 2) * Cone(w.SINK_R, 0, w.SINK_R)
    assert len(part.solids()) == 1
    return part


if __name__ == "__main__":
    export_step(solid(), str(OUT / "design.step"))
