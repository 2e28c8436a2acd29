"""Runs a file of NC language cases: `python -m tests.published.nc_cases FILE`; closes with 'N passed, N failed'.

The cases in nc-cases.json name their source one by one: NISTIR 6556 (2000, public domain), worked by hand from it, or
common practice (from memory). Conventions of the file: a key that is absent is not judged; a program without an end is
accepted unless the case expects an error about it.
"""

import json
import math
import sys
from pathlib import Path
from typing import Any

from halfthou.base.errors import ProgramError
from halfthou.nc.codes import CODES
from halfthou.nc.interpret import interpret
from halfthou.nc.start import Start
from halfthou.nouns.machine import CodeEffect, Control
from halfthou.nouns.moves import PROBE_CONTACT, STOP_RETRACT, TAPPING, Kind, Reading
from halfthou.nouns.program import Program

DEFAULT_TOOLS = {
    "1": {"length": 50, "diameter": 10}, "2": {"length": 75, "diameter": 6}, "3": {"length": 100, "diameter": 12},
}  # fmt: skip
SYSTEMS = {"G54": 1, "G55": 2, "G56": 3, "G57": 4, "G58": 5, "G59": 6, "G59.1": 7, "G59.2": 8, "G59.3": 9}
ABOUT_ENDS = ("missing-end-marker", "no-program-end")
EFFECTS = {"stop": {"stop": True}, "through": {"coolant": "through"}, "flood": {"coolant": "flood"}}


def program_of(text: str) -> Program:
    """The case's text as a program; the last line end makes no line."""
    lines = text.split("\n")
    if lines and lines[-1] == "":
        lines.pop()
    return Program(name="case.nc", file="case.nc", sha256="", raw=text.encode(), lines=tuple(lines))


def control_of(case: dict[str, Any], profile: str) -> Control:
    """The machine habits a case sets up."""
    setup = case["setup"]
    options: dict[str, Any] = {"profile": profile, "magazine_positions": setup.get("magazine_positions", 24)}
    options["start_units"] = setup.get("units", "mm")
    options["register_slots"] = setup.get("register_slots", options["magazine_positions"])
    for key in ("peck_clearance", "peck_clearance_mm"):
        if key in setup:
            options["peck_clearance_mm"] = float(setup[key])
    for key, name in (("home28", "home28_mm"), ("home30", "home30_mm")):
        if key in setup:
            options[name] = tuple(float(v) for v in setup[key])
    if "decimal_mode" in setup:
        options["decimal_mode"] = setup["decimal_mode"]
    if "least_increment" in setup:
        options["least_increment_mm"] = float(setup["least_increment"])
    if "ext_offsets" in setup:
        options["extra_offsets"] = 48
    if "max_blocks" in setup:
        options["block_budget"] = int(setup["max_blocks"])
    for key in ("dwell_unit", "cycle_prelim", "feed_reference", "helix_feed", "atan_range"):
        if key in setup:
            options[key] = setup[key]
    if "m_table" in setup:
        effects = [CodeEffect(word=f"M{n}", **EFFECTS.get(what, {})) for n, what in setup["m_table"].items()]
        options["codes"] = tuple(effects)
    return Control(**options)


def start_of(case: dict[str, Any]) -> Start:
    """The state of the control a case sets up."""
    setup, expect = case["setup"], case["expect"]
    unit = 25.4 if setup.get("units") == "inch" else 1.0
    tools = setup.get("tools", DEFAULT_TOOLS)
    registers = {int(n): (t.get("length", 0) * unit, t.get("diameter", 0) * unit / 2) for n, t in tools.items()}
    offsets = {SYSTEMS[name]: tuple(float(v) for v in xyz) for name, xyz in setup.get("offsets", {}).items()}
    offsets |= {100 + int(n): tuple(float(v) for v in xyz) for n, xyz in setup.get("ext_offsets", {}).items()}
    return Start(
        start_machine_mm=tuple(float(v) for v in setup.get("start_machine", (0, 0, 0))),
        offsets=offsets, registers=registers, tools={},
        parameters={int(n): float(v) for n, v in setup.get("params", {}).items()},
        block_delete=bool(setup.get("block_delete", False)),
        end_needed=expect.get("error", {}).get("kind") in ABOUT_ENDS,
        stop_at_m0=bool(setup.get("stop_at_m0", False)),
    )  # fmt: skip


