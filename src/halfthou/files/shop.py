"""Machines, spindle, magazine, control and machine codes of a shop file."""

import math
import re
from typing import Any

from halfthou.files.bands import BANDS
from halfthou.files.node import MOST, UNKNOWN, Node
from halfthou.nouns.machine import AXES, Axis, CodeEffect, Control, Machine, Magazine, Probe, Rotary, Setter, Spindle

Questions = list[str]
Three = tuple[float | None, float | None, float | None]
LENGTH_METHODS = {
    "gauge line": "gauge-line", "reference tool": "reference-tool", "touched off": "touched-off", "none": "none",
}  # fmt: skip
_SYSTEM = re.compile(r"^G(5[4-9])(?:\.([123]))?(?:\s*P([0-9]{1,4}))?$")


def system_of(word: str) -> int | None:
    """Number of a work offset: 1..9 for G54..G59.3, 101.. for G54.1 P1..; None when it is none."""
    match = _SYSTEM.match(word.strip().upper())
    if match is None:
        return None
    whole, part, p = int(match.group(1)), match.group(2), match.group(3)
    if p is not None:
        return 100 + int(p) if whole == 54 and part == "1" and int(p) > 0 else None
    if part is None:
        return whole - 53
    return 6 + int(part) if whole == 59 else None


def axes_of(node: Node, key: str, kind: str = "length", band: str = "") -> Three:
    """`{ X = …, Z = … }`: a number an axis, None where nothing is stated."""
    inner = node.child(key, None)
    if inner is None:
        return (None, None, None)
    found = tuple(inner.number(axis, None, kind=kind, band=band) for axis in AXES)
    inner.done()
    return (found[0], found[1], found[2])


def nothing_stated(questions: Questions) -> Machine:
    """The machine of a job that names none: travels without end, rapids not a number, everything asked."""
    questions.append(
        "machine: none stated. Travels, rapids, spindle, magazine and the habits of the control are not known: "
        "over-travel, cycle time and spindle are not checked"
    )
    axes = tuple(
        Axis(name=n, low_mm=-math.inf, high_mm=math.inf, rapid_mm_per_s=math.nan, accel_mm_per_s2=None) for n in AXES
    )
    return Machine(
        name="not stated", axes=(axes[0], axes[1], axes[2]), feed_limit_mm_per_s=None,
        spindle=Spindle(least_rpm=0.0, most_rpm=math.inf), magazine=Magazine(positions=0),
        control=Control(magazine_positions=9999, register_slots=9999), notes=("no machine stated",),
    )  # fmt: skip


def machine_of(node: Node, questions: Questions) -> tuple[Machine, float | None]:
    """One machine table, and the gauge length of its reference tool when the control counts from one."""
    name = node.text("name", "machine")
    axes = _axes(node, name, questions)
    magazine = _magazine(node, name, questions)
    control, reference = _control(node, name, magazine.positions, questions)
    turning = node.child("rotary", None)
    probe, setter = node.child("probe", None), node.child("setter", None)
    machine = Machine(
        name=name, axes=axes, feed_limit_mm_per_s=node.number("feed_limit", None, kind="per minute", band="feed limit"),
        spindle=_spindle(node, name, questions), magazine=magazine, control=control,
        probe=_probe(probe) if probe else None, setter=_setter(setter) if setter else None,
        table_z_mm=node.number("table_z", None, kind="length", band="machine position"),
        table_low_mm=node.vector("table_low", 2, None, band="position"), table_high_mm=node.vector("table_high", 2, None, band="position"),
        corner_mm=node.number("corner_tolerance", None, kind="length", over=0, band="corner tolerance"),
        settle_s=node.number("settle", None, least=0, band="settle"),
        rotary=_turning(turning, name, control, questions) if turning else None,
    )  # fmt: skip
    node.done()
    return machine, reference


