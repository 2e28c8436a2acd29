"""What differs between two jobs besides their programs: tools, registers, offsets, stock, bodies, design, machine."""

import dataclasses
import math
from collections.abc import Hashable, Iterable, Mapping
from enum import Enum
from typing import Any, TypeVar

import numpy as np

from halfthou.base.place import Place
from halfthou.base.units import Display
from halfthou.nouns.job import Job, Offset, Op
from halfthou.nouns.machine import Machine
from halfthou.nouns.part import Part, Surface
from halfthou.nouns.revision import Difference
from halfthou.nouns.tool import Register

SAME = 1e-9  # numbers nearer than this are one number (in the unit they are kept in)
SAME_FORM_MM = 1e-4
"""Surfaces of two designs nearer than this are one surface (files of the same design may round their numbers)."""
NOT_THERE = "not there"
_UNITS = (
    ("_mm_per_s3", 1e-3, "m/s³"), ("_mm_per_s2", 1e-3, "m/s²"), ("_rpm", 1.0, "1/min"), ("_rad", 180 / math.pi, "°"),
    ("_kg", 1.0, "kg"), ("_s", 1.0, "s"),
)  # fmt: skip
_QUIET = ("place", "notes", "number", "slot", "system", "tool_name", "op")
K = TypeVar("K", bound=Hashable)


def label(name: str) -> str:
    """A field's name in words, its unit left out."""
    for suffix in ("_mm_per_s3", "_mm_per_s2", "_mm_per_s", "_mm", "_rpm", "_rad", "_kg", "_s"):
        if name.endswith(suffix):
            name = name[: -len(suffix)]
            break
    return name.replace("_", " ")


def value(name: str, one: Any, show: Display) -> str:
    """A field's value as people read it, with its unit taken from the ending of its name."""
    if one is None or (isinstance(one, float) and not math.isfinite(one)):
        return "not stated"
    if isinstance(one, bool):
        return "yes" if one else "no"
    if isinstance(one, Enum):
        return one.name.lower()
    if isinstance(one, np.ndarray):
        return value(name, tuple(one.tolist()), show)
    if isinstance(one, tuple | list):
        return "(" + ", ".join(value(name, v, show) for v in one) + ")" if one else "none"
    if isinstance(one, int | float):
        if name.endswith("_mm_per_s"):
            return show.feed(float(one))
        if name.endswith("_mm"):
            return show.length(float(one))
        for suffix, factor, unit in _UNITS:
            if name.endswith(suffix):
                return f"{one * factor:.6g} {unit}"
        return f"{one:.9g}"
    return str(one) if str(one) else "none"


def _equal(a: Any, b: Any) -> bool:
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        x, y = np.asarray(a), np.asarray(b)
        return x.shape == y.shape and bool(np.allclose(x, y, rtol=0, atol=SAME, equal_nan=True))
    if isinstance(a, tuple) and isinstance(b, tuple):
        return len(a) == len(b) and all(_equal(x, y) for x, y in zip(a, b, strict=True))
    number = (int, float)
    if isinstance(a, number) and isinstance(b, number) and not isinstance(a, bool) and not isinstance(b, bool):
        return a == b or abs(a - b) <= SAME or (math.isnan(a) and math.isnan(b))
    return bool(a == b)


def fields(group: str, now: Any, before: Any, show: Display, inside: str = "") -> list[Difference]:
    """Every field in which two nouns of one class differ; nouns inside them are looked into, keyed by their name."""
    out: list[Difference] = []
    for field in dataclasses.fields(now):
        if field.name in _QUIET or isinstance(getattr(now, field.name), Place):
            continue
        a, b = getattr(now, field.name), getattr(before, field.name)
        what = f"{inside} {label(field.name)}".strip()
        if dataclasses.is_dataclass(a) and dataclasses.is_dataclass(b):
            out += fields(group, a, b, show, what)
        elif _nouns(a) or _nouns(b):
            out += _listed(group, what, _by_name(a), _by_name(b), show)
        elif dataclasses.is_dataclass(a) != dataclasses.is_dataclass(b):
            words = ("stated", "not stated") if dataclasses.is_dataclass(a) else ("not stated", "stated")
            out.append(Difference(group=group, what=what, now=words[0], before=words[1]))
        elif not _equal(a, b):
            out.append(
                Difference(group=group, what=what, now=value(field.name, a, show), before=value(field.name, b, show))
            )
    return out


def _nouns(one: Any) -> bool:
    return isinstance(one, tuple) and bool(one) and dataclasses.is_dataclass(one[0])


def _by_name(many: Any) -> dict[str, Any]:
    """Nouns of a list by their name, word or system; a name twice counts on."""
    out: dict[str, Any] = {}
    for one in many:
        name = str(getattr(one, "name", "") or getattr(one, "word", "") or getattr(one, "system", ""))
        key, n = name, 2
        while key in out:
            key, n = f"{name} ({n})", n + 1
        out[key] = one
    return out


