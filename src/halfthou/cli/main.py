"""The command line: the questions as verbs, and `new`, `explain`, `warm`."""

import signal
import sys
import threading
from pathlib import Path
from types import FrameType
from typing import Annotated

import typer

from halfthou.base.version import __version__

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="From 'the program ran once' to 'released for unattended batches, in tolerance, with a record'.",
)


@app.callback(invoke_without_command=True)
def _about(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        print(f"halfthou {__version__}")
        raise typer.Exit


@app.command()
def prove(
    jobs: Annotated[list[Path], typer.Argument(help="A job folder or a job.toml; or several, or a folder of jobs.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print the answer as JSON (docs/json.md).")] = False,
    report: Annotated[Path | None, typer.Option(help="Write a report with pictures, as PDF.")] = None,
    pitch: Annotated[float | None, typer.Option(help="Spacing of the depth elements in mm (default 0.25).")] = None,
    found_tools: Annotated[Path | None, typer.Option(help="The control's tool table as found, CSV.")] = None,
    found_offsets: Annotated[Path | None, typer.Option(help="The control's work offsets as found, CSV.")] = None,
    times: Annotated[
        Path | None, typer.Option(help="Readings of cycle times (log or stopwatch), CSV: calibrates the times.")
    ] = None,
    mesh: Annotated[Path | None, typer.Option(help="Only write the stock left as a mesh: .stl, .3mf, .glb.")] = None,
    after_move: Annotated[int | None, typer.Option(help="With --mesh: after this row of the move table.")] = None,
    after_op: Annotated[str | None, typer.Option(help="With --mesh: after the operation of this name.")] = None,
    place: Annotated[str | None, typer.Option(help="With --mesh: the place on the table, by name.")] = None,
    readings: Annotated[
        Path | None, typer.Option(help="Spindle loads read at a few blocks, CSV: learns how the material cuts.")
    ] = None,
    what_if: Annotated[bool, typer.Option(help="Also try shifted datum, other stock, block delete.")] = True,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress.")] = False,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Many jobs: how many at a time (default: one a core).")
    ] = None,
    store: Annotated[
        Path | None, typer.Option(help="Many jobs: where answers are kept (default: .halfthou there).")
    ] = None,
    cluster: Annotated[str | None, typer.Option(help="Many jobs: address of a dask scheduler to prove them.")] = None,
    against: Annotated[Path | None, typer.Option(help="Another revision of the job: say what differs.")] = None,
    still: Annotated[Path | None, typer.Option(help="An earlier proof (JSON): say whether it still holds.")] = None,
    machine: Annotated[
        str | None, typer.Option(help="Another machine of the shop file: show both side by side.")
    ] = None,
    feeds: Annotated[bool, typer.Option("--feeds", help="Suggest feeds that the limits allow, tool by tool.")] = False,
    feeds_into: Annotated[
        Path | None, typer.Option(help="Write a copy of the programs with these feeds into this folder; prove it too.")
    ] = None,
    bend_limit: Annotated[
        float | None, typer.Option(min=1e-4, help="With --feeds: largest bending in mm at walls that stay.")
    ] = None,
) -> None:
    """Question 1: will this program run on this machine with these tools, stock and jaws, and make this part?

    Several jobs, or a folder that holds jobs, are proved side by side; finished answers are kept and the next call goes on.
    """
    from halfthou.cli.question import Asked, answer

    stop = threading.Event()
    _stop_on_interrupt(stop)
    asked = Asked(
        jobs=jobs, as_json=as_json, report=report, pitch=pitch, found_tools=found_tools, found_offsets=found_offsets,
        times=times, mesh=mesh, after_move=after_move, after_op=after_op, place=place, readings=readings, what_if=what_if,
        quiet=quiet, workers=workers, store=store, cluster=cluster, against=against, still=still, machine=machine,
        feeds=feeds, feeds_into=feeds_into, bend_limit=bend_limit,
    )  # fmt: skip
    raise typer.Exit(answer(asked, stop.is_set))


@app.command()
def new(
    programs: Annotated[list[Path], typer.Argument(help="The NC program, and further files with its subprograms.")],
    out: Annotated[Path | None, typer.Option(help="Where to write the job file (default: job.toml beside it).")] = None,
    shop: Annotated[Path | None, typer.Option(help="A shop file whose machine codes are known.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
) -> None:
    """Write a commented job file from a program: tools, offsets, units, extents and unknown codes it uses."""
    from halfthou.cli.ask import new_and_show

    raise typer.Exit(new_and_show(programs, out=out, shop=shop, force=force))


@app.command()
def explain(code: Annotated[str, typer.Argument(help="A code such as P221 or N214.")]) -> None:
    """Print the page of a finding or complaint code."""
    from halfthou.cli.ask import explain_and_show

    raise typer.Exit(explain_and_show(code))


@app.command()
def warm() -> None:
    """Compile the kernels now, so that the first proof starts at once."""
    from halfthou.cli.ask import warm_and_show

    raise typer.Exit(warm_and_show())


def _stop_on_interrupt(stop: threading.Event) -> None:
    """First Ctrl-C asks the work to stop; a second one ends the process at once."""

    def asked(_signal: int, _frame: FrameType | None) -> None:
        if stop.is_set():
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            raise KeyboardInterrupt
        stop.set()
        print("\nstopping at the next step; Ctrl-C again ends at once", file=sys.stderr)

    signal.signal(signal.SIGINT, asked)


def main() -> None:
    """Entry point of the console command."""
    try:
        app(prog_name="halfthou")
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