def _turning(node: Node, name: str, control: Control, questions: Questions) -> Rotary | None:
    """`[machine.rotary]`."""
    axis = node.text("axis", words=("A", "B")).upper()
    if axis and axis not in control.rotary_axes:
        node.complain(
            "F006", "axis", f"the control has no {axis} axis in its list rotary",
            do=f'write rotary = ["{axis}"] in the control table',
        )  # fmt: skip
    centre = node.vector("centre", 2, band="machine position")
    low, high = node.vector("range", 2, (None, None), kind="degree", band="rotary angle")
    if low is not None and low >= high:
        node.complain("F009", "range", "range: the first angle is not below the second", do="low value first")
    time, s_per_rad, each = node.child("time", None), None, None
    if time is not None:
        per_degree = time.number("degree", None, least=0, band="rotary time")
        s_per_rad = None if per_degree is None else math.degrees(per_degree)
        each = time.number("turn", None, least=0, band="rotary turn")
        time.done()
    hand = node.text("positive", None, words=("right-handed", "left-handed"))
    if low is None:
        questions.append(f"machine {name}: the range of {axis} is not stated, it is not checked")
    if hand is None:
        questions.append(
            f"machine {name}: which way a positive {axis} turns the part is not stated (positive): right-handed is taken"
        )
    node.done()
    if not axis:
        return None
    return Rotary(
        axis=axis, centre_mm=(centre[0], centre[1]), low_rad=low, high_rad=high, s_per_rad=s_per_rad, each_s=each,
        left_handed=hand == "left-handed",
    )  # fmt: skip


def _axes(node: Node, name: str, questions: Questions) -> tuple[Axis, Axis, Axis]:
    travel, rapid = node.child("travel", None), node.child("rapid", None)
    accel, jerk = _per_axis(node, "acceleration"), _per_axis(node, "jerk")
    found = []
    for axis in AXES:
        low, high = -math.inf, math.inf
        if travel is not None:
            low, high = travel.vector(axis, 2, band="machine position")
            if low >= high:
                travel.complain(
                    "F009", axis, f"travel of {axis}: {low:g} mm is not below {high:g} mm", do="low value first"
                )
            elif math.isfinite(high - low):
                travel.judge(axis, high - low, BANDS["travel"], f"a stroke of {high - low:g} mm")
        speed = math.nan if rapid is None else rapid.number(axis, kind="per minute", over=0, band="rapid")
        found.append(
            Axis(
                name=axis, low_mm=low, high_mm=high, rapid_mm_per_s=speed,
                accel_mm_per_s2=_axis_value(accel, axis, "acceleration"), jerk_mm_per_s3=_axis_value(jerk, axis, "jerk"),
            )
        )  # fmt: skip
    for inner in (travel, rapid, accel, jerk):
        if inner is not None:
            inner.done()
    for inner, what in ((travel, "travel: over-travel is"), (rapid, "rapid: cycle time is")):
        if inner is None:
            questions.append(f"machine {name}: no {what} not checked")
    if accel is None:
        questions.append(f"machine {name}: acceleration not known, a band is used for the cycle time")
    return found[0], found[1], found[2]


def _per_axis(node: Node, key: str) -> Node | None:
    if node.has(key) and node.data[key] == UNKNOWN:
        return None
    return node.child(key, None)


def _axis_value(inner: Node | None, axis: str, band: str) -> float | None:
    if inner is None or (inner.has(axis) and inner.data[axis] == UNKNOWN):
        return None
    value: float | None = inner.number(axis, None, kind="m/s", over=0, band=band)
    return value


def _spindle(node: Node, name: str, questions: Questions) -> Spindle:
    inner = node.child("spindle", None)
    if inner is None:
        questions.append(f"machine {name}: no spindle table, speeds and the spindle nose are not checked")
        return Spindle(least_rpm=0.0, most_rpm=math.inf)
    least, most = inner.vector("rpm", 2, kind="plain", band="spindle rpm", least=0)
    if least >= most:
        inner.complain("F009", "rpm", f"speed range {least:g} to {most:g} is upside down", do="rpm = [lowest, highest]")
    nose = inner.child("nose", None)
    width = length = None
    if nose is not None:
        width = nose.number("diameter", kind="length", over=0, band="nose diameter")
        length = nose.number("length", kind="length", over=0, band="nose length")
        nose.done()
    else:
        questions.append(f"machine {name}: spindle nose not stated, it is not checked for contact")
    curve = _curve(inner)
    if not curve:
        questions.append(f"machine {name}: spindle curve not known, power and torque are not checked")
    stiff = inner.number("stiffness", None, over=0, band="stiffness")  # N/µm
    spindle = Spindle(
        least_rpm=least, most_rpm=most, curve=curve, short_curve=_curve(inner, "short_curve"),
        short_s=inner.number("short_time", None, over=0, band="short time"),
        stiffness_n_per_mm=None if stiff is None else stiff * 1000.0, run_up_s=inner.number("run_up", None, over=0, band="run-up"),
        nose_diameter_mm=width, nose_length_mm=length, through_coolant=inner.flag("through_coolant", False),
    )  # fmt: skip
    inner.done()
    return spindle


