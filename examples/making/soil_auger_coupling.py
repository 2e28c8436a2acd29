"""Writes the programs of examples/soil-auger-coupling (invented part and data)."""

import math
from pathlib import Path

from post import Prog, cycle, face, num

OUT = Path(__file__).resolve().parent.parent / "soil-auger-coupling"
OUTER, HIGH = 30.0, 32.0  # radius of the bar, finished height
BORE, RIM, RIM_HIGH = 12.5, 17.0, 2.0  # radii; the rim round the bore stands 2 mm over the flange face
SLOT_WIDE, SLOT_DEEP = 8.0, 6.0
CORE, CIRCLE, SINK = 2.5, 22.0, 3.3
ANGLES = (30, 90, 150, 210, 270, 330)
ACROSS = (30, 210, 90, 270, 150, 330)  # order of the holes: opposite ones one after the other


def spot(angle: float, mirror: int = 1) -> tuple[float, float]:
    """A hole of the pattern; mirror -1 = seen after turning over about X."""
    a = math.radians(angle)
    return round(CIRCLE * math.cos(a), 3), round(mirror * CIRCLE * math.sin(a), 3)


def op1(low_r: bool = False) -> Prog:
    p = Prog(3101, "SOIL-AUGER COUPLING OP 1")
    p.start("G54")
    p.raw("(bar 60 x 35, X0 Y0 = middle of the bar, Z0 = top of the rim)")
    face(p, 1, "FACE MILL 40", 1100, 650, [0.3, 0.0], [-16.0, 16.0], (-58.0, 58.0))

    p.tool(2, "END MILL 16", 1900, 48, 0)
    p.raw("(flange face round the rim)")
    for z in (-1.0, -RIM_HIGH):
        p.rapid(X=48, Y=0)
        p.rapid(Z=z + 2)
        p.line(350, Z=z)
        p.line(380, X=RIM + 8, Y=0)
        p.quarters(0, 0, RIM + 8, ccw=False)
        p.line(X=48, Y=0)
        p.rapid(Z=5)
    p.raw("(bore, helix to 24.4)")
    r = 12.2 - 8.0
    p.rapid(X=r, Y=0)
    p.rapid(Z=1)
    z, step = 0.5, 0.75
    p.line(300, Z=z)
    while z > -33.0:
        low = max(z - step, -33.0)
        p.quarters(0, 0, r, z=(z, low))
        z = low
    p.quarters(0, 0, r)
    p.line(X=0, Y=0)
    p.rapid(Z=5)
    p.raw("(bore, finish, compensated)")
    p.bore_finish(0, 0, BORE, -33.0, 10, 2, 260)
    p.rapid(Z=50)
    p.stop()

    p.tool(3, "END MILL 6", 3800, 38, 0)
    p.raw("(drive slot, rough on the middle, then both walls)")
    floor = -RIM_HIGH - SLOT_DEEP
    for k in range(1, 9):
        z = floor * k / 8
        p.rapid(X=38, Y=0)
        p.rapid(Z=z + 1)
        p.line(300, Z=z)
        p.line(360, X=-38)
        p.rapid(Z=5)
    for y, there in ((1.0, 38.0), (-1.0, -38.0)):
        p.rapid(X=there, Y=y)
        p.rapid(Z=floor + 2)
        p.line(300, Z=floor)
        p.line(300, X=-there)
        p.rapid(Z=5)
    p.rapid(Z=50)
    p.stop()

    spots = [spot(a) for a in ACROSS]
    back = "G99 G83 {xy} Z-33.6 R-1. Q4. F190." if low_r else "G99 G83 {xy} Z-33.6 R2. Q4. F190."
    cycle(p, 5, "DRILL 5", 2100, back, spots)
    cycle(p, 9, "TAP M6", 400, "G98 G84 {xy} Z-31. R4. F400.", spots)
    p.end()
    return p


def op2() -> Prog:
    p = Prog(3102, "SOIL-AUGER COUPLING OP 2")
    p.start("G55")
    p.raw("(turned over about X, clocked to the slot, Z0 = finished underside)")
    face(p, 1, "FACE MILL 40", 1100, 650, [1.0, 0.3, 0.0], [-16.0, 16.0], (-58.0, 58.0))
    spots = [spot(a, -1) for a in ANGLES]
    cycle(p, 11, "COUNTERSINK 90", 900, f"G98 G82 {{xy}} Z{num(-(SINK - 0.5))} R2. P300 F90.", spots)
    p.end()
    return p


if __name__ == "__main__":
    (OUT / "faulty").mkdir(parents=True, exist_ok=True)
    print(op1().write(OUT / "op1.nc") + op2().write(OUT / "op2.nc"))
    op1(low_r=True).write(OUT / "faulty" / "op1.nc")
    job = (OUT / "job.toml").read_text(encoding="utf-8")
    job = job.replace("# Soil-auger coupling. Invented", "# Soil-auger coupling with one planted fault. Invented")
    for name in ("../shop.toml", "tools.csv", "op2.nc", "design.step"):
        job = job.replace(f'"{name}"', f'"../{name}"')
    (OUT / "faulty" / "job.toml").write_text(job, encoding="utf-8")
