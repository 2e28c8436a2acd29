"""The machine: axes, spindle, changer, probe, and the habits of its control."""

from dataclasses import dataclass, field

from halfthou.base.place import Place

AXES = ("X", "Y", "Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One linear axis. Travels are machine coordinates of the gauge line (spindle nose)."""

    name: str
    low_mm: float
    high_mm: float
    rapid_mm_per_s: float
    accel_mm_per_s2: float | None  # None: not known, a band is used and named
    jerk_mm_per_s3: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spindle:
    """Speed range and torque/power curve; `curve` rows are (rpm, N·m, W), () when not known."""

    least_rpm: float
    most_rpm: float
    curve: tuple[tuple[float, float, float], ...] = ()
    short_curve: tuple[tuple[float, float, float], ...] = ()  # the same for a short time, () when not known
    short_s: float | None = None  # for how long
    stiffness_n_per_mm: float | None = None  # sideways at the nose, holder excluded; None = a band is used and named
    run_up_s: float | None = None  # standstill to most_rpm
    nose_diameter_mm: float | None = None  # spindle nose above the gauge line, for contacts
    nose_length_mm: float | None = None
    through_coolant: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Magazine:
    """Tool magazine and its limits; None = not stated, said as 'not checked'."""

    positions: int
    change_s: float | None = None  # chip to chip is longer; this is tool out to tool in
    most_diameter_mm: float | None = None
    most_diameter_alone_mm: float | None = None  # with empty neighbours
    most_length_mm: float | None = None
    most_mass_kg: float | None = None
    change_at_mm: tuple[float | None, float | None, float | None] = (None, None, None)  # machine coordinates


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeEffect:
    """What a machine-specific code does, as the shop file declares it.

    `word` is "M88", "G100", "O9001" (a called program, also for G65 P9001). A code with motion states the space it
    sweeps and where it ends (machine coordinates; None on an axis = stays). Nothing stated = no motion, no effect.
    """

    word: str
    what: str = ""
    coolant: str = ""  # "", "flood", "mist", "through", "air", "off"
    spindle: str = ""  # "", "cw", "ccw", "stop", "orient"
    stop: bool = False  # waits for a person
    time_s: float = 0.0
    after_motion: bool = False  # acts after the motion of its block
    ends_at_mm: tuple[float | None, float | None, float | None] = (None, None, None)
    sweeps_low_mm: tuple[float, float, float] | None = None
    sweeps_high_mm: tuple[float, float, float] | None = None
    arguments: str = ""  # letters the code takes on its block, for example "HDP"
    sets_parameters: tuple[int, ...] = ()  # their values are not known afterwards
    sets_length: bool = False  # measures the tool in the spindle
    sets_offset: int = 0  # work offset number 1..9 whose value is not known afterwards
    changes_tool: bool = False
    place: Place = field(default_factory=lambda: Place(file=""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """Habits of the control that decide what a program means (language reference, by section)."""

    profile: str = "mill"  # "mill" or "strict"
    start_units: str | None = None  # "mm", "inch"; None = the file does not say (mm is used and said)
    decimal_mode: str = "as_written"  # or "least_increment" (2.5)
    least_increment_mm: float = 0.001
    least_increment_inch: float = 0.0001
    dwell_unit: str | None = None  # "s", "ms"; None = whole number ms, with a point s, warned (9)
    rapid_path: str | None = None  # "straight", "dog-leg"; None = both are checked (8.5)
    home28_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    home30_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    peck_clearance_mm: float = 0.254
    cycle_prelim: str = ""  # start below R: "" warns, "plane-first", "depth-first"
    extra_offsets: int = 0  # number of G54.1 P systems
    magazine_positions: int = 24
    register_slots: int = 200  # length and radius registers
    feed_reference: str = "centre"  # "centre" or "contour" (8.1)
    helix_feed: str = "path"  # "path" or "plane" (8.1)
    atan_range: str = "signed"  # "signed" (-180,180] or "positive" [0,360)
    g10_tools: bool = False  # G10 L1/L10..L13 may set tool registers
    block_budget: int = 1_000_000  # executed blocks before a loop is called endless
    length_method: str | None = None  # "gauge-line", "reference-tool", "touched-off", "none"; None = not stated
    radius_register: str | None = None  # "diameter", "radius", "wear"; None = not stated
    centre_programs: bool = False  # programs give the tool-centre path; registers hold wear only
    offset_parts: str | None = None  # "one" value or "geometry+wear"
    probe_word: str = "G38.2"
    rotary_axes: tuple[str, ...] = ()
    codes: tuple[CodeEffect, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Setter:
    """The tool setter: how it measures and what it must not touch."""

    least_diameter_by_contact_mm: float | None = None
    std_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """The touch probe in the spindle."""

    std_mm: float | None = None
    ball_diameter_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rotary:
    """An axis that turns the part between cuts: A about X or B about Y.

    centre_mm: machine coordinates of the centre line, of the gauge line as everywhere: (Y, Z) for A, (X, Z) for B.
    left_handed: a positive angle turns the part against the right-hand rule about the axis.
    """

    axis: str
    centre_mm: tuple[float, float]
    low_rad: float | None = None  # travel; None = not stated
    high_rad: float | None = None
    s_per_rad: float | None = None  # None: a band is used and named
    each_s: float | None = None  # on top of that for every turn: unclamp, settle, clamp
    left_handed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """One machining centre."""

    name: str
    axes: tuple[Axis, Axis, Axis]
    feed_limit_mm_per_s: float | None
    spindle: Spindle
    magazine: Magazine
    control: Control
    probe: Probe | None = None
    setter: Setter | None = None
    table_z_mm: float | None = None  # machine Z of the table top seen by the gauge line; None = not stated
    table_low_mm: tuple[float, float] | None = None
    table_high_mm: tuple[float, float] | None = None
    corner_mm: float | None = None  # contour tolerance in continuous mode; None = not known
    settle_s: float | None = None  # in-position time at exact stop
    entry_step_mm: float = 0.001
    notes: tuple[str, ...] = ()
    rotary: Rotary | None = None  # None = none stated
