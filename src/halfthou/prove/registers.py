"""The control's own tool table and work offsets, as found, against what the job plans: every difference, with its band."""

from halfthou.base.finding import Finding, Severity
from halfthou.base.place import Place
from halfthou.base.units import MM_PER_INCH, Display
from halfthou.base.value import Value
from halfthou.nouns.job import Job
from halfthou.nouns.tool import Register

SAME_MM = 5e-5
LENGTH_BAND_MM = 0.5
"""Plausible ± of a measured length where the tool list states none (common practice, no source)."""
RADIUS_BAND_MM = 0.05
OFFSET_BAND_MM = 3.0
BANDS = 3.0  # beyond so many bands a difference is taken for a mistake


def found_differences(job: Job) -> list[Finding]:
    """P501 length, P502 radius, P503 work offset differ; P504 a register the job uses is missing or empty."""
    if job.found is None:
        return []
    show = Display(length_unit=job.length_unit)
    out: list[Finding] = []
    planned = {register.slot: register for register in job.registers}
    tools = {tool.number: tool for tool in job.tools}
    held = {register.slot: register for register in job.found.registers}
    if held:
        for slot, plan in sorted(planned.items()):
            now = held.get(slot)
            if now is None or now.length_mm is None:
                if plan.length_mm is not None:
                    out.append(_finding(job, "P504", Severity.CARE, now.place if now else None, f"Register {slot} is empty at the control.",
                                        "The planned value is used here; the machine would use its own.", "Measure the tool.", None, None, slot))  # fmt: skip
                continue
            std = tools[slot].length_std_mm if slot in tools else None
            out += _length(job, show, slot, plan, now, held, std)
            out += _radius(job, show, slot, plan, now)
    for op_index, op in enumerate(job.ops):
        plans = {offset.system: offset for offset in op.offsets}
        for offset in job.found.offsets:
            own = plans.get(offset.system)
            if own is None:
                continue
            for k, axis in enumerate("XYZ"):
                a, b = own.origin_mm[k], offset.origin_mm[k]
                if a is None or b is None or abs(b - a) <= SAME_MM:
                    continue
                band = own.band_mm[k] or OFFSET_BAND_MM
                inside = abs(b - a) <= band
                out.append(
                    _finding(job, "P503", Severity.NOTE if inside else Severity.CARE, offset.place,
                             f"Work offset {_system(offset.system)} {axis} is {show.length(b)}, planned {show.length(a)}: "
                             f"{show.length(b - a, sign=True)}.",
                             f"Plausible is ±{show.length(band)}." + ("" if inside else _cause(a, b)),
                             "" if inside else "Check it before the first part.", b - a, band, -1, op_index)
                )  # fmt: skip
    return out


def _length(
    job: Job, show: Display, slot: int, plan: Register, now: Register, held: dict[int, Register], std: float | None
) -> list[Finding]:
    if plan.length_mm is None or now.length_mm is None:
        return []
    a, b = plan.length_mm + plan.length_wear_mm, now.length_mm + now.length_wear_mm
    if abs(b - a) <= SAME_MM:
        return []
    band = BANDS * std if std else LENGTH_BAND_MM
    inside = abs(b - a) <= band
    cause = "" if inside else _cause(a, b)
    if not inside:
        for other, register in held.items():
            if other != slot and register.length_mm is not None and abs(register.length_mm - plan.length_mm) < SAME_MM:
                cause += f" Register {other} holds the planned value: swapped?"
    return [
        _finding(job, "P501", Severity.NOTE if inside else Severity.CARE, now.place,
                 f"Length register {slot} is {show.length(b)}, planned {show.length(a)}: {show.length(b - a, sign=True)}.",
                 f"Plausible is ±{show.length(band)}.{cause}", "" if inside else "Measure the tool again before the run.", b - a, band, slot)
    ]  # fmt: skip


def _radius(job: Job, show: Display, slot: int, plan: Register, now: Register) -> list[Finding]:
    if plan.radius_mm is None or now.radius_mm is None:
        return []
    a, b = plan.radius_mm + plan.radius_wear_mm, now.radius_mm + now.radius_wear_mm
    if abs(b - a) <= SAME_MM:
        return []
    inside = abs(b - a) <= RADIUS_BAND_MM
    cause = "" if inside else _cause(a, b)
    if not inside and a and (abs(b - 2 * a) < SAME_MM or abs(2 * b - a) < SAME_MM):
        cause = " It looks like a diameter in the place of a radius, or the other way round."
    return [
        _finding(job, "P502", Severity.NOTE if inside else Severity.CARE, now.place,
                 f"Radius register {slot} is {show.length(b)}, planned {show.length(a)}: {show.length(b - a, sign=True)}.",
                 f"Plausible is ±{show.length(RADIUS_BAND_MM)}.{cause}", "" if inside else "Check the tool and the register.", b - a, RADIUS_BAND_MM, slot)
    ]  # fmt: skip


def _cause(a: float, b: float) -> str:
    """A slip that explains the difference, if there is one."""
    for factor, text in ((-1.0, "the sign is turned"), (10.0, "a decimal point has slipped"), (0.1, "a decimal point has slipped"),
                         (MM_PER_INCH, "inch and mm are mixed"), (1 / MM_PER_INCH, "inch and mm are mixed")):  # fmt: skip
        if a and abs(b - a * factor) < max(0.002 * abs(b), SAME_MM):
            return f" It looks as if {text}."
    return ""


def _finding(
    job: Job, code: str, severity: Severity, place: Place | None, what: str, why: str, do: str, amount: float | None,
    limit: float | None, tool: int, op: int = -1,
) -> Finding:  # fmt: skip
    return Finding(
        code=code, severity=severity, place=place or Place(file=job.file), what=what, why=why, do=do,
        amount=None if amount is None else Value(best=amount, u=0.0, unit="mm", bound=SAME_MM), limit_mm=limit, tool=tool, op=op,
    )  # fmt: skip


def _system(system: int) -> str:
    if system > 100:
        return f"G54.1 P{system - 100}"
    return f"G{53 + system}" if system <= 6 else f"G59.{system - 6}"
