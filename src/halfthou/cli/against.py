"""A job against another revision, and whether an earlier proof still holds, on the command line."""

import textwrap
from collections.abc import Callable
from pathlib import Path

from halfthou.base.finding import Severity
from halfthou.base.units import Display
from halfthou.base.watch import Watch
from halfthou.cli.ask import EXIT_FOUND, Meter, _guarded, write_and_tell
from halfthou.cli.show import CAUTION, WIDTH, finding_lines, table_lines
from halfthou.nouns.answers import Proof
from halfthou.nouns.revision import BlockChange, Difference, FindingChange, MovedSurface, Revision
from halfthou.nouns.still import Still
from halfthou.sheets.against_rows import (
    KINDS,
    block_words,
    difference_rows,
    headline,
    op_words,
    surface_at,
    surface_words,
    time_rows,
)

MOST_LINES = 12  # of one stretch of blocks


def against_and_show(
    job: Path,
    other: Path,
    *,
    as_json: bool,
    report: Path | None,
    pitch_mm: float | None,
    found_tools: Path | None,
    found_offsets: Path | None,
    what_if: bool,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
) -> int:
    """Prove both, compare, show; 1 when this job has STOP findings."""
    meter = Meter(quiet)

    def work() -> int:
        from halfthou.flow.against import against
        from halfthou.flow.prove import ProveOptions

        watch = Watch(tell=meter.tell, asked_to_stop=asked_to_stop)
        options = ProveOptions(pitch_mm=pitch_mm, found_tools=found_tools, found_offsets=found_offsets, what_if=what_if)
        found = against(job, other, options, watch)
        meter.clear()
        if as_json:
            from halfthou.sheets.against_json import against_json

            print(against_json(found.proof, found.revision))
        else:
            print("\n".join(against_lines(found.proof, found.revision)))
        if report is not None:
            from halfthou.sheets.report import write_report

            write_and_tell(lambda: write_report(found.proof, report, watch, found.revision), report, meter)
        return EXIT_FOUND if found.proof.verdict is Severity.STOP else 0

    return _guarded(work, as_json=as_json, meter=meter)


def still_and_show(
    job: Path, old: Path, *, as_json: bool, found_tools: Path | None, found_offsets: Path | None
) -> int:  # fmt: skip
    """Compare the hashes of an earlier proof with the files; 1 when it is out of date."""

    def work() -> int:
        from halfthou.flow.against import still
        from halfthou.flow.prove import ProveOptions

        found = still(job, old, ProveOptions(found_tools=found_tools, found_offsets=found_offsets))
        if as_json:
            from halfthou.sheets.against_json import still_json

            print(still_json(found))
        else:
            print("\n".join(still_lines(found)))
        return 0 if found.holds else EXIT_FOUND

    return _guarded(work, as_json=as_json)


def still_lines(still: Still) -> list[str]:
    """What changed since an earlier proof, one line an input."""
    head = f"proof {still.stamp.short} ({still.file})"
    if still.holds:
        lines = [f"UP TO DATE  {head}: all {still.inputs} inputs of {still.job} are those it was made from."]
        if still.schema == "halfthou.against/1":
            lines.append("It is a comparison: the files of the other revision are not looked at here.")
        return [*lines, "It says nothing about what it did not check; read it again with its list."]
    lines = [f"OUT OF DATE  {head} does not hold for {still.job} as it is now:"]
    for change in still.changes:
        if not change.before:
            lines.append(f"  {change.role}: was not there ({change.now[:12]} now)")
        elif not change.now:
            lines.append(f"  {change.role}: is not there any more ({change.before[:12]} before)")
        else:
            lines.append(f"  {change.role}: changed ({change.before[:12]} before, {change.now[:12]} now)")
    if still.tool_version != still.stamp.tool_version:
        lines.append(f"  halfthou: made with version {still.stamp.tool_version}, this is {still.tool_version}")
    return [*lines, f"do:  halfthou prove {still.job}"]