def _listed(
    group: str, what: str, now: Mapping[str, Any], before: Mapping[str, Any], show: Display
) -> list[Difference]:  # fmt: skip
    out: list[Difference] = []
    for key in _keys(now, before):
        if key not in now or key not in before:
            there = ("there", NOT_THERE) if key in now else (NOT_THERE, "there")
            out.append(Difference(group=group, what=f"{what} {key}".strip(), now=there[0], before=there[1]))
        else:
            out += fields(group, now[key], before[key], show, f"{what} {key}".strip())
    return out


def _keys(now: Mapping[K, Any], before: Mapping[K, Any]) -> list[K]:
    return [*now, *(key for key in before if key not in now)]


def tool_differences(now: Job, before: Job, show: Display) -> tuple[Difference, ...]:
    """Tools by number, planned registers, registers and offsets as found."""
    out: list[Difference] = []
    ours, theirs = {t.number: t for t in now.tools}, {t.number: t for t in before.tools}
    for n in sorted(_keys(ours, theirs)):
        a, b = ours.get(n), theirs.get(n)
        if a is None or b is None:
            names = (a.name if a else NOT_THERE, b.name if b else NOT_THERE)
            out.append(Difference(group=f"T{n}", what="tool", now=names[0], before=names[1]))
            continue
        own = fields(f"T{n} {a.name}".strip(), a, b, show)
        shape = [d for d in own if d.what in ("profile", "zone")]
        rest = [d for d in own if d.what not in ("profile", "zone")]
        if shape and not rest:
            words = (f"{len(a.profile_mm)} points", f"{len(b.profile_mm)} points")
            rest.append(
                Difference(
                    group=f"T{n} {a.name}".strip(),
                    what="profile of tool, holder or nose",
                    now=words[0],
                    before=words[1] + " (other shape)",
                )
            )
        out += rest
    out += _registers("planned", now.registers, before.registers, show)
    found_now, found_before = now.found, before.found
    out += _registers(
        "as found", found_now.registers if found_now else (), found_before.registers if found_before else (), show
    )
    out += _offsets(
        "as found", found_now.offsets if found_now else (), found_before.offsets if found_before else (), show
    )
    return tuple(out)


def _registers(
    which: str, now: Iterable[Register], before: Iterable[Register], show: Display
) -> list[Difference]:  # fmt: skip
    ours, theirs = {r.slot: r for r in now}, {r.slot: r for r in before}
    out: list[Difference] = []
    for n in sorted(_keys(ours, theirs)):
        empty = Register(slot=n)
        out += fields(f"register {n} {which}", ours.get(n, empty), theirs.get(n, empty), show)
    return out


def _offsets(which: str, now: Iterable[Offset], before: Iterable[Offset], show: Display) -> list[Difference]:
    ours, theirs = {o.system: o for o in now}, {o.system: o for o in before}
    out: list[Difference] = []
    for n in sorted(_keys(ours, theirs)):
        empty = Offset(system=n)
        out += fields(f"{system_name(n)} {which}", ours.get(n, empty), theirs.get(n, empty), show)
    return out


def system_name(system: int) -> str:
    """G54 … G59.3, G54.1 Pn."""
    if system > 100:
        return f"G54.1 P{system - 100}"
    return ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")[max(0, system - 1)]


def setup_differences(now: Job, before: Job, pairs: Iterable[tuple[int, int]], show: Display) -> tuple[Difference, ...]:
    """Work offsets, stock, bodies and switches of the operations that belong together, material and limits of the job."""
    out: list[Difference] = []
    for name in ("material", "gouge_mm", "left_over_mm"):
        a, b = getattr(now, name), getattr(before, name)
        if not _equal(a, b):
            out.append(Difference(group="job", what=label(name), now=value(name, a, show), before=value(name, b, show)))
    for i, j in pairs:
        out += _op(now.ops[i], before.ops[j], show)
    return tuple(out)


def _op(now: Op, before: Op, show: Display) -> list[Difference]:
    out: list[Difference] = []
    for name in ("start_tool", "block_delete", "optional_stop"):
        a, b = getattr(now, name), getattr(before, name)
        if a != b:
            out.append(
                Difference(group=now.name, what=label(name), now=value(name, a, show), before=value(name, b, show))
            )
    out += _offsets(f"planned, {now.name}", now.offsets, before.offsets, show)
    out += _listed(now.name, "", _by_name(now.places), _by_name(before.places), show)
    return out


def machine_differences(now: Machine, before: Machine, show: Display) -> tuple[Difference, ...]:
    """Every value in which two machine files differ, habits of the control and declared codes included."""
    return tuple(fields("machine", now, before, show))