def read(case: dict[str, Any], profile: str, text: str | None = None) -> Reading:
    """Interpret the case's program (or a piece of it)."""
    trips = case["setup"].get("probe_trip")
    contact = None
    if trips is not None:
        contact = lambda ask: tuple(trips[str(ask.line)]) if str(ask.line) in trips else None  # noqa: E731
    program = program_of(case["program"] if text is None else text)
    return interpret(program, (), control_of(case, profile), start_of(case), contact=contact)


def segments_of(reading: Reading) -> list[dict[str, Any]]:
    """The rows as the case file writes them: mm, mm/min, degrees."""
    out: list[dict[str, Any]] = []
    for row in reading.moves.moves:
        kind, line = int(row["kind"]), int(row["line"])
        start, end, centre = row["start_mm"], row["end_mm"], row["centre_mm"]
        feed = float(row["feed_mm_per_s"]) * 60
        if kind == Kind.DWELL:
            out.append({"type": "dwell", "line": line, "seconds": float(row["dwell_s"])})
        elif kind in (Kind.RAPID, Kind.LINE, Kind.PROBE):
            name = {Kind.RAPID: "rapid", Kind.LINE: "feed", Kind.PROBE: "probe"}[Kind(kind)]
            out.append({"type": name, "end": end.tolist(), "line": line, "feed": feed, "length": math.dist(start, end)})
        elif kind == Kind.ARC:
            i, j = {2: (0, 1), 1: (0, 2), 0: (1, 2)}[int(row["normal"])]
            radius = math.hypot(end[i] - centre[i], end[j] - centre[j])
            start_radius = math.hypot(start[i] - centre[i], start[j] - centre[j])
            sweep, normal = float(row["sweep_rad"]), int(row["normal"])
            flat = abs(sweep) * (radius + start_radius) / 2
            out.append({
                "type": "arc", "end": end.tolist(), "centre": [float(centre[i]), float(centre[j])], "line": line,
                "sense": "ccw" if sweep > 0 else "cw", "sweep_deg": math.degrees(abs(sweep)), "radius": radius,
                "plane": {2: "XY", 1: "ZX", 0: "YZ"}[normal], "feed": feed,
                "length": math.hypot(flat, end[normal] - start[normal]),
            })  # fmt: skip
    return out


def same(want: Any, got: Any, tol: float) -> bool:
    """Equal within tol, numbers and lists of numbers."""
    if isinstance(want, list):
        return len(want) == len(got) and all(same(a, b, tol) for a, b in zip(want, got, strict=True))
    if isinstance(want, int | float):
        return abs(float(want) - float(got)) <= tol
    return bool(want == got)


def segment_fits(want: dict[str, Any], got: dict[str, Any], tol: float, unit: float) -> str:
    """ "" if a segment fits, else what does not."""
    for key, value in want.items():
        have = got.get(key)
        if key == "type" and have == "probe" and value == "feed":
            continue
        if have is None:
            return f"{key} missing in {got}"
        if key in ("end", "centre"):
            have = [v / unit for v in have]
        elif key in ("feed", "radius", "length"):
            have = have / unit
        if not same(value, have, max(tol, 1e-6 * abs(value)) if key in ("feed", "length") else tol):
            return f"{key}: {have} for {value}"
    return ""


def judge(case: dict[str, Any], profile: str) -> str:
    """ "" if the case passes, else what is wrong."""
    expect = case["expect"]
    try:
        reading = read(case, profile)
    except ProgramError as error:
        first = error.complaints[0]
        if expect["status"] != "error":
            return f"refused: {first}"
        want = expect["error"]
        if first.kind != want["kind"]:
            return f"kind {first.kind} for {want['kind']}"
        if "line" in want and first.place.line != want["line"]:
            return f"line {first.place.line} for {want['line']}"
        return ""
    if expect["status"] == "error":
        return f"read, but {expect['error']['kind']} is wanted"
    return _judge_reading(case, profile, reading)