def _curve(inner: Node, key: str = "curve") -> tuple[tuple[float, float, float], ...]:
    if not inner.has(key) or inner.data[key] == UNKNOWN:
        return ()
    rows = inner.data[key]
    found: list[tuple[float, float, float]] = []
    for i, row in enumerate(rows if isinstance(rows, list) else [rows]):
        numbers = isinstance(row, list) and len(row) == 3
        if not numbers or not all(isinstance(v, int | float) and not isinstance(v, bool) and 0 < v < MOST for v in row):
            inner.complain("F103", f"{key}.{i}", "each row of the curve is [rpm, N·m, W], all above zero")
            return ()
        rpm, torque, power = (float(v) for v in row)
        for value, band in ((rpm, "spindle rpm"), (torque, "torque"), (power, "power")):
            inner.judge(key, value, BANDS[band], f"{value:g} {BANDS[band].shown}")
        if found and rpm <= found[-1][0]:
            inner.complain("F103", f"{key}.{i}", f"{rpm:g} rpm is not above the row before", do="sort the rows by rpm")
        physical = torque * rpm * 2 * math.pi / 60
        if physical > 1.2 * power and key not in inner.sure:
            inner.complain(
                "F103", f"{key}.{i}", f"{torque:g} N·m at {rpm:g} rpm is {physical:.0f} W, more than the {power:g} W stated",
                "power = torque · 2π · rpm / 60 (definition); a fifth more is let through.",
                'W, not kW; N·m, not another unit; or ' + f'sure = ["{key}"]',
            )  # fmt: skip
        found.append((rpm, torque, power))
    return tuple(found)


def _magazine(node: Node, name: str, questions: Questions) -> Magazine:
    inner = node.child("magazine", None)
    if inner is None:
        questions.append(f"machine {name}: no magazine table, its limits and the change time are not checked")
        return Magazine(positions=0)
    magazine = Magazine(
        positions=inner.whole("positions", least=1, band="magazine positions"),
        change_s=inner.number("change", None, over=0, band="tool change"),
        most_diameter_mm=inner.number("max_diameter", None, kind="length", over=0, band="magazine diameter"),
        most_diameter_alone_mm=inner.number(
            "max_diameter_alone", None, kind="length", over=0, band="magazine diameter"
        ),
        most_length_mm=inner.number("max_length", None, kind="length", over=0, band="magazine length"),
        most_mass_kg=inner.number("max_mass", None, over=0, band="tool mass"),
        change_at_mm=axes_of(inner, "change_at", band="machine position"),
    )
    inner.done()
    return magazine


def _control(node: Node, name: str, positions: int, questions: Questions) -> tuple[Control, float | None]:
    codes = tuple(_code(inner) for inner in node.children("code"))
    seen: set[str] = set()
    for written, code in zip(node.children("code"), codes, strict=True):
        if code.word in seen:
            written.complain("F102", "word", f"{code.word} is declared twice", do="leave one [[machine.code]] out")
        seen.add(code.word)
    inner = node.child("control", None)
    slots = positions or 9999
    if inner is None:
        questions.append(f"machine {name}: no control table, the habits of the control are taken as stated in the docs")
        return Control(magazine_positions=slots, register_slots=max(slots, 200), codes=codes), None
    method = inner.text("length", "", words=LENGTH_METHODS)
    reference = inner.number("reference_length", None, kind="length", over=0, band="gauge length")
    if method == "reference tool" and reference is None:
        questions.append(
            f"machine {name}: reference_length of the reference tool not stated: give length_register a tool"
        )
    decimals = inner.text("decimals", "as written", words=("as written", "least increment"))
    home28, home30 = (inner.vector(key, 3, (0.0,) * 3, band="machine position") for key in ("home28", "home30"))
    radius = inner.text("radius", None, words=("diameter", "radius", "wear"))
    programs = inner.text("programs", "contour", words=("contour", "tool centre"))
    control = Control(
        profile=inner.text("profile", "mill", words=("mill", "strict")),
        start_units=inner.text("start_units", None, words=("mm", "inch")),
        decimal_mode="least_increment" if decimals == "least increment" else "as_written",
        dwell_unit=inner.text("dwell", None, words=("s", "ms")),
        rapid_path=inner.text("rapid_path", None, words=("straight", "dog-leg")),
        home28_mm=home28, home30_mm=home30,
        peck_clearance_mm=inner.number("peck_clearance", 0.254, kind="length", least=0),
        cycle_prelim=inner.text("cycle_start", "", words=("plane-first", "depth-first")),
        extra_offsets=inner.whole("extra_offsets", 0), magazine_positions=slots,
        register_slots=inner.whole("register_slots", max(slots, 200), least=1),
        feed_reference=inner.text("feed_reference", "centre", words=("centre", "contour")),
        helix_feed=inner.text("helix_feed", "path", words=("path", "plane")),
        atan_range=inner.text("atan_range", "signed", words=("signed", "positive")),
        g10_tools=inner.flag("g10_tools", False), block_budget=inner.whole("block_budget", 1_000_000, least=1),
        length_method=LENGTH_METHODS.get(method), radius_register=radius, centre_programs=programs == "tool centre",
        offset_parts=_parts(inner), probe_word=inner.text("probe", "G38.2").upper(), rotary_axes=_rotary(inner),
        codes=codes,
    )  # fmt: skip
    asked = (("length", method), ("radius", radius), ("dwell", control.dwell_unit), ("rapid_path", control.rapid_path),
             ("start_units", control.start_units))  # fmt: skip
    missing = [key for key, value in asked if not value]
    if missing:
        questions.append(f"machine {name}: control does not state {', '.join(missing)}")
    inner.done()
    return control, reference


