"""Plausible bands: what a shop's number usually is, and what is asked back when it is not."""

from dataclasses import dataclass
from types import MappingProxyType

NO_SOURCE = "common practice, no source"
G_MM_PER_S2 = 9806.65  # standard gravity


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A value outside low..high is asked back; above `refuse` it is refused even when confirmed.

    Bounds in the unit inside: mm, mm/s, mm/s², rad, or as `shown`. `per`: how many of those make one of the unit shown.
    """

    name: str
    low: float
    high: float
    shown: str
    per: float = 1.0
    refuse: float | None = None
    why: str = ""
    source: str = NO_SOURCE

    def range_text(self) -> str:
        """The band in the unit shown."""
        return f"{self.low / self.per:g} to {self.high / self.per:g} {self.shown}"


M_PER_MIN = 1000.0 / 60.0
DEGREE = 3.141592653589793 / 180.0

_BANDS = (
    Band(name="travel", low=50, high=5000, shown="mm", why="stroke of an axis of a machining centre"),
    Band(name="machine position", low=-6000, high=6000, shown="mm", why="machine coordinate of an axis"),
    Band(name="rapid", low=M_PER_MIN, high=100 * M_PER_MIN, shown="m/min", per=M_PER_MIN,
         why="rapid of an axis; hundreds of m/min are asked back"),
    Band(name="feed limit", low=M_PER_MIN, high=100 * M_PER_MIN, shown="m/min", per=M_PER_MIN,
         why="highest cutting feed of a machine"),
    Band(name="acceleration", low=200, high=G_MM_PER_S2, refuse=2 * G_MM_PER_S2, shown="m/s²", per=1000,
         why="acceleration of an axis: small machines 1 to 6 m/s², more than 1 g is rare, more than 2 g is refused"),
    Band(name="jerk", low=1000, high=1_000_000, shown="m/s³", per=1000, why="jerk limit of an axis"),
    Band(name="spindle rpm", low=10, high=60_000, shown="rpm", why="speed of a milling spindle"),
    Band(name="torque", low=0.05, high=1000, shown="N·m", why="torque of a milling spindle"),
    Band(name="power", low=50, high=60_000, shown="W", why="power of a milling spindle; W, not kW"),
    Band(name="run-up", low=0.1, high=20, shown="s", why="standstill to full speed"),
    Band(name="nose diameter", low=30, high=400, shown="mm", why="spindle nose"),
    Band(name="nose length", low=10, high=600, shown="mm", why="spindle nose"),
    Band(name="magazine positions", low=1, high=400, shown="positions", why="tool magazine"),
    Band(name="tool change", low=0.3, high=60, shown="s", why="tool out to tool in"),
    Band(name="magazine diameter", low=20, high=400, shown="mm", why="largest tool of a magazine"),
    Band(name="magazine length", low=50, high=1000, shown="mm", why="longest tool of a magazine"),
    Band(name="tool mass", low=0.05, high=40, shown="kg", why="tool with holder"),
    Band(name="corner tolerance", low=0.0005, high=1, shown="mm", why="contour tolerance in continuous mode"),
    Band(name="settle", low=0, high=1, shown="s", why="in-position time at an exact stop"),
    Band(name="tool diameter", low=0.05, high=250, shown="mm", why="cutting diameter of a milling tool"),
    Band(name="shank", low=1, high=100, shown="mm", why="shank of a milling tool"),
    Band(name="cutting length", low=0.05, high=300, shown="mm", why="usable cutting length"),
    Band(name="stick-out", low=3, high=500, shown="mm", why="tip to holder face"),
    Band(name="gauge length", low=20, high=800, shown="mm", why="tip to gauge line"),
    Band(name="holder diameter", low=5, high=250, shown="mm", why="holder below the gauge line"),
    Band(name="holder length", low=1, high=500, shown="mm", why="holder below the gauge line"),
    Band(name="slenderness", low=0.02, high=30, shown="times the diameter",
         why="stick-out of a tool against its diameter"),
    Band(name="teeth", low=1, high=60, shown="teeth", why="edges of a milling tool"),
    Band(name="helix", low=0, high=65 * DEGREE, shown="degrees", per=DEGREE, why="helix of the edges"),
    Band(name="pitch", low=0.1, high=10, shown="mm", why="pitch of taps and thread mills"),
    Band(name="point angle", low=30 * DEGREE, high=180 * DEGREE, shown="degrees", per=DEGREE,
         why="included angle at the point"),
    Band(name="tool rpm", low=100, high=120_000, shown="rpm", why="marked maximum speed of tool or holder"),
    Band(name="length band", low=0.001, high=5, shown="mm", why="plausible ± of a measured tool length"),
    Band(name="wear", low=-2, high=2, shown="mm", why="wear entry of a tool table"),
    Band(name="stock size", low=1, high=3000, shown="mm", why="side of a piece of raw stock"),
    Band(name="body size", low=0.5, high=5000, shown="mm", why="side of a jaw, clamp or plate"),
    Band(name="position", low=-3000, high=3000, shown="mm", why="coordinate on the table"),
    Band(name="limit", low=0.0005, high=2, shown="mm", why="limit against the design"),
    Band(name="kc1.1", low=50, high=6000, shown="MPa", why="specific cutting force at a chip of 1 mm"),
    Band(name="mc", low=0, high=0.6, shown="", why="exponent of the specific cutting force"),
    Band(name="radial share", low=0.05, high=1.5, shown="times the tangential force", why="radial force of an edge"),
    Band(name="tap kc", low=100, high=8000, shown="MPa", why="specific force of a tap"),
    Band(name="cutting speed", low=1, high=3000, shown="metres a minute", why="speed at the cutting edge"),
    Band(name="life", low=0.5, high=10_000, shown="min", why="cutting time of one tool"),
    Band(name="life exponent", low=0.05, high=0.8, shown="", why="n of v·T^n = C"),
    Band(name="short time", low=1, high=3600, shown="s", why="how long the spindle gives its short-time power"),
    Band(name="life spread", low=0.5, high=20, shown="", why="Weibull shape of tool life"),
    Band(name="chip", low=0.0005, high=2, shown="mm", why="chip thickness of one tooth"),
    Band(name="stiffness", low=0.1, high=1000, shown="N/µm", why="stiffness sideways"),
    Band(name="rotary angle", low=-36_000 * DEGREE, high=36_000 * DEGREE, shown="degrees", per=DEGREE,
         why="travel of a rotary axis"),
    Band(name="rotary time", low=0.0005, high=0.5, shown="s a degree", why="one degree of a rotary axis at rapid"),
    Band(name="rotary turn", low=0, high=20, shown="s", why="unclamp, settle and clamp of a rotary axis"),
    Band(name="density", low=0.8, high=20, shown="kg/dm³", why="density of a material"),
)  # fmt: skip

BANDS = MappingProxyType({band.name: band for band in _BANDS})


def slip_hints(value: float, band: Band, unit: str) -> tuple[str, ...]:
    """What may have slipped: the other length unit, or the decimal point. `value` as in the band."""
    hints: list[str] = []
    lengths = band.shown in ("mm", "m/min")
    if lengths and unit == "inch" and band.low <= value / 25.4 <= band.high:
        hints.append("if the number were mm, not inch")
    if lengths and unit == "mm" and band.low <= value * 25.4 <= band.high:
        hints.append("if the number were inch, not mm")
    for factor in (10.0, 1000.0):
        if band.low <= value / factor <= band.high or band.low <= value * factor <= band.high:
            hints.append(f"if the decimal point slipped by a factor of {factor:g}")
            break
    return ("it would fit " + ", or ".join(hints),) if hints else ()