def against_lines(proof: Proof, revision: Revision) -> list[str]:
    """The whole comparison, differences first, as a compiler would print them."""
    show = Display(length_unit=revision.length_unit)
    lines = [
        f"now:    {revision.now_title} (proof {revision.now.short})",
        f"before: {revision.before_title} (proof {revision.before.short})",
        "",
        *textwrap.wrap(headline(revision), WIDTH),
        "",
    ]
    for op in revision.ops:
        lines.append(op_words(op))
        for change in op.changes:
            lines += ["", *block_lines(change)]
        lines += [""] if op.changes else []
    lines += [""] if lines[-1] else []
    for surface in revision.surfaces.moved:
        lines += [*moved_lines(surface, show), ""]
    for finding in revision.findings:
        lines += [*change_lines(finding, show), ""]
    for title, many in (
        ("Tools and tables", revision.tools), ("Set-up", revision.setup), ("Machine", revision.machine),
        ("Design", revision.design),
    ):  # fmt: skip
        lines += _table(title, many)
    lines.append("Time")
    rows = (tuple(row) for row in time_rows(revision.times))
    lines += table_lines(("op", "tool", "name", "before", "now", "change"), rows, frozenset({3, 4, 5}))
    lines += ["", f"Surfaces: {revision.surfaces.points} points of both were measured. What that can miss:"]
    for text in (*revision.surfaces.missed, *(f"not compared: {t}" for t in revision.surfaces.not_compared)):
        lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    lines += ["", "This comparison holds for:"]
    for name, stamp in (("now", revision.now), ("before", revision.before)):
        lines += [f"  {name:6} {role}: {sha[:12]}" for role, sha in stamp.inputs]
    lines += ["", *textwrap.wrap(f"Verdict on this job: {proof.words}", WIDTH, subsequent_indent="         ")]
    lines += ["Its findings, all of them: halfthou prove JOB"]
    return lines + textwrap.wrap(CAUTION, WIDTH)


def block_lines(change: BlockChange) -> list[str]:
    """One stretch of blocks, before over now."""
    at = change.now if change.now.line else change.before
    lines = [f"{KINDS[change.kind]}  {change.op}, {at}"]
    lines += textwrap.wrap(block_words(change), WIDTH, initial_indent="      ", subsequent_indent="      ")
    for sign, place, texts in (("-", change.before, change.before_lines), ("+", change.now, change.now_lines)):
        if change.kind == "effect" and sign == "-" and change.now_lines:
            continue
        for k, text in enumerate(texts[:MOST_LINES]):
            number = str(place.line) if k == 0 else ""
            lines.append(f"  {number:>6} {sign} {text.expandtabs(1)[:WIDTH]}")
        if len(texts) > MOST_LINES:
            lines.append(f"         {sign} … {len(texts) - MOST_LINES} more")
    return lines


def moved_lines(one: MovedSurface, show: Display) -> list[str]:
    """One surface that moved, is new or gone."""
    lines = [f"{KINDS[one.kind]}  {one.words}"]
    for text in (surface_words(one, show), surface_at(one, show)):
        lines += textwrap.wrap(text, WIDTH, initial_indent="      ", subsequent_indent="      ")
    return lines


def change_lines(change: FindingChange, show: Display) -> list[str]:
    """A finding gained, lost or with another amount."""
    head = {"gained": "GAINED", "lost": "LOST", "amount": "OTHER AMOUNT"}[change.kind]
    lines = [f"{head}  {'' if not change.op else change.op + ': '}", *finding_lines(change.finding, show)]
    lines = [f"{lines[0]}{lines[1]}", *lines[2:]]
    if change.before is not None:
        lines.append(f"      before: {change.before.what}")
    return lines


def _table(title: str, many: tuple[Difference, ...]) -> list[str]:
    if not many:
        return []
    rows = [tuple(cell[:44] for cell in row) for row in difference_rows(many)]
    return [title, *table_lines(("", "what", "before", "now"), rows, frozenset()), ""]
