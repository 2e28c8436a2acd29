"""Writes the programs of examples/ice-core-plate (invented part and data)."""

import math
from pathlib import Path

from post import Prog

OUT = Path(__file__).resolve().parent.parent / "ice-core-plate"
CORNER, BREAK = 6.0, 0.3
BORES = (((45.0, 45.0), 13.0, 9.0), ((86.0, 45.0), 17.5, 11.0))
M4 = ((8.0, 8.0), (132.0, 8.0), (132.0, 45.0), (132.0, 82.0), (100.0, 82.0), (40.0, 82.0), (8.0, 82.0), (8.0, 45.0))
DOWELS = ((8.0, 26.0), (132.0, 26.0), (132.0, 64.0), (8.0, 64.0))
CAPS = ((22.0, 24.0), (22.0, 45.0), (22.0, 66.0), (118.0, 66.0), (118.0, 45.0), (118.0, 24.0))  # op 2 coordinates
GROOVE, GROOVE_DEEP = (65.5, 64.0), 1.45  # op 2 coordinates


def probe_start(p: Prog, x: float, y: float) -> None:
    p.tool(20, "PROBE", 0, x, y, coolant=False)


def face(p: Prog, zs: tuple[float, ...], rows: tuple[float, ...]) -> None:
    """Zigzag along X in rows, one layer a z."""
    p.tool(1, "FACE MILL 40", 4800, -30, rows[0])
    for z in zs:
        p.rapid(X=-30, Y=rows[0])
        p.rapid(Z=z + 2)
        p.line(900, Z=z)
        for k, y in enumerate(rows):
            there = 170.0 if k % 2 == 0 else -30.0
            p.line(1900, Y=y)
            p.line(X=there)
        p.rapid(Z=15)
    p.stop()


