"""Findings and tables in a terminal: the block, the word underlined, why, what to do."""

import textwrap
from collections.abc import Iterable

from halfthou.base.errors import Complaint
from halfthou.base.finding import Finding, Severity
from halfthou.base.place import Place
from halfthou.base.units import Display, duration
from halfthou.base.value import Result, Unknown, Value
from halfthou.nouns.answers import Proof
from halfthou.nouns.times import PaceNumber

WIDTH = 100
_STYLE = {Severity.STOP: "bold reverse", Severity.CARE: "bold", Severity.NOTE: "dim"}
_MARK = {Severity.STOP: "STOP", Severity.CARE: "CARE", Severity.NOTE: "NOTE"}


def _wrap(label: str, text: str, indent: str = "      ") -> list[str]:
    if not text:
        return []
    head = f"{indent}{label}"
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))


def _quote(place: Place) -> list[str]:
    """The line of the file with the word underlined."""
    if not place.text or not place.line:
        return []
    number = str(place.line)
    gutter = " " * len(number)
    text = place.text.expandtabs(1)[:WIDTH]
    lines = [f"  {number} | {text}"]
    if place.column and place.column <= len(text):
        length = max(1, min(len(place.word) or 1, len(text) - place.column + 1))
        lines.append(f"  {gutter} | {' ' * (place.column - 1)}{'^' * length}")
    return lines


def amount_text(finding: Finding, show: Display) -> str:
    """The amount of a finding with its bound or spread, in the shop's unit."""
    amount = finding.amount
    if amount is None:
        return ""
    if isinstance(amount, Unknown):
        return f"amount not known: {amount.reason}"
    return value_text(amount, show)


def value_text(value: Value, show: Display) -> str:
    """A value with what is known about its error."""
    if value.unit == "mm":
        text = show.length(value.best)
        if value.bound > 0:
            return f"{text} (within {show.length(value.bound)})"
        return f"{text} (± {show.length(2 * value.u)}, k = 2)" if value.u > 0 else text
    if value.unit == "1":
        return f"{100 * value.best:.3g} %" + (f" (within {100 * value.bound:.2g} %)" if value.bound > 0 else "")
    if value.unit == "s":
        return f"{duration(value.best)} (± {duration(value.bound)})" if value.bound > 0 else duration(value.best)
    tail = f" ± {2 * value.u:.3g} (k = 2)" if value.u > 0 else (f" within {value.bound:.3g}" if value.bound else "")
    return f"{value.best:.4g}{tail} {value.unit}"


def finding_lines(finding: Finding, show: Display, names: tuple[str, ...] = ()) -> list[str]:
    """One finding as a compiler would print it."""
    head = f"{_MARK[finding.severity]} {finding.code}  {finding.what}"
    lines = textwrap.wrap(head, WIDTH, subsequent_indent=" " * 11) or [head]
    where = str(finding.place) if finding.place.file else ""
    if names and 0 <= finding.op < len(names):
        where = f"{names[finding.op]}, {where}" if where else names[finding.op]
    if finding.tool >= 0:
        where += f", T{finding.tool}"
    if where:
        lines.append(f"   at {where}")
    lines += _quote(finding.place)
    amount = amount_text(finding, show)
    if amount or finding.point_mm is not None:
        at = ""
        if finding.point_mm is not None:
            x, y, z = (show.length(v, unit=False) for v in finding.point_mm)
            at = f"at X{x} Y{y} Z{z} (program coordinates)"
        lines += _wrap("", " ".join(part for part in (amount, at) if part))
    if finding.count > 1:
        lines += _wrap("", f"{finding.count} blocks in all; the first is shown")
    lines += _wrap("why: ", finding.why)
    lines += _wrap("do:  ", finding.do)
    for more in finding.more:
        lines += _wrap("", more)
    return lines


def complaint_lines(complaint: Complaint) -> list[str]:
    """One thing wrong with an input, as a compiler would print it."""
    head = f"INPUT {complaint.code}  {complaint.what}"
    lines = textwrap.wrap(head, WIDTH, subsequent_indent=" " * 12) or [head]
    if complaint.place.file:
        lines.append(f"   at {complaint.place}")
    lines += _quote(complaint.place)
    lines += _wrap("why: ", complaint.why)
    lines += _wrap("do:  ", complaint.do)
    return lines


def table_lines(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]], right: frozenset[int]) -> list[str]:
    """A plain table; columns in `right` are aligned to the right."""
    body = [tuple(row) for row in rows]
    widths = [max(len(row[k]) for row in (heads, *body)) for k in range(len(heads))]

    def line(row: tuple[str, ...]) -> str:
        cells = (c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True)))
        return ("  " + "  ".join(cells)).rstrip()

    return [line(heads), "  " + "  ".join("-" * width for width in widths), *(line(row) for row in body)]


def summary_lines(proof: Proof) -> list[str]:
    """What follows the findings: time, tools, nearest approaches, windows, what was not checked, the verdict."""
    show = Display(length_unit=proof.job.length_unit)
    lines: list[str] = []
    lines += _time_lines(proof, show)
    lines += _tool_lines(proof, show)
    lines += _approach_lines(proof, show)
    lines += _window_lines(proof, show)
    lines += _design_lines(proof, show)
    if proof.assumptions:
        lines += ["", "Taken for granted:"]
        for text in proof.assumptions:
            lines += _wrap("- ", text, "  ")
    if proof.questions:
        lines += ["", "Left open by the files (answer each once):"]
        for text in proof.questions:
            lines += _wrap("? ", text, "  ")
    lines += ["", "Not checked:"]
    for text in proof.not_checked:
        lines += _wrap("- ", text, "  ")
    lines += ["", *textwrap.wrap(f"Verdict: {proof.words}", WIDTH, subsequent_indent="         ")]
    lines += textwrap.wrap(CAUTION, WIDTH)
    return lines


