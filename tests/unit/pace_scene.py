"""A small job that is timed: two tools, a square, a hole, a subprogram called twice."""

from pathlib import Path

PROGRAM = """%
O1
G21 G90 G17 G54
T1 M6
S6000 M3
G0 X0 Y0 Z10
N70 G1 Z-1 F300
N80 X50 F1200
N90 Y50
N100 X0
N110 Y0
G0 Z10
T2 M6
S3000 M3
M98 P2
G0 X20
M98 P2
G0 Z50
M30
O2
G0 Y20
G0 Z2
G1 Z-5 F200
G0 Z2
M99
%
"""

JOB = """format = 1
units = "mm"
part = "square"
[machine]
name = "m"
travel = { X = [-700, 100], Y = [-500, 100], Z = [-500, 0] }
rapid = { X = 20000, Y = 20000, Z = 20000 }
acceleration = "not known"
[machine.spindle]
rpm = [50, 12000]
curve = "not known"
[machine.magazine]
positions = 20
[machine.control]
profile = "mill"
length = "gauge line"
[[operation]]
name = "op 1"
program = "p.nc"
[[operation.offset]]
system = "G54"
origin = [-300, -200, -300]
[[operation.place]]
name = "vise"
offset = "G54"
[operation.place.stock]
kind = "box"
low = [0, 0, -10]
high = [50, 50, 0]
""" + "".join(
    f"""[[tool]]
number = {t}
name = "em{t}"
kind = "flat"
diameter = 8
cutting_length = 30
shank_diameter = 8
stick_out = 40
length = 100
holder_diameter = 30
holder_length = 40
"""
    for t in (1, 2)
)


def write(folder: Path, times: str) -> Path:
    """The job folder with a file of times; returns that file."""
    (folder / "p.nc").write_text(PROGRAM)
    (folder / "job.toml").write_text(JOB)
    path = folder / "times.csv"
    path.write_text(times)
    return path