def op1() -> Prog:
    p = Prog(1101, "ICE-CORE PLATE OP 1")
    p.start()
    p.raw(
        "(blank 145 x 95 x 20 in the vise, 4 mm grip, stop left)",
        "(G54 X0 Y0 = lower left corner of the finished part, Z0 = finished top)",
    )
    probe_start(p, -20, 45)
    p.raw("(left side, ball 6)", "G0 Z-6.", "G38.2 X0. F200.", "G10 L2 P1 X[#5221+#5061+5.5]")
    p.raw("G0 X-20.", "G0 Z50.", "(front side)", "G0 X70. Y-20.", "G0 Z-6.", "G38.2 Y0. F200.")
    p.raw("G10 L2 P1 Y[#5222+#5062+5.5]", "G0 Y-20.", "G0 Z50.", "(top: is it the blank we think it is?)")
    p.raw("G0 X70. Y20.", "G0 Z8.", "G38.2 Z-2. F100.", "#101=#5063", "G0 Z50.")
    p.raw("IF[ABS[#101-1.]LT0.4]GOTO 20", "#3000=1(BLANK HEIGHT OUT OF WINDOW)", "N20 (window passed)")

    face(p, (0.35, 0.0), (12.0, 45.0, 78.0))

    p.tool(2, "END MILL 10", 7600, -24, 33)
    p.raw("(profile, rough, 0.3 left)")
    off = 5.3
    for z in (-3.6, -7.2, -10.8, -14.3):
        p.rapid(X=-24, Y=33)
        p.rapid(Z=z + 4)
        p.line(1500, Z=z)
        p.line(1500, X=-off, Y=39)
        p.line(X=-off, Y=45)
        p.round_box((-off, -off), (140 + off, 90 + off), CORNER + off)
        p.line(X=-24, Y=57)
        p.rapid(Z=5)
    for (cx, cy), r, deep in BORES:
        p.raw(f"(bore {2 * r:g}: helix in, then spiral layers)")
        layers = 3
        start = 2.4
        p.rapid(X=cx + start, Y=cy)
        p.rapid(Z=2)
        top = 0.5
        for k in range(1, layers + 1):
            z = -(deep - 0.1) * k / layers
            turns = max(1, math.ceil((top - z) / 1.2))
            p.line(900, Z=top)
            for t in range(turns):
                p.quarters(cx, cy, start, z=(top + (z - top) * t / turns, top + (z - top) * (t + 1) / turns))
            p.quarters(cx, cy, start)
            p.raw("F1600.")
            p.spiral(cx, cy, start, r - 0.3 - 5.0, 2.2, 2.0)
            p.rapid(Z=z + 1)
            p.rapid(X=cx + start, Y=cy)
            top = z
        p.rapid(Z=5)
    p.raw("(profile, finish, compensated)")
    p.rapid(X=-24, Y=33)
    p.rapid(Z=-10)
    p.line(1500, Z=-14.4)
    p.raw("G41 D2")
    p.line(1000, X=-12, Y=33)
    p.arc(True, 0, 45, 0, 12)
    p.round_box((0, 0), (140, 90), CORNER)
    p.arc(True, -12, 57, -12, 0)
    p.raw("G40")
    p.line(X=-24, Y=57)
    p.rapid(Z=50)
    p.stop()

    p.tool(3, "END MILL 6", 9500, 45, 45)
    for (cx, cy), r, deep in BORES:
        p.raw(f"(bore {2 * r:g}: floor, then wall to 0.1 under size)")
        p.rapid(X=cx, Y=cy)
        p.rapid(Z=-deep + 2)
        p.line(600, Z=-deep)
        p.raw("F1100.")
        reach = r - 0.3 - 3.0
        steps = math.ceil(reach / 2.4)
        for k in range(1, steps + 1):
            p.line(X=cx + reach * k / steps, Y=cy)
            p.quarters(cx, cy, reach * k / steps)
        p.bore_finish(cx, cy, r - 0.1, -deep, 5, 3, 800)
        p.rapid(Z=10)
    p.stop()

    for number, ((cx, cy), r, deep), rpm in ((12, BORES[0], 1500), (13, BORES[1], 1200)):
        p.tool(number, f"BORING {2 * r:g} H7", rpm, cx, cy)
        p.raw(f"G98 G85 X{p.n(cx)} Y{p.n(cy)} Z{p.n(-deep)} R2. F{p.n(rpm * 0.06)}", "G80")
        p.stop()

    for number, name, rpm, cycle, spots, sub in (
        (5, "DRILL 3.3", 8500, "G98 G83 {xy} Z-17. R2. Q3.5 F800.", M4, 8001),
        (9, "TAP M4", 700, "G98 G84 {xy} Z-15.5 R4. F490.", M4, 8001),
        (6, "DRILL 3.8", 7800, "G98 G81 {xy} Z-17. R2. F780.", DOWELS, 8002),
        (10, "REAMER 4 H7", 900, "G98 G85 {xy} Z-15. R2. F180.", DOWELS, 8002),
    ):
        (x, y) = spots[0]
        p.tool(number, name, rpm, x, y)
        p.raw(cycle.format(xy=f"X{p.n(x)} Y{p.n(y)}"), f"M98 P{sub}", "G80")
        p.stop()

    p.tool(11, "EDGE TOOL 90", 8000, -15, 45)
    p.raw("(edge break 0.3, outside)")
    p.rapid(Z=2)
    p.line(800, Z=-1.3)
    p.line(800, X=-1.5, Y=45)
    p.round_box((-1.5, -1.5), (141.5, 91.5), CORNER + 1.5)
    p.line(X=-15, Y=45)
    p.rapid(Z=5)
    for (cx, cy), r, _ in BORES:
        p.raw(f"(edge break 0.3, bore {2 * r:g})")
        p.rapid(X=cx, Y=cy)
        p.rapid(Z=1)
        p.line(600, Z=-1.3)
        p.line(600, X=cx + r - 1.5, Y=cy)
        p.quarters(cx, cy, r - 1.5)
        p.line(X=cx, Y=cy)
        p.rapid(Z=5)
    p.stop()
    p.end()
    return p


def holes() -> list[str]:
    """The subprograms: the remaining spots of each hole pattern."""
    lines = ["%", "O8001 (M4 PATTERN, all but the first)"]
    lines += [f"X{x:g}. Y{y:g}." for x, y in M4[1:]]
    lines += ["M99", "O8002 (DOWEL PATTERN, all but the first)"]
    lines += [f"X{x:g}. Y{y:g}." for x, y in DOWELS[1:]]
    return [*lines, "M99", "%"]