CAUTION = (
    "A proof is not a guard. Interlocks, guards and emergency stop follow the machine builder's manual and local rules. "
    "The first run is watched, at reduced rapid, with a hand at feed hold."
)


def _time_text(result: Result, band_s: tuple[float, float]) -> str:
    if isinstance(result, Unknown):
        return f"not known: {result.reason}"
    return f"{duration(result.best)} ({duration(band_s[0])} to {duration(band_s[1])})"


def _time_lines(proof: Proof, show: Display) -> list[str]:
    rows = []
    for k, (op, result) in enumerate(zip(proof.job.ops, proof.cycle_ops, strict=True)):
        rows.append(f"  {op.name}: {_time_text(result, proof.band_s(k))}")
    total = _time_text(proof.cycle, proof.band_s())
    lines = ["", "Cycle time", *rows, *([f"  together: {total}"] if len(rows) > 1 else [])]
    if proof.pace is None:
        return lines
    whole = proof.pace.whole
    lines += [
        "",
        f"Calibrated: {duration(whole.best_s)}, 95 % of runs {duration(whole.low_s)} to {duration(whole.high_s)}",
    ]
    return lines + [f"  {_pace_text(number)}" for number in proof.pace.numbers]


def _pace_text(number: PaceNumber) -> str:
    low, high = number.best * number.low_ratio, number.best * number.high_ratio
    told = "" if number.told else "  (not told by the readings)"
    return f"{number.name:<30} {number.best:.3g}  ({low:.3g} to {high:.3g}) {number.unit}{told}"


def _tool_lines(proof: Proof, show: Display) -> list[str]:
    if not proof.tool_times:
        return []
    heads = ("op", "tool", "name", "at feed", "rapid", "other", "lowest Z", "moves")
    rows = [
        (
            proof.job.ops[t.op].name,
            f"T{t.tool}",
            t.name[:28],
            duration(t.cutting_s),
            duration(t.rapid_s),
            duration(t.other_s),
            show.length(t.lowest_z_mm, unit=False) if t.lowest_z_mm is not None else "-",
            str(t.moves),
        )
        for t in proof.tool_times
    ]
    return [
        "",
        f"Time per tool (lowest Z of the tip at feed, {show.length_unit})",
        *table_lines(heads, rows, frozenset({3, 4, 5, 6, 7})),
    ]


def _approach_lines(proof: Proof, show: Display, most: int = 8) -> list[str]:
    near = sorted((a for a in proof.approaches if a.clearance_mm >= 0), key=lambda a: a.clearance_mm)[:most]
    if not near:
        return []
    heads = ("op", "tool", "part", "nearest to", "clearance", "within", "block")
    rows = [
        (
            proof.job.ops[a.op].name,
            f"T{a.tool}",
            a.part,
            a.body,
            show.length(a.clearance_mm, unit=False),
            show.length(a.bound_mm, unit=False),
            f"{a.file}:{a.line}",
        )
        for a in near
    ]
    return [
        "",
        f"Nearest approaches without contact ({show.length_unit})",
        *table_lines(heads, rows, frozenset({4, 5})),
    ]


def _window_lines(proof: Proof, show: Display) -> list[str]:
    rows = []
    for w in proof.windows:
        for axis in range(3):
            low, high, given = w.low_mm[axis], w.high_mm[axis], w.given_mm[axis]
            if low is None or high is None:
                continue
            rows.append(
                (
                    proof.job.ops[w.op].name,
                    system_name(w.system),
                    "XYZ"[axis],
                    show.length(low, unit=False),
                    show.length(high, unit=False),
                    show.length(given, unit=False) if given is not None else "not given",
                    "" if low <= high else "no value fits",
                )
            )
    if not rows:
        return []
    heads = ("op", "offset", "axis", "from", "to", "given", "")
    return [
        "",
        f"Work offsets that keep every move inside the travels ({show.length_unit})",
        *table_lines(heads, rows, frozenset({3, 4, 5})),
    ]


def _design_lines(proof: Proof, show: Display, most: int = 6) -> list[str]:
    if not proof.design_points:
        return []
    lines = ["", f"Against the design ({proof.design_points} points)"]
    worst = sorted(proof.design_worst, key=lambda row: -max(row[1], row[2]))[:most]
    heads = ("surface", "deepest gouge", "most left over")
    rows = [(name, show.length(gouge, unit=False), show.length(left, unit=False)) for name, gouge, left in worst]
    return lines + table_lines(heads, rows, frozenset({1, 2}))


def system_name(system: int) -> str:
    """G54 … G59.3, G54.1 Pn."""
    if system > 100:
        return f"G54.1 P{system - 100}"
    return ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")[max(0, system - 1)]


def style(severity: Severity) -> str:
    """The terminal style of a severity: told apart by weight and word, not by colour alone."""
    return _STYLE[severity]
