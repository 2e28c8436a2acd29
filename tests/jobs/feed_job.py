"""A tiny job for suggested feeds: a slot, a wall that stays, a drilled and a tapped hole; texts and tables may be changed."""

from pathlib import Path

SHOP = """format = 1
units = "mm"
[[machine]]
name = "m"
travel = {{ X = [-500, 0], Y = [-400, 0], Z = [-420, 0] }}
rapid = {{ X = 24000, Y = 24000, Z = 18000 }}
acceleration = {{ X = 3.0, Y = 3.0, Z = 2.5 }}
feed_limit = {feed_limit}
table_z = -520
corner_tolerance = 0.01
settle = 0.02
[machine.spindle]
rpm = [50, 12000]
{curve}
run_up = 1.5
[machine.magazine]
positions = 20
change = 4.0
change_at = {{ Z = 0 }}
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
start_units = "mm"
dwell = "ms"
[[material]]
name = "test alloy"
kc11 = {kc11}
mc = {mc}
radial = [0.3, 0.4]
tap_kc = 800
{life}
source = "invented"
"""
JOB = """format = 1
units = "mm"
part = "feed block"
tools = "tools.csv"
shop = "shop.toml"
machine = "m"
material = "test alloy"
quantity = 10
invented = true
[[operation]]
name = "op 1"
program = "op1.nc"
subprograms = ["sub.nc"]
[[operation.offset]]
system = "G54"
origin = [-300, -200, -300]
[[operation.place]]
name = "vise"
offset = "G54"
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
TOOLS = """units = mm
number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,teeth,point_angle,pitch,max_rpm,chip_high,material
1,end mill 10,flat,10,22,10,30,115,40,40,3,,,{rpm},{chip},carbide
2,drill 5,drill,5,40,5,50,125,40,40,2,118,,15000,{drill},carbide
3,tap M6,tap,6,20,6,50,125,40,40,3,,1,3000,,hss
"""
NC = """%\r
(slot, then a wall: F100 in a comment is no word)\r
G21 G90 G17 G54 G94\r
T1 M6\r
S5000 M3\r
G0 X-10. Y20.\r
G43 H1 Z20.\r
G0 Z-4.\r
g1 x70. f 900. (slot)\r
G0 Z20.\r
G0 X-10. Y5.5 Z20.\r
G0 Z-{deep}\r
M98 P100\r
G0 Z20.\r
T2 M6\r
S3000 M3\r
G0 X15. Y32.\r
G43 H2 Z20.\r
G99 G81 X15. Y32. Z-12. R2. F400\r
X30.\r
X45.\r
G80\r
T3 M6\r
S300 M3\r
G0 X15. Y32.\r
G43 H3 Z20.\r
G99 G84 X15. Y32. Z-8. R3. F300.\r
G80\r
G0 Z50.\r
M30\r
%\r
"""
SUB = "O100\nG1 X70. F800.0 ;wall\nG0 Y5.\nG1 X-10.\nM99\n"
TEXTS = {
    "feed_limit": "8000", "curve": "curve = [[1000, 30, 3140], [6000, 12, 7540], [12000, 6, 7540]]", "kc11": "800",
    "mc": "0.25", "life": "", "rpm": "15000", "chip": "0.2", "drill": "0.2", "deep": "6.",
}  # fmt: skip


def write(folder: Path, *, nc: str = NC, sub: str = SUB, **texts: str) -> Path:
    """The job folder, with some texts changed."""
    texts = {**TEXTS, **texts}
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(SHOP.format(**texts))
    (folder / "job.toml").write_text(JOB)
    (folder / "tools.csv").write_text(TOOLS.format(**texts))
    (folder / "op1.nc").write_bytes(nc.format(**texts).encode())
    (folder / "sub.nc").write_bytes(sub.encode())
    return folder
