"""Suggested feeds on the command line: the table, why a tool is left as it is, and the copy before and after."""

import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path

from halfthou.base.finding import Severity
from halfthou.base.units import Display, duration
from halfthou.base.value import Result, Value
from halfthou.base.watch import Watch
from halfthou.cli.ask import EXIT_CANNOT, EXIT_FOUND, Meter, _guarded, print_proof, write_and_tell
from halfthou.cli.show import WIDTH, finding_lines, table_lines
from halfthou.nouns.feeds import FeedCopy, Feeds, FeedSuggestion

CLOSING = (
    "Suggestions are suggestions: they hold in this model, for the limits named. Look at the first piece and listen to it; "
    "what is not judged is said above."
)


def feeds_and_show(
    job: Path,
    *,
    into: Path | None,
    bend_limit_mm: float | None,
    as_json: bool,
    report: Path | None,
    pitch_mm: float | None,
    found_tools: Path | None,
    found_offsets: Path | None,
    times: Path | None,
    what_if: bool,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
) -> int:
    """Prove, suggest, and write the copy when asked; the exit code of the proof, 3 when no copy could be written."""
    meter = Meter(quiet)

    def work() -> int:
        from halfthou.flow.feeds import feeds
        from halfthou.flow.prove import ProveOptions

        watch = Watch(tell=meter.tell, asked_to_stop=asked_to_stop)
        options = ProveOptions(
            pitch_mm=pitch_mm, found_tools=found_tools, found_offsets=found_offsets, what_if=what_if, times=times
        )  # fmt: skip
        found = feeds(job, options, watch, into=into, bend_limit_mm=bend_limit_mm)
        meter.clear()
        ops = tuple(op.name for op in found.proof.job.ops)
        if as_json:
            from halfthou.sheets.feeds_json import feeds_json

            print(feeds_json(found.proof, found.feeds, found.copy))
        else:
            show = Display(length_unit=found.proof.job.length_unit)
            print_proof(found.proof)
            print("\n".join(["", *feed_lines(found.feeds, ops, show)]))
            if found.copy is not None:
                print("\n".join(["", *copy_lines(found.copy, ops, show)]))
        if report is not None:
            from halfthou.sheets.report import write_report

            write_and_tell(lambda: write_report(found.proof, report, watch), report, meter)
        if found.copy is not None and not found.copy.files:
            return EXIT_CANNOT
        return EXIT_FOUND if found.proof.verdict is Severity.STOP else 0

    return _guarded(work, as_json=as_json, meter=meter)


def _seconds(value: Result) -> str:
    if not isinstance(value, Value):
        return "not known"
    sign = "-" if value.best < 0 else ""
    return f"{sign}{duration(abs(value.best))}" + (f" ± {duration(value.bound)}" if value.bound >= 0.05 else "")


def _ratio(value: float) -> str:
    return "any" if value > 99 else f"{value:.2f}"


def feed_lines(feeds: Feeds, ops: Sequence[str], show: Display) -> list[str]:
    """The table of suggestions, the reasons, what is not judged."""
    lines = ["Suggested feeds (every F of the tool in the operation times the factor)"]
    rows = [
        (
            ops[s.op], f"T{s.tool}", s.name, show.feed(s.feed_mm_per_s), show.feed(s.feed_mm_per_s * s.feed_ratio),
            f"{s.feed_ratio:.3f}", "" if s.speed_ratio == 1.0 else f"{s.speed_rpm * s.speed_ratio:.0f} rpm",
            s.binding, f"{_ratio(s.limits[0].used_ratio)} / {_ratio(s.best_ratio)} / {_ratio(s.most_ratio)}", _seconds(s.saved),
        )
        for s in feeds.suggestions
        if not s.leave
    ]  # fmt: skip
    heads = ("op", "tool", "name", "F now", "F suggested", "factor", "S", "limit", "high/best/low", "saves")
    lines += table_lines(heads, rows, frozenset({3, 4, 5, 6, 9})) if rows else ["  none: every tool is left as it is"]
    if rows:
        lines += [f"  all together: saves {_seconds(feeds.saved)} of {duration(feeds.before_s)}"]
        lines += _wrapped(
            f"F is the highest programmed. high/best/low: the factor allowed at {100 * feeds.high_ratio:.0f} %, 100 % and "
            f"{100 * feeds.low_ratio:.0f} % of the best estimate of the load ({feeds.source}), for bending also with the stiffness at the end of its band; the first is used."
        )
        for s in feeds.suggestions:
            lines += [] if s.leave else _reasons(s, ops)
    left = [s for s in feeds.suggestions if s.leave]
    if left:
        lines += ["", "Left as they are"]
        for s in left:
            lines += _wrapped(f"{ops[s.op]} T{s.tool} {s.name}: {s.leave}", "- ")
    lines += ["", "Not judged by any suggestion:"]
    for text in feeds.said:
        lines += _wrapped(text, "- ")
    return lines + textwrap.wrap(CLOSING, WIDTH)


