"""What the commands do: ask flow, show the answer, turn errors into words and exit codes."""

import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from halfthou.base.errors import Cancelled, CannotAnswer, HalfthouError, InputError
from halfthou.base.finding import Severity
from halfthou.base.units import Display
from halfthou.base.version import __version__
from halfthou.base.watch import Watch
from halfthou.cli.show import complaint_lines, finding_lines, style, summary_lines
from halfthou.cli.show_loads import load_lines
from halfthou.nouns.answers import Proof

EXIT_FOUND, EXIT_INPUT, EXIT_CANNOT, EXIT_FAULT, EXIT_STOPPED = 1, 2, 3, 4, 130


class Meter:
    """One line of progress on the error stream, redrawn at most ten times a second; silent when not a terminal."""

    def __init__(self, quiet: bool) -> None:
        """Draw nothing when quiet or when nobody is looking."""
        self.on = not quiet and sys.stderr.isatty()
        self.last = 0.0
        self.width = 0

    def tell(self, step: str, done: int, total: int) -> None:
        """Show how far the work is."""
        now = time.monotonic()
        if not self.on or (now - self.last < 0.1 and done < total):
            return
        self.last = now
        share = done / total if total else 1.0
        bar = "#" * round(24 * share) + "." * (24 - round(24 * share))
        text = f"  [{bar}] {100 * share:3.0f} %  {step}"
        print("\r" + text.ljust(self.width), end="", file=sys.stderr, flush=True)
        self.width = len(text)

    def clear(self) -> None:
        """Take the line away."""
        if self.on and self.width:
            print("\r" + " " * self.width + "\r", end="", file=sys.stderr, flush=True)
            self.width = 0


def _guarded(work: Callable[[], int], *, as_json: bool = False, meter: Meter | None = None) -> int:
    """Run `work`; every way it can fail ends in words and an exit code, never in a traceback."""
    try:
        return work()
    except HalfthouError as error:
        if meter:
            meter.clear()
        return _say_error(error, as_json)
    except KeyboardInterrupt:
        if meter:
            meter.clear()
        print("stopped; nothing was written", file=sys.stderr)
        return EXIT_STOPPED
    except BrokenPipeError:  # the reader of our output went away: `main` ends quietly
        raise
    except Exception as error:
        if meter:
            meter.clear()
        last = traceback.extract_tb(error.__traceback__)[-1]
        spot = f"{Path(last.filename).name}:{last.lineno}"
        print(
            f"halfthou {__version__}: our fault, not yours: {type(error).__name__}: {error} (at {spot}).\n"
            "Nothing was changed. Please report it with the files that led here.",
            file=sys.stderr,
        )
        return EXIT_FAULT


def _say_error(error: HalfthouError, as_json: bool) -> int:
    if as_json:
        from halfthou.sheets.proof_json import error_json

        print(error_json(error))
        return error.exit_code
    if isinstance(error, InputError):
        for complaint in error.complaints:
            print("\n".join(complaint_lines(complaint)), end="\n\n", file=sys.stderr)
        n = len(error.complaints)
        print(f"{n} thing{'s' if n != 1 else ''} to mend; nothing was proved.", file=sys.stderr)
    elif isinstance(error, Cancelled):
        print(f"{error}; nothing was written", file=sys.stderr)
    elif isinstance(error, CannotAnswer):
        print(f"CANNOT SAY: {error}", file=sys.stderr)
    else:
        print(str(error), file=sys.stderr)
    return error.exit_code


def prove_and_show(
    job: Path,
    *,
    as_json: bool,
    report: Path | None,
    pitch_mm: float | None,
    found_tools: Path | None,
    found_offsets: Path | None,
    times: Path | None = None,
    readings: Path | None = None,
    what_if: bool,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
) -> int:
    """Question 1 from the command line; returns the exit code."""
    meter = Meter(quiet)

    def work() -> int:
        from halfthou.flow.prove import ProveOptions, prove

        watch = Watch(tell=meter.tell, asked_to_stop=asked_to_stop)
        options = ProveOptions(
            pitch_mm=pitch_mm, found_tools=found_tools, found_offsets=found_offsets, what_if=what_if, times=times,
            readings=readings,
        )  # fmt: skip
        proof = prove(job, options, watch)
        meter.clear()
        if as_json:
            from halfthou.sheets.proof_json import proof_json

            print(proof_json(proof))
        else:
            print_proof(proof)
        if report is not None:
            from halfthou.sheets.report import write_report

            write_and_tell(lambda: write_report(proof, report, watch), report, meter)
        return EXIT_FOUND if proof.verdict is Severity.STOP else 0

    return _guarded(work, as_json=as_json, meter=meter)


def write_and_tell(write: Callable[[], None], path: Path, meter: Meter) -> None:
    """Write a report and say where it is."""
    write()
    meter.clear()
    print(f"report written: {path}", file=sys.stderr)


def print_proof(proof: Proof) -> None:
    """Findings, worst first, then the summary."""
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    show = Display(length_unit=proof.job.length_unit)
    names = tuple(op.name for op in proof.job.ops)
    title = f"{proof.job.name} rev {proof.job.revision}" if proof.job.revision else proof.job.name
    console.print(
        Text(f"{title}: {len(proof.moves.moves)} moves, {', '.join(names)}, machine {proof.job.machine.name}")
    )
    if proof.job.invented:
        console.print(Text("(invented demo data)", style="dim"))
    console.print()
    for finding in sorted(proof.findings, key=lambda f: (-f.severity, f.op, f.move)):
        lines = finding_lines(finding, show, names)
        console.print(Text(lines[0][:4], style=style(finding.severity)) + Text(lines[0][4:]))
        for line in lines[1:]:
            console.print(Text(line))
        console.print()
    for line in [*load_lines(proof), *summary_lines(proof)]:
        console.print(Text(line))


def new_and_show(programs: list[Path], *, out: Path | None, shop: Path | None, force: bool) -> int:
    """Write the skeleton of a job file from a program."""

    def work() -> int:
        from halfthou.flow.new import write_skeleton

        written, told = write_skeleton(programs, out=out, shop=shop, force=force)
        for line in told:
            print(line)
        print(f"written: {written}\nFill in the lines marked with <-- and then: halfthou prove {written.parent}")
        return 0

    return _guarded(work)


def explain_and_show(code: str) -> int:
    """Print the page of a code."""

    def work() -> int:
        from halfthou.sheets.pages import code_page

        print(code_page(code))
        return 0

    return _guarded(work)


def warm_and_show() -> int:
    """Compile every kernel."""

    def work() -> int:
        from halfthou.flow.warm import warm

        print(warm())
        return 0

    return _guarded(work)
