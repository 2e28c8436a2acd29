"""Writes the programs of examples/valve-body, the tide-gauge valve body re-dimensioned in inch (invented part and data)."""

import math
from pathlib import Path

from post import Prog, cycle, face, profile

OUT = Path(__file__).resolve().parent.parent / "valve-body"
SIZE, CORNER = (2.5, 1.9, 0.875), 0.25
CENTRE, BORE = (1.25, 0.95), 0.25  # radius
GROOVE_OUT, GROOVE_WIDE, GROOVE_DEEP = 0.4375, 0.1, 0.07
CIRCLE, CORE, HOLE_DEEP = 0.7, 0.0795, 0.47
SPOTS = [(CENTRE[0] + CIRCLE * math.cos(math.radians(a)), CENTRE[1] + CIRCLE * math.sin(math.radians(a)))
         for a in range(0, 360, 60)]  # fmt: skip
THROUGH = [(0.25, 0.25), (0.25, 1.65), (2.25, 1.65), (2.25, 0.25)]
THROUGH_R, SINK_R = 0.1, 0.175


def groove(p: Prog, tool_r: float) -> None:
    p.tool(4, "END MILL 1/16", 9000, CENTRE[0] + GROOVE_OUT - GROOVE_WIDE / 2, CENTRE[1])
    outer, inner = GROOVE_OUT - tool_r, GROOVE_OUT - GROOVE_WIDE + tool_r
    middle = (outer + inner) / 2
    p.rapid(Z=0.05)
    p.line(5, Z=0.0)
    turns = 14
    for k in range(turns):
        p.raw("F7.")
        p.quarters(*CENTRE, middle, z=(-GROOVE_DEEP * k / turns, -GROOVE_DEEP * (k + 1) / turns))
    for r, ccw in ((middle, True), (outer, True), (inner, False)):
        p.line(7, X=CENTRE[0] + r, Y=CENTRE[1])
        p.quarters(*CENTRE, r, ccw=ccw)
    p.line(X=CENTRE[0] + middle, Y=CENTRE[1])
    p.rapid(Z=2)
    p.stop()


def op1() -> Prog:
    p = Prog(2101, "VALVE BODY OP 1", units="inch", places=4)
    p.start("G54")
    p.raw("(blank 2.6 x 2.0 x 1.1, 0.14 grip)")
    face(p, 1, "FACE MILL 1.5", 1100, 14, [0.02, 0.0], [0.5, 1.4], (-0.95, 3.45))
    p.tool(2, "END MILL 3/8", 2600, -0.9, 0.5)
    profile(p, (0, 0), SIZE[:2], CORNER, 0.1875, [-0.22, -0.44, -0.66, -0.885], 0.01, 0.9, 13, 2)
    p.stop()
    c = "G98 G83 {xy} Z-1.03 R0.08 Q0.12 F3."
    cycle(p, 5, "DRILL 31/64", 1100, c, [CENTRE])
    cycle(p, 6, "REAMER 1/2", 350, "G98 G85 {xy} Z-0.9 R0.08 F2.4", [CENTRE])
    tip = HOLE_DEEP + CORE / math.tan(math.radians(59))
    cycle(p, 7, "DRILL 21", 2600, f"G98 G83 {{xy}} Z-{tip:.4f} R0.08 Q0.06 F4.", SPOTS)
    cycle(p, 9, "TAP 10-32", 400, "G98 G84 {xy} Z-0.4 R0.16 F12.5", SPOTS)
    groove(p, 0.03125)
    p.end()
    return p


def op2() -> Prog:
    p = Prog(2102, "VALVE BODY OP 2", units="inch", places=4)
    p.start("G55")
    p.raw("(turned over about X into the soft jaws)")
    face(p, 1, "FACE MILL 1.5", 1100, 14, [0.12, 0.06, 0.01, 0.0], [0.5, 1.4], (-0.95, 3.45))
    cycle(p, 8, "DRILL 0.2", 2300, "G98 G83 {xy} Z-0.97 R0.08 Q0.08 F4.", THROUGH)
    z = SINK_R - 0.02  # 90 degrees, tip flat 0.04
    cycle(p, 11, "COUNTERSINK 90", 700, f"G98 G82 {{xy}} Z-{z:.4f} R0.08 P300 F3.", THROUGH)
    groove(p, 0.03125)
    p.end()
    return p


if __name__ == "__main__":
    OUT.mkdir(exist_ok=True)
    print(op1().write(OUT / "op1.nc") + op2().write(OUT / "op2.nc"))