def _reasons(s: FeedSuggestion, ops: Sequence[str]) -> list[str]:
    """Why this far, what was not limited, what else to know."""
    chatter = ("stability",) if any(text.startswith("chatter") for text in s.said) else ()
    limits = "; ".join(
        f"{one.name} ({one.words})" for one in s.limits if one.name not in ("step", "machine feed", *chatter)
    )
    lines = _wrapped(f"{ops[s.op]} T{s.tool}: {limits or 'no limit with a load'}", "- ")
    if s.life_ratio is not None:
        lines += _wrapped(f"life of an edge times {s.life_ratio:.2f}", "    ")
    if s.not_limited:
        lines += _wrapped(f"not limited by: {'; '.join(s.not_limited)}", "    ")
    for text in s.said:
        lines += _wrapped(text, "    ")
    return lines


def _wrapped(text: str, head: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="  " + head, subsequent_indent="  " + " " * len(head))


def copy_lines(copy: FeedCopy, ops: Sequence[str], show: Display) -> list[str]:
    """What the copy changes, and the proof of it beside the proof of the original."""
    lines: list[str] = []
    if copy.not_written:
        lines.append("Not in the copy")
        for one in copy.not_written:
            lines += _wrapped(f"{ops[one.op]} T{one.tool}: {one.why}", "- ")
    if not copy.files:
        return [*lines, "No copy is written: there is nothing to change in it."]
    lines.append(f"Copy written to {copy.folder}")
    lines += [f"  {file}: {n} word{'s' if n != 1 else ''} changed" for file, n in copy.files]
    for word in copy.words[:12]:
        lines.append(f"  {word.file}:{word.line}:{word.column}  {word.before} -> {word.after}  (T{word.tool})")
    if len(copy.words) > 12:
        lines.append(f"  … and {len(copy.words) - 12} more")
    before, after = copy.before_s, copy.after_s
    lines += ["", "The copy proved again"]
    if isinstance(before, Value) and isinstance(after, Value):
        saved = before.best - after.best
        lines.append(
            f"  time: {duration(before.best)} -> {duration(after.best)} ({'-' if saved >= 0 else '+'}{duration(abs(saved))})"
        )
    lines.append(
        f"  findings: {copy.findings_kept} as before, {len(copy.findings)} gained, lost or with another amount"
    )
    rows = [
        (ops[p.op], f"T{p.tool}", p.name, *(_two(v, digits) for v, digits in (
            (p.power_w, 0), (p.torque_n_m, 2), (p.force_n, 0), (p.bend_mm, 3), (p.chip_mm, 3))))
        for p in copy.peaks
    ]  # fmt: skip
    heads = ("op", "tool", "name", "power W", "torque N·m", "force N", "bending mm", "chip mm")
    lines += ["  highest loads, best estimates, before -> after", *table_lines(heads, rows, frozenset(range(3, 8)))]
    for change in copy.findings:
        head = {"gained": "GAINED", "lost": "LOST", "amount": "OTHER AMOUNT"}[change.kind]
        own = finding_lines(change.finding, show)
        lines += ["", f"{head}  {change.op + ': ' if change.op else ''}{own[0]}", *own[1:]]
    lines += ["", *textwrap.wrap(f"Before: {copy.verdict_before}", WIDTH, subsequent_indent="    ")]
    return lines + textwrap.wrap(f"Copy: {copy.verdict_after}", WIDTH, subsequent_indent="    ")


def _two(pair: tuple[float | None, float | None], digits: int) -> str:
    a, b = ("?" if v is None else f"{v:.{digits}f}" for v in pair)
    return a if a == b else f"{a} -> {b}"
