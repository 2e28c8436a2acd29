"""Area 8 by name: documents of inspection and of machines."""

from pathlib import Path

from halfthou.files import inspection, stream
from tests.published.metrology_names import Answers, Given, rule


def _path(g: Given) -> Path:
    return g.path()


@rule(8, r"schema|valid|qif|mtconnect")
def schema(g: Given) -> Answers:
    raw = _path(g).read_bytes()
    law = stream.problems if g.says("mtconnect|stream") or b"MTConnect" in raw[:400] else inspection.problems
    found = law(raw)
    return {
        "valid|ok": not found, "errors|n_errors|problems": len(found), "first_error|error": found[0].what if found else "",
        "line|first_line|error_line": found[0].line if found else 0,
    }  # fmt: skip


@rule(8, r"stream|machine|mtconnect")
def machine(g: Given) -> Answers:
    read = stream.read(_path(g).read_bytes())
    out: Answers = {
        "next_sequence|next": read.next_sequence,
        "instance|instance_id": read.instance,
        "count|observations": len(read.observations),
    }
    names = {
        "Execution": "execution", "Program": "program", "ToolNumber": "tool|tool_number", "ControllerMode": "mode|controller_mode",
        "Availability": "availability", "EmergencyStop": "emergency_stop|estop",
    }  # fmt: skip
    for kind, name in names.items():
        seen = read.latest(kind)
        if seen is not None:
            out[name] = seen.value
    for kind, name in (
        ("PartCount", "part_count|parts"),
        ("PathFeedrate", "path_feed|feed|path_feedrate"),
        ("RotaryVelocity", "spindle_speed|rpm"),
    ):
        seen = read.latest(kind)
        if seen is not None:
            out[name] = None if seen.value == stream.NOT_KNOWN else seen.number
    return out


@rule(8, r"read|result|inspection|measure|qif")
def results(g: Given) -> Answers:
    measured = inspection.read(_path(g).read_bytes())
    first = measured[0]
    shift = 0.0 if first.as_limit else first.target
    return {
        "value|measured": first.value, "u|combined_uncertainty|uncertainty": first.u, "status": first.status, "name|characteristic": first.name,
        "target|nominal|target_value": first.target, "max|upper|max_value": first.high, "min|lower|min_value": first.low, "usl|upper_limit": shift + first.high,
        "lsl|lower_limit": shift + first.low, "n|count|characteristics": len(measured), "values": [m.value for m in measured],
    }  # fmt: skip
