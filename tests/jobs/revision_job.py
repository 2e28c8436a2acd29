"""A tiny job folder with one slot and one drilled hole, written with a few texts changed; design as a mesh."""

from pathlib import Path

import numpy as np

JOB = """format = 1
units = "mm"
part = "slot block"
revision = "{revision}"
tools = "tools.csv"
{shop}
invented = true
{design}
{machine}
[[operation]]
name = "op 1"
program = "op1.nc"
[[operation.offset]]
system = "G54"
origin = [{x}, -200, -300]
[[operation.place]]
name = "vise"
offset = "G54"
{lies}
[operation.place.stock]
kind = "box"
low = [0, 0, -20]
high = [60, 40, 0]
[[operation.place.body]]
name = "fixed jaw"
kind = "fixed jaw"
low = [-10, -40, -36]
high = [70, 0, -12]
"""
MACHINE = """[{table}]
name = "{name}"
travel = {{ X = [-{travel}, 0], Y = [-400, 0], Z = [-420, 0] }}
rapid = {{ X = 24000, Y = 24000, Z = 18000 }}
acceleration = {{ X = 3.0, Y = 3.0, Z = 2.5 }}
feed_limit = {feed_limit}
corner_tolerance = 0.01
settle = 0.05
table_z = {table_z}
[machine.spindle]
rpm = [50, {most_rpm}]
run_up = 1.5
nose = {{ diameter = 90, length = 120 }}
through_coolant = true
[machine.magazine]
positions = {positions}
change = 4.0
max_diameter = 80
max_diameter_alone = 125
max_length = {max_length}
max_mass = 6
[machine.control]
length = "gauge line"
radius = "{radius}"
rapid_path = "straight"
extra_offsets = {extra}
start_units = "mm"
dwell = "ms"
{codes}
"""
ONE = {
    "table": "machine", "name": "first", "travel": "500", "feed_limit": "8000", "table_z": "-520", "most_rpm": "12000",
    "positions": "20", "max_length": "200", "radius": "diameter", "extra": "4", "codes": "",
}  # fmt: skip
TOOLS = """units = mm
number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,mass,max_rpm,coolant_channel,point_angle
1,end mill 10,flat,10,22,10,35,{length},40,40,1.5,15000,true,0
2,drill 6,drill,6,40,6,60,130,40,40,1.2,15000,true,118
"""
NC = """%
N10 G21 G90 G17 {system} (slot)
N20 T1 M6
N30 S{s} M3
{extra}N40 G0 X-10. Y20.
N50 G43 H1 Z20.
N60 G0 Z2.
N70 G0 Z{z}
N80 G1 X70. F{f}
N90 G0 Z20.
N100 T2 M6
N110 S3000 M3
N120 G0 X50. Y8.
N130 G43 H2 Z20.
N140 G0 Z2.
N150 G1 Z-8. F200
N160 G0 Z{up}
M5
M30
%
"""


def write(
    folder: Path, *, nc: dict[str, str] | None = None, design_z: float | None = None, revision: str = "A",
    length: str = "110", x: str = "-300", machine: dict[str, str] | None = None, shop: str = "", program: str = "",
) -> Path:  # fmt: skip
    """Write the job; nc and machine change single texts. design_z: depth of the slot in the design (None = no design)."""
    folder.mkdir(parents=True, exist_ok=True)
    text = {"z": "-5.", "f": "600", "s": "6000", "up": "20.", "extra": "", "system": "G54"} | (nc or {})
    design = lies = ""
    if design_z is not None:
        (folder / "design.stl").write_text(_stl(design_z))
        design = '[design]\nfile = "design.stl"\nunits = "mm"\n'
        lies = '[operation.place.design]\nturn = "none"\nshift = [0, 0, 0]'
    own = "" if shop else MACHINE.format(**(ONE | (machine or {})))
    (folder / "job.toml").write_text(
        JOB.format(revision=revision, design=design, lies=lies, machine=own, x=x, shop=shop)
    )  # fmt: skip
    (folder / "tools.csv").write_text(TOOLS.format(length=length))
    (folder / "op1.nc").write_text(program or NC.format(**text))
    return folder


def renumbered() -> str:
    """The same program with other block numbers, spaces and comments."""
    text = {"z": "-5.", "f": "600", "s": "6000", "up": "20.", "extra": "", "system": "G54"}
    lines = []
    for k, line in enumerate(NC.format(**text).splitlines()):
        bare = line.split(" ", 1)[1] if line.startswith("N") else line
        lines.append(line if line in ("%", "") else f"N{5 * k + 1}  {bare.replace(' ', '  ')} (line {k})")
    return "\n".join(lines) + "\n"


def _stl(z: float) -> str:
    """The block with its slot (y 15 … 25, z down) as an ASCII mesh; the hole is not drawn."""
    outline = [(0, -20), (40, -20), (40, 0), (25, 0), (25, z), (15, z), (15, 0), (0, 0)]  # y, z
    triangles = []
    caps = [(0, 1, 4), (0, 4, 5), (1, 2, 3), (1, 3, 4), (0, 5, 6), (0, 6, 7)]
    for a, b, c in caps:
        for x, order in ((0.0, (a, c, b)), (60.0, (a, b, c))):
            triangles.append([(x, *outline[k]) for k in order])
    for k in range(len(outline)):
        (y0, z0), (y1, z1) = outline[k], outline[(k + 1) % len(outline)]
        p, q, r, s = (0.0, y0, z0), (60.0, y0, z0), (60.0, y1, z1), (0.0, y1, z1)
        triangles += [[p, s, r], [p, r, q]]
    lines = ["solid block"]
    for triangle in triangles:
        a, b, c = (np.array(v, dtype=float) for v in triangle)
        n = np.cross(b - a, c - a)
        n /= np.linalg.norm(n)
        lines.append(f"facet normal {n[0]} {n[1]} {n[2]}\nouter loop")
        lines += [f"vertex {v[0]} {v[1]} {v[2]}" for v in triangle]
        lines.append("endloop\nendfacet")
    return "\n".join([*lines, "endsolid block\n"])