def racetrack(p: Prog, off: float) -> None:
    """Clockwise round the groove, off outwards of its centre line, from and to the left end of the upper straight."""
    gx, gy = GROOVE
    r = 20 + off
    p.line(X=gx + 10, Y=gy + r)
    p.arc(False, gx + 10 + r, gy, 0, -r)
    p.arc(False, gx + 10, gy - r, -r, 0)
    p.line(X=gx - 10, Y=gy - r)
    p.arc(False, gx - 10 - r, gy, 0, r)
    p.arc(False, gx - 10, gy + r, r, 0)


def op2(low_r: bool = False) -> Prog:
    p = Prog(1102, "ICE-CORE PLATE OP 2")
    p.start("G55")
    p.raw(
        "(turned over about X into the soft jaws)",
        "(G55 X0 Y0 = lower left corner of the finished part, Z0 = finished underside)",
    )
    face(p, (3.5, 2.0, 0.6, 0.0), (15.0, 45.0, 75.0))

    probe_start(p, -20, 75)
    p.raw("(left side of the finished profile)", "G0 Z-6.", "G38.2 X5. F200.", "G10 L2 P2 X[#5241+#5061+3.]")
    p.raw("G0 X-20.", "G0 Z50.", "(side at the fixed jaw)", "G0 X70. Y-20.", "G0 Z-6.", "G38.2 Y5. F200.")
    p.raw("G10 L2 P2 Y[#5242+#5062+3.]", "G0 Y-20.", "G0 Z50.", "(thickness: the underside is Z0)")
    p.raw("G0 X70. Y10.", "G0 Z8.", "G38.2 Z-2. F100.", "#101=#5063", "G0 Z50.")
    p.raw("IF[ABS[#101]LT0.03]GOTO 20", "#3000=2(THICKNESS OUT OF WINDOW)", "N20 (window passed)")

    for number, name, rpm, cycle in (
        (7, "DRILL 3.4", 8500, "G98 G83 {xy} Z-15.6 R2. Q4. F820."),
        (8, "COUNTERBORE 6.5", 2400, "G98 G82 {xy} Z-3.4 R{r} P200 F190."),
    ):
        x, y = CAPS[0]
        p.tool(number, name, rpm, x, y)
        r = "-0.6" if low_r else "2."
        p.raw(cycle.format(xy=f"X{p.n(x)} Y{p.n(y)}", r=r))
        p.raw(*(f"X{p.n(x)} Y{p.n(y)}" for x, y in CAPS[1:]), "G80")
        p.stop()

    gx, gy = GROOVE
    p.tool(4, "END MILL 2 LONG NECK", 11500, gx - 10, gy + 20)
    p.raw("(seal groove, 0.15 a lap on the middle line)")
    p.rapid(Z=1)
    p.line(300, Z=0.05)
    z = 0.0
    while z > -1.35:
        z = max(z - 0.15, -1.35)
        p.line(300, X=gx - 10, Y=gy + 20, Z=z)
        p.raw("F520.")
        racetrack(p, 0)
    p.raw("(walls and floor)")
    for off in (0.1, 0.2, -0.1, -0.2):
        p.rapid(Z=0.5)
        p.rapid(X=gx - 10, Y=gy + 20)
        p.rapid(Z=-1.0)
        p.line(200, Z=-GROOVE_DEEP)
        p.line(300, X=gx - 10, Y=gy + 20 + off)
        p.raw("F420.")
        racetrack(p, off)
        p.line(X=gx - 10, Y=gy + 20)
    p.rapid(Z=50)
    p.stop()

    p.tool(11, "EDGE TOOL 90", 8000, -15, 20)
    p.raw("(edge break 0.3, outside; in and out clear of the stop)")
    p.rapid(Z=2)
    p.line(800, Z=-1.3)
    p.line(800, X=-1.5, Y=20)
    p.line(X=-1.5, Y=45)
    p.round_box((-1.5, -1.5), (141.5, 91.5), CORNER + 1.5)
    p.line(X=-15, Y=45)
    p.rapid(Z=50)
    p.stop()
    p.end()
    return p


if __name__ == "__main__":
    blocks = op1().write(OUT / "op1.nc") + op2().write(OUT / "op2.nc")
    (OUT / "holes.nc").write_text("\n".join(holes()) + "\n", encoding="utf-8")
    op2(low_r=True).write(OUT / "faulty" / "op2.nc")
    print("blocks", blocks)
