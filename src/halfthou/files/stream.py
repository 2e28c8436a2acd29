"""Reads what a machine reports about itself: MTConnect Streams documents.

The check here is our own list of rules after the public 1.x schemas, not a run of the schema itself (which is not
shipped): it finds missing parts, missing attributes and words or numbers that the rules below know to be wrong.
Source: MTConnect standard part 2 and 3 (public schemas; word lists from memory).
"""

import math
import re
from dataclasses import dataclass
from typing import Any

from halfthou.base.errors import CannotAnswer
from halfthou.files.xml import Problem, lacking, local, parse, space, text

NAMESPACE = re.compile(r"urn:mtconnect\.org:MTConnectStreams:(\d+)\.(\d+)")
HEADER = (
    "creationTime", "sender", "instanceId", "version", "bufferSize", "nextSequence", "firstSequence", "lastSequence",
)  # fmt: skip
SINCE_1_7 = "deviceModelChangeTime"  # header attribute required from 1.7 on (seen for 1.8)
NOT_KNOWN = "UNAVAILABLE"  # legal anywhere, also for numbers
WORDS: dict[str, frozenset[str]] = {
    "Execution": frozenset(
        [
            "READY",
            "ACTIVE",
            "INTERRUPTED",
            "FEED_HOLD",
            "STOPPED",
            "OPTIONAL_STOP",
            "PROGRAM_STOPPED",
            "PROGRAM_COMPLETED",
            "WAIT",
            "PROGRAM_OPTIONAL_STOP",
        ]
    ),
    "ControllerMode": frozenset(["AUTOMATIC", "MANUAL", "MANUAL_DATA_INPUT", "SEMI_AUTOMATIC", "EDIT"]),
    "Availability": frozenset(["AVAILABLE"]),
    "EmergencyStop": frozenset(["ARMED", "TRIGGERED"]),
    "DoorState": frozenset(["OPEN", "CLOSED", "UNLATCHED"]),
}
CONDITIONS = ("Normal", "Warning", "Fault", "Unavailable")
_TIME = re.compile(r"-?\d{4,}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)?")
_WHOLE = re.compile(r"\+?\d+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One thing the machine said: kind is the element name, value its text ("UNAVAILABLE" where not known)."""

    kind: str
    item: str
    value: str
    sequence: int
    timestamp: str

    @property
    def number(self) -> float:
        """The value as a number, nan where it is none."""
        try:
            return float(self.value)
        except ValueError:
            return math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """A streams document: where to go on reading, and the observations in order of their sequence."""

    next_sequence: int
    instance: str
    observations: tuple[Observation, ...]

    def latest(self, kind: str) -> Observation | None:
        """The last observation of a kind, None if there is none."""
        found = [o for o in self.observations if o.kind == kind]
        return found[-1] if found else None


def problems(raw: bytes) -> tuple[Problem, ...]:
    """Everything the rules find wrong with a streams document; empty if nothing."""
    root, found = parse(raw)
    if root is None:
        return found
    known = NAMESPACE.fullmatch(space(root))
    if local(root) != "MTConnectStreams" or known is None:
        return (Problem(line=int(root.sourceline or 0), what="this is not an MTConnectStreams document"),)
    out: list[Problem] = []
    children = [local(child) for child in root if local(child)]
    if children[:1] != ["Header"]:
        out.append(Problem(line=int(root.sourceline or 0), what="the Header is missing or not first"))
    else:
        late = (int(known[1]), int(known[2])) >= (1, 7)
        out += lacking(root[0], (*HEADER, SINCE_1_7) if late else HEADER)
    if "Streams" not in children:
        out.append(Problem(line=int(root.sourceline or 0), what="Streams is missing"))
    for element in root.iter():
        name = local(element)
        if name == "DeviceStream":
            out += lacking(element, ("name", "uuid"))
        elif name == "ComponentStream":
            out += lacking(element, ("component", "componentId"))
        elif name in ("Samples", "Events", "Condition"):
            for child in element:
                if local(child):
                    out += _observation(child, name)
    return tuple(out)


def _observation(element: Any, group: str) -> list[Problem]:
    """What is wrong with one observation."""
    name, line, value = local(element), int(element.sourceline or 0), text(element)
    out = lacking(element, ("dataItemId", "timestamp", "sequence"))
    time, sequence = element.get("timestamp"), element.get("sequence")
    if time is not None and not _TIME.fullmatch(time):
        out.append(Problem(line=line, what=f"{name}: {time!r} is not a time"))
    if sequence is not None and not (_WHOLE.fullmatch(sequence) and int(sequence) > 0):
        out.append(Problem(line=line, what=f"{name}: {sequence!r} is not a sequence number"))
    if group == "Condition":
        if name not in CONDITIONS:
            out.append(Problem(line=line, what=f"{name} is not one of {', '.join(CONDITIONS)}"))
        return out + lacking(element, ("type",))
    if value == NOT_KNOWN:
        return out
    if name in WORDS and value not in WORDS[name]:
        out.append(Problem(line=line, what=f"{name}: {value!r} is not one of {', '.join(sorted(WORDS[name]))}"))
    if name == "PartCount" and not re.fullmatch(r"[+-]?\d+", value):
        out.append(Problem(line=line, what=f"PartCount: {value!r} is not a whole number"))
    plain = (
        group == "Samples" and not name.endswith("TimeSeries") and not re.search(r"Path(Position)|Orientation", name)
    )
    if plain and not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", value):
        out.append(Problem(line=line, what=f"{name}: {value!r} is not a number"))
    return out


def read(raw: bytes) -> Stream:
    """The observations of a streams document; CannotAnswer with the first problem if the rules find one."""
    wrong = problems(raw)
    if wrong:
        raise CannotAnswer(f"line {wrong[0].line}: {wrong[0].what}")
    root, _ = parse(raw)
    seen = []
    for element in root.iter():
        if element.get("sequence") is not None and element.get("dataItemId") is not None and local(element):
            seen.append(
                Observation(
                    kind=local(element), item=element.get("dataItemId"), value=text(element),
                    sequence=int(element.get("sequence")), timestamp=element.get("timestamp"),
                )
            )  # fmt: skip
    header = root[0]
    return Stream(
        next_sequence=int(header.get("nextSequence")), instance=header.get("instanceId"),
        observations=tuple(sorted(seen, key=lambda o: o.sequence)),
    )  # fmt: skip