def design_differences(now: Part | None, before: Part | None, show: Display) -> tuple[Difference, ...]:
    """Surfaces of two designs: same form at the same spot is one surface; the rest is paired by form and direction."""
    if now is None or before is None:
        if now is before:
            return ()
        names = (now.name if now else NOT_THERE, before.name if before else NOT_THERE)
        return (Difference(group="design", what="file", now=names[0], before=names[1]),)
    left = list(before.surfaces)
    fresh: list[Surface] = []
    for surface in now.surfaces:
        twin = next((s for s in left if _same_form(surface, s) and _overlap(now, surface, before, s)), None)
        if twin is None:
            fresh.append(surface)
        else:
            left.remove(twin)
    out: list[Difference] = []
    for surface in fresh:
        reach = next((s for s in left if _same_form(surface, s)), None)
        if reach is not None:  # the same plane or cylinder, with its edges elsewhere
            left.remove(reach)
            words = (_reach(now, surface, show), _reach(before, reach, show))
            out.append(Difference(group="design", what=f"{surface.name}, reaches", now=words[0], before=words[1]))
            continue
        near = [s for s in left if s.form == surface.form and _along(surface.axis, s.axis)]
        best = min(near, key=lambda s: _apart(surface, s), default=None)
        if best is not None:
            left.remove(best)
        out.append(
            Difference(
                group="design", what=surface.name, now=_words(surface, show),
                before=_words(best, show) if best else NOT_THERE,
            )
        )  # fmt: skip
    out += [Difference(group="design", what=s.name, now=NOT_THERE, before=_words(s, show)) for s in left]
    limits = _listed_limits(now, before, show) if not out else []
    return (*out, *limits)


def _listed_limits(now: Part, before: Part, show: Display) -> list[Difference]:
    out: list[Difference] = []
    for a, b in zip(now.surfaces, before.surfaces, strict=False):
        for name in ("gouge_mm", "left_over_mm", "thread"):
            x, y = getattr(a, name), getattr(b, name)
            if not _equal(x, y):
                out.append(
                    Difference(
                        group="design", what=f"{a.name}, {label(name)}", now=value(name, x, show),
                        before=value(name, y, show),
                    )
                )  # fmt: skip
    return out


def _along(a: tuple[float, float, float], b: tuple[float, float, float]) -> bool:
    u, v = np.array(a), np.array(b)
    return bool(abs(float(u @ v)) > (1 - 1e-9) * float(np.linalg.norm(u) * np.linalg.norm(v)))


def _apart(a: Surface, b: Surface) -> float:
    """How far two surfaces of one form lie apart: planes along their normal, others between their axes, plus radii."""
    axis = np.array(a.axis) / max(float(np.linalg.norm(a.axis)), 1e-300)
    off = np.array(b.origin_mm) - np.array(a.origin_mm)
    along = abs(float(off @ axis))
    if a.form == "plane":
        facing = 0.0 if float(np.dot(a.axis, b.axis)) > 0 else 1e3
        return along + facing
    across = float(np.linalg.norm(off - (off @ axis) * axis))
    if a.form in ("cylinder",):
        return across + abs(a.radius_mm - b.radius_mm) + (0.0 if a.hole == b.hole else 1e3)
    return float(np.linalg.norm(off)) + abs(a.radius_mm - b.radius_mm) + 100 * abs(a.half_angle_rad - b.half_angle_rad)


def _same_form(a: Surface, b: Surface) -> bool:
    return a.form == b.form and _along(a.axis, b.axis) and _apart(a, b) <= SAME_FORM_MM


def _overlap(now: Part, a: Surface, before: Part, b: Surface) -> bool:
    """The two faces cover the same box: a hole next to a like hole is another face."""
    boxes = [_box(now, a), _box(before, b)]
    if any(box is None for box in boxes):
        return True
    limit = max(SAME_FORM_MM, 2 * max(now.chord_mm, before.chord_mm))
    return bool(np.abs(np.array(boxes[0]) - np.array(boxes[1])).max() <= limit)


def _box(part: Part, surface: Surface) -> np.ndarray[Any, Any] | None:
    """Low and high corner of a face, f8 (2,3); None when the mesh has no triangle of it."""
    corners = part.vertices_mm[part.faces[part.face_surface == surface.index]].reshape(-1, 3)
    return np.stack([corners.min(axis=0), corners.max(axis=0)]) if len(corners) else None


def _reach(part: Part, surface: Surface, show: Display) -> str:
    box = _box(part, surface)
    if box is None:
        return "not known"
    low, high = (", ".join(show.length(float(v), unit=False) for v in corner) for corner in box)
    return f"({low}) to ({high})"


def _words(surface: Surface, show: Display) -> str:
    spot = ", ".join(show.length(v, unit=False) for v in surface.origin_mm)
    radius = f", radius {show.length(surface.radius_mm)}" if surface.radius_mm else ""
    return f"{surface.form} at ({spot}){radius}"
