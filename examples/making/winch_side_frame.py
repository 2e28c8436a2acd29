"""Writes the programs of examples/winch-side-frame (invented part and data)."""

from pathlib import Path

from post import Prog, cycle, face, num, profile

OUT = Path(__file__).resolve().parent.parent / "winch-side-frame"
SIZE, CORNER = (360.0, 120.0, 12.0), 8.0
WINDOWS = ((40.0, 100.0), (102.0, 162.0), (164.0, 224.0))  # x from, to: webs of 2.0 between them
WINDOW_Y, WINDOW_R = (30.0, 90.0), 6.0
BORES = ((280.0, 60.0, 21.0), (330.0, 60.0, 11.0))
M4 = [(x, 8.0) for x in (20.0, 100.0, 180.0, 260.0, 340.0)] + [(x, 112.0) for x in (340.0, 260.0, 180.0, 100.0, 20.0)]
M3 = [(x, 18.0) for x in (30.0, 90.0, 150.0, 210.0, 270.0, 330.0)] + [
    (x, 102.0) for x in (330.0, 270.0, 210.0, 150.0, 90.0, 30.0)
]  # op 2 coordinates
M3_R, SINK_R = 1.6, 3.15
THROUGH = -12.4
PROBE_X = 375.0  # where the probe starts for the right edge


def window(p: Prog, low: tuple[float, float], high: tuple[float, float], d: int) -> None:
    """Rough with the 10 mm cutter in layers from a ramp, 0.3 left; then the wall with G41."""
    (x0, y0), (x1, y1) = low, high
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    p.rapid(X=cx - 15, Y=cy)
    p.rapid(Z=1)
    z = 0.0
    p.line(800, Z=0.2)
    for layer in (-3.1, -6.2, -9.3, THROUGH):
        p.line(600, X=cx + 15, Y=cy, Z=(z + layer) / 2)
        p.line(X=cx - 15, Y=cy, Z=layer)
        p.raw("F2200.")
        half = 0.0
        while True:
            half = min(half + 4.0, (y1 - y0) / 2 - 5.3)
            wide = (x1 - x0) / 2 - (y1 - y0) / 2 + half
            p.line(X=cx - wide, Y=cy)
            p.line(X=cx - wide, Y=cy + half)
            p.line(X=cx + wide)
            p.line(Y=cy - half)
            p.line(X=cx - wide)
            p.line(Y=cy)
            if half >= (y1 - y0) / 2 - 5.3:
                break
        p.line(X=cx - 15, Y=cy)
        z = layer
    p.raw("(wall, compensated)", f"G41 D{d}")
    r = WINDOW_R
    p.line(1100, X=cx, Y=y1 - 9)
    p.arc(True, cx - 9, y1, -9, 0)
    p.line(X=x0 + r, Y=y1)
    p.arc(True, x0, y1 - r, 0, -r)
    p.line(X=x0, Y=y0 + r)
    p.arc(True, x0 + r, y0, r, 0)
    p.line(X=x1 - r, Y=y0)
    p.arc(True, x1, y0 + r, 0, r)
    p.line(X=x1, Y=y1 - r)
    p.arc(True, x1 - r, y1, -r, 0)
    p.line(X=cx - 9, Y=y1)
    p.arc(True, cx - 18, y1 - 9, 0, -9)
    p.raw("G40")
    p.line(X=cx - 15, Y=cy)
    p.rapid(Z=5)


def op1() -> Prog:
    p = Prog(4101, "WINCH SIDE FRAME OP 1")
    p.start("G54")
    p.raw("(blank 366 x 126 x 18, X0 Y0 = lower left corner of the finished part, Z0 = finished top)")
    p.tool(20, "PROBE", 0, -20, 60, coolant=False)
    p.raw("(left edge)", "G0 Z-6.", "G38.2 X0. F200.", "#101=#5061", "G0 X-20.", "G0 Z50.")
    p.raw("(right edge)", f"G0 X{num(PROBE_X)} Y60.", "G0 Z-6.", "G38.2 X355. F200.", "#102=#5061")
    p.raw(f"G0 X{num(PROBE_X)}", "G0 Z50.", "(X0 from the middle of the two)", "#103=[#101+#102]/2-180.")
    p.raw("G10 L2 P1 X[#5221+#103]")
    face(p, 1, "FACE MILL 40", 5200, 2200, [0.3, 0.0], [12.0, 46.0, 80.0, 108.0], (-30.0, 367.0))
    p.tool(2, "END MILL 10", 9500, -26, 48)
    profile(p, (0, 0), SIZE[:2], CORNER, 5, [-4.1, -8.2, THROUGH], 0.3, 26, 1800, 2)
    for x0, x1 in WINDOWS:
        p.raw(f"(window X{x0:g} to X{x1:g})")
        window(p, (x0, WINDOW_Y[0]), (x1, WINDOW_Y[1]), 2)
    for cx, cy, r in BORES:
        p.raw(f"(bore {2 * r:g})")
        start = 4.0
        p.rapid(X=cx + start, Y=cy)
        p.rapid(Z=1)
        p.line(800, Z=0.2)
        z = 0.2
        while z > THROUGH:
            low = max(z - 1.5, THROUGH)
            p.quarters(cx, cy, start, z=(z, low))
            z = low
        p.quarters(cx, cy, start)
        p.raw("F1800.")
        if r - 5.2 > start:
            p.spiral(cx, cy, start, r - 5.2, 2.5, 2.5)
        p.line(X=cx, Y=cy)
        p.bore_finish(cx, cy, r, THROUGH, 8, 2, 800)
        p.rapid(Z=5)
    p.rapid(Z=50)
    p.stop()
    cycle(p, 5, "DRILL 3.3", 8500, "G98 G83 {xy} Z-14.5 R2. Q3.5 F800.", M4)
    cycle(p, 9, "TAP M4", 700, "G98 G84 {xy} Z-13. R4. F490.", M4)
    p.end()
    return p


def op2() -> Prog:
    p = Prog(4102, "WINCH SIDE FRAME OP 2")
    p.start("G55")
    p.raw("(turned over about X into the soft jaws, Z0 = finished underside)")
    face(p, 1, "FACE MILL 40", 5200, 2200, [3.4, 1.8, 0.4, 0.0], [12.0, 46.0, 80.0, 108.0], (-30.0, 367.0))
    cycle(p, 7, "DRILL 3.2", 8500, "G98 G83 {xy} Z-13.5 R2. Q4. F820.", M3)
    cycle(p, 11, "COUNTERSINK 90", 2400, f"G98 G82 {{xy}} Z{num(-(SINK_R - 0.5))} R2. P200 F240.", M3)
    p.end()
    return p


if __name__ == "__main__":
    (OUT / "small").mkdir(parents=True, exist_ok=True)
    print(op1().write(OUT / "op1.nc") + op2().write(OUT / "op2.nc"))
    job = (OUT / "job.toml").read_text(encoding="utf-8")
    job = job.replace(
        "# Weather-balloon winch side frame. Invented", "# The same on the machine with short travels. Invented"
    )
    job = job.replace('machine = "compact"', 'machine = "small"')
    job = job.replace("[-430.0, -260.0, -395.0]", "[-369.0, -210.0, -281.0]")
    for name in ("../shop.toml", "tools.csv", "op1.nc", "op2.nc", "design.step"):
        job = job.replace(f'"{name}"', f'"../{name}"')
    (OUT / "small" / "job.toml").write_text(job, encoding="utf-8")
