"""Makes examples/valve-body/design.step (mm inside; invented part, needs build123d; not run by the tests)."""

import math
from pathlib import Path

import valve_body as v
from build123d import Axis, Box, Cone, Cylinder, Pos, export_step, fillet

IN = 25.4
OUT = Path(__file__).resolve().parent.parent / "valve-body"


def solid():
    """The finished part in op 1 coordinates, mm."""
    x, y, z = (IN * s for s in v.SIZE)
    part = Pos(x / 2, y / 2, -z / 2) * Box(x, y, z)
    part = fillet(part.edges().filter_by(Axis.Z), v.CORNER * IN)
    cx, cy = (IN * c for c in v.CENTRE)
    part = part - Pos(cx, cy, -z / 2) * Cylinder(v.BORE * IN, 2 * z)
    deep = v.GROOVE_DEEP * IN
    for at in (-deep / 2, -z + deep / 2):
        ring = Cylinder(v.GROOVE_OUT * IN, deep) - Cylinder((v.GROOVE_OUT - v.GROOVE_WIDE) * IN, deep)
        part = part - Pos(cx, cy, at) * ring
    for hx, hy in v.SPOTS:
        hx, hy, r, d = hx * IN, hy * IN, v.CORE * IN, v.HOLE_DEEP * IN
        h = r / math.tan(math.radians(59))
        part = part - Pos(hx, hy, -d / 2) * Cylinder(r, d) - Pos(hx, hy, -d - h / 2) * Cone(0, r, h)
    for hx, hy in v.THROUGH:  # op 2 coordinates
        hx, hy = hx * IN, (v.SIZE[1] - hy) * IN
        r = v.SINK_R * IN
        part = part - Pos(hx, hy, -z / 2) * Cylinder(v.THROUGH_R * IN, 2 * z)
        part = part - Pos(hx, hy, -z + r / 2) * Cone(r, 0, r)
    assert len(part.solids()) == 1
    return part


if __name__ == "__main__":
    export_step(solid(), str(OUT / "design.step"))