def _parts(inner: Node) -> str | None:
    word = inner.text("registers", None, words=("one value", "geometry and wear"))
    return {"one value": "one", "geometry and wear": "geometry+wear"}.get(word or "")


def _rotary(inner: Node) -> tuple[str, ...]:
    value = inner.data.get("rotary", []) if inner.has("rotary") else []
    if not isinstance(value, list) or any(axis not in ("A", "B", "C") for axis in value):
        inner.complain("F005", "rotary", 'rotary should be a list of "A", "B", "C"')
        return ()
    return tuple(value)


def _code(node: Node) -> CodeEffect:
    """One `[[machine.code]]`."""
    word = node.text("word").strip().upper()
    match = re.match(r"^([MGO])0*(\d+(?:\.\d)?)$", word)
    if word and match is None:
        node.complain("F104", "word", f"{word!r} is no code", do="write M88, G100 or O9001")
    sweeps, low, high = node.child("sweeps", None), None, None
    if sweeps is not None:
        low, high = (sweeps.vector(key, 3, band="machine position") for key in ("low", "high"))
        if any(a > b for a, b in zip(low, high, strict=True)):
            sweeps.complain("F009", "low", "a low corner lies above the high corner")
        sweeps.done()
    offset = node.text("sets_offset", "")
    number = system_of(offset) if offset else 0
    if number is None:
        node.complain("F203", "sets_offset", f"{offset!r} is no work offset", do="G54 … G59.3 or G54.1 P1 …")
    parameters = node.data.get("sets_parameters", []) if node.has("sets_parameters") else []
    if not isinstance(parameters, list) or not all(isinstance(p, int) and not isinstance(p, bool) for p in parameters):
        node.complain("F005", "sets_parameters", "sets_parameters should be a list of whole numbers")
        parameters = []
    kinds: dict[str, Any] = {
        "coolant": node.text("coolant", "", words=("flood", "mist", "through", "air", "off")),
        "spindle": node.text("spindle", "", words=("cw", "ccw", "stop", "orient")),
    }
    effect = CodeEffect(
        word=f"{match.group(1)}{match.group(2)}" if match else word, what=node.text("what", ""), **kinds,
        stop=node.flag("stop", False), time_s=node.number("time", 0.0, least=0),
        after_motion=node.flag("after_motion", False), ends_at_mm=axes_of(node, "ends_at", band="machine position"),
        sweeps_low_mm=low, sweeps_high_mm=high, arguments=node.text("arguments", "").upper(),
        sets_parameters=tuple(parameters), sets_length=node.flag("sets_length", False), sets_offset=number or 0,
        changes_tool=node.flag("changes_tool", False), place=node.sheet.place((*node.path, "word")),
    )  # fmt: skip
    node.done()
    return effect


def _probe(node: Node) -> Probe:
    probe = Probe(
        std_mm=node.number("std", None, kind="length", over=0),
        ball_diameter_mm=node.number("ball", None, kind="length", over=0, band="tool diameter"),
    )
    node.done()
    return probe


def _setter(node: Node) -> Setter:
    setter = Setter(
        std_mm=node.number("std", None, kind="length", over=0),
        least_diameter_by_contact_mm=node.number("least_diameter", None, kind="length", over=0, band="tool diameter"),
    )
    node.done()
    return setter
