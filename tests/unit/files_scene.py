"""A small whole job for the tests of the file doors: shop, job, tools, tables as found, program, STL design."""

import io
import zipfile
from pathlib import Path

import numpy as np

SHOP = """\
format = 1
units = "mm"

[[machine]]
name = "compact"
travel = { X = [-500, 0], Y = [-400, 0], Z = [-420, 0] }
rapid = { X = 24000, Y = 24000, Z = 18000 }
acceleration = { X = 3.0, Y = 3.0, Z = 2.5 }
feed_limit = 12000
table_z = -520

[machine.spindle]
rpm = [50, 12000]
curve = [[1500, 20, 3200], [6000, 10, 6300], [12000, 5, 6300]]
run_up = 1.8
nose = { diameter = 90, length = 120 }

[machine.magazine]
positions = 20
change = 4.0

[machine.control]
start_units = "mm"
dwell = "ms"
rapid_path = "straight"
length = "gauge line"
radius = "diameter"
extra_offsets = 48

[[machine.code]]
word = "M88"
what = "through-spindle coolant on"
coolant = "through"

[[holder]]
id = "collet 34"
profile = [[34, 45], [50, 10], [63, 20]]

[[tool]]
id = "em10"
kind = "flat"
diameter = 10
cutting_length = 22
stick_out = 32
length = 107
holder = "collet 34"
"""

JOB = """\
format = 1
units = "mm"
part = "block"
shop = "shop.toml"
machine = "compact"
tools = "tools.csv"

[design]
file = "block.stl"
units = "mm"
surface = [ { number = 1, gouge = 0.01 }, { near = [20, 15, 0], left_over = 0.02 } ]

[found]
tool_table = "found-tools.csv"
offsets = "found-offsets.csv"

[[operation]]
name = "op 1"
program = "op1.nc"
start_tool = 0

[[operation.offset]]
system = "G54"
origin = [-312.0, -205.0, -400.0]

[[operation.place]]
name = "vise"
offset = "G54"
design = { turn = "none", shift = [0, 0, 0] }

[operation.place.stock]
kind = "box"
low = [-1, -1, -12]
high = [41, 31, 1]

[[operation.place.body]]
name = "fixed jaw"
kind = "fixed jaw"
low = [-20, -31, -40]
high = [60, -1, -8]

[[operation]]
name = "op 2"
program = "op2.nc"

[[operation.place]]
name = "soft jaws"
offset = "G55"

[operation.place.stock]
kind = "from"
operation = "op 1"
turn = "180 about X"
shift = [0, 30, -10]
"""

TOOLS = """\
units = mm
number,name,kind,diameter,corner,point_angle,cutting_length,shank_diameter,stick_out,length,holder
1,end mill 10,flat,10,,,22,10,32,107,collet 34
2,bull nose 8,bull,8,1,,20,8,30,105,collet 34
4,drill 5,drill,5,,118,30,5,40,115,collet 34
"""

FOUND_TOOLS = """\
units = mm
slot,length,length_wear,diameter,diameter_wear
1,107,0,10,0
2,105,-0.02,8,-0.05
"""

FOUND_OFFSETS = """\
units = mm
system,X,Y,Z
G54,-311.64,-205.28,-400
"""

PROGRAM = "%\nO1 (FACE)\nG21 G90\nT1 M6\nG43 H1 Z50.\nM30\n%\n"

MINIMAL = """\
format = 1
units = "mm"
tools = "tools.csv"

[[operation]]
program = "op1.nc"

[[operation.place]]

[operation.place.stock]
kind = "box"
low = [0, 0, -20]
high = [100, 60, 0]

[[operation.place.body]]
kind = "fixed jaw"
low = [-10, -30, -40]
high = [110, 0, -8]

[[operation.place.body]]
kind = "moving jaw"
low = [-10, 60, -40]
high = [110, 90, -8]
"""


def box_triangles(low: tuple[float, float, float], high: tuple[float, float, float]) -> np.ndarray:
    """Corners (12,3,3) of a box, outward."""
    v = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return np.array([v[[a, b, c]] for a, b, c, d in quads for a, b, c in ((a, b, c), (a, c, d))])


def stl(triangles: np.ndarray) -> bytes:
    """Binary STL."""
    record = np.zeros(len(triangles), dtype=[("n", "<f4", (3,)), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["v"] = triangles
    return bytes(80) + len(triangles).to_bytes(4, "little") + record.tobytes()


def stl_text(triangles: np.ndarray) -> bytes:
    """ASCII STL."""
    lines = ["solid box"]
    for three in triangles:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += [f"vertex {x:.6e} {y:.6e} {z:.6e}" for x, y, z in three]
        lines += ["endloop", "endfacet"]
    return ("\n".join([*lines, "endsolid box"]) + "\n").encode()


def three_mf(triangles: np.ndarray, unit: str = "millimeter", transform: str = "") -> bytes:
    """A 3MF package with one object."""
    points, where = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    vertices = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in points)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in where.reshape(-1, 3))
    placed = f' transform="{transform}"' if transform else ""
    model = (
        f'<?xml version="1.0"?><model unit="{unit}" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources><object id="1" type="model">'
        f"<mesh><vertices>{vertices}</vertices><triangles>{faces}</triangles></mesh></object></resources>"
        f'<build><item objectid="1"{placed}/></build></model>'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as box:
        box.writestr("3D/3dmodel.model", model)
    return out.getvalue()


BLOCK = box_triangles((0.0, 0.0, -10.0), (40.0, 30.0, 0.0))


def files() -> dict[str, bytes]:
    """The whole job by file name."""
    text = {
        "shop.toml": SHOP, "job.toml": JOB, "tools.csv": TOOLS, "found-tools.csv": FOUND_TOOLS,
        "found-offsets.csv": FOUND_OFFSETS, "op1.nc": PROGRAM, "op2.nc": PROGRAM,
    }  # fmt: skip
    return {**{name: body.encode() for name, body in text.items()}, "block.stl": stl(BLOCK)}


def write(folder: Path, content: dict[str, bytes]) -> Path:
    """Put the files into a folder."""
    for name, body in content.items():
        (folder / name).write_bytes(body)
    return folder