def _judge_reading(case: dict[str, Any], profile: str, reading: Reading) -> str:
    expect = case["expect"]
    unit = 25.4 if expect.get("units") == "inch" else 1.0
    tol = float(expect.get("tol", 1e-6))
    final = dict(reading.final)
    for key, value in (("end_work", reading.end_work_mm), ("end_machine", reading.end_machine_mm)):
        if key in expect and not same(expect[key], [v / unit for v in value], tol):
            return f"{key}: {value} for {expect[key]}"
    have = segments_of(reading)
    if "segments" in expect:
        if len(have) != len(expect["segments"]):
            return f"{len(have)} segments for {len(expect['segments'])}: {have}"
        for want, got in zip(expect["segments"], have, strict=True):
            if wrong := segment_fits(want, got, tol, unit):
                return wrong
    at = 0
    for want in expect.get("segments_contain", []):
        while at < len(have) and segment_fits(want, have[at], tol, unit):
            at += 1
        if at == len(have):
            return f"{want} not found in {have}"
        at += 1
    kinds = {CODES[f.code].kind for f in reading.findings}
    if missing := set(expect.get("warnings", [])) - kinds:
        return f"warnings {missing} missing, there are {kinds}"
    for key, value in expect.get("modal", {}).items():
        if final.get(key) != value:
            return f"modal {key}: {final.get(key)} for {value}"
    values = dict(reading.parameters)
    for number, value in expect.get("params", {}).items():
        if abs(values.get(int(number), 0.0) - value) > tol:
            return f"#{number}: {values.get(int(number))} for {value}"
    if "messages" in expect and [text for _, text in reading.messages] != expect["messages"]:
        return f"messages {reading.messages}"
    if "tool" in expect and final["tool"] != str(expect["tool"]):
        return f"tool {final['tool']}"
    return _judge_states(case, profile, reading, tol)


def _judge_states(case: dict[str, Any], profile: str, reading: Reading, tol: float) -> str:
    expect, rows = case["expect"], reading.moves.moves
    for line, (way, speed) in expect.get("spindle_during", {}).items():
        mine = rows[rows["line"] == int(line)]["spindle_rpm"]
        signed = {"cw": speed, "ccw": -speed, "stopped": 0}[way]
        if not len(mine) or any(abs(v - signed) > tol for v in mine):
            return f"spindle during line {line}: {mine}"
    lines = case["program"].split("\n")
    for line, (way, speed) in expect.get("spindle_at", {}).items():
        final = dict(read(case, profile, "\n".join(lines[: int(line)])).final)
        if final["spindle"] != f"{way} {speed:g}":
            return f"spindle at line {line}: {final['spindle']}"
    for line, names in expect.get("coolant_at", {}).items():
        final = dict(read(case, profile, "\n".join(lines[: int(line)])).final)
        if sorted(final["coolant"].split()) != sorted(names):
            return f"coolant at line {line}: {final['coolant']}"
    if "events" in expect:
        events = ["manual-retract"] * int((rows["stop"] == STOP_RETRACT).sum())
        if events != expect["events"]:
            return f"events {events}"
    if "pitch" in expect:
        taps = rows[(rows["flags"] & TAPPING) != 0]
        if not len(taps) or abs(taps["feed_mm_per_s"][0] * 60 / abs(taps["spindle_rpm"][0]) - expect["pitch"]) > tol:
            return "pitch"
    if "probed" in expect and int(((rows["flags"] & PROBE_CONTACT) != 0).sum()) != expect["probed"]:
        return "probe contacts"
    return ""


def run(path: Path) -> tuple[int, list[str]]:
    """(passed, what failed) over a file; a case of profile 'both' must pass in both."""
    cases = json.loads(path.read_text(encoding="utf-8"))["cases"]
    passed, failed = 0, []
    for case in cases:
        profiles = ("strict", "mill") if case["profile"] == "both" else (case["profile"],)
        wrong = ""
        for profile in profiles:
            try:
                text = judge(case, profile)
            except Exception as error:
                text = f"our fault: {type(error).__name__}: {error}"
            if text:
                wrong += f" [{profile}] {text}"
        if wrong:
            failed.append(f"{case['id']}:{wrong}")
        else:
            passed += 1
    return passed, failed


def main() -> int:
    """Command line."""
    if len(sys.argv) != 2:
        print("usage: python -m tests.published.nc_cases FILE", file=sys.stderr)
        return 2
    passed, failed = run(Path(sys.argv[1]))
    for line in failed:
        print(line)
    print(f"{passed} passed, {len(failed)} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
