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
    from halfthou.cli.ask import prove_and_show
    from halfthou.cli.beside import asked_beside
    from halfthou.cli.many import is_many, prove_many_and_show

    stop = threading.Event()
    _stop_on_interrupt(stop)
    many = is_many(jobs)
    single = {
        "--mesh": mesh, "--after-move": after_move, "--after-op": after_op, "--place": place,
        "--report": report, "--found-tools": found_tools, "--found-offsets": found_offsets, "--against": against,
        "--still": still, "--machine": machine, "--times": times, "--readings": readings, "--feeds": feeds or None,
        "--feeds-into": feeds_into, "--bend-limit": bend_limit,
    }  # fmt: skip
    wrong = single if many else {"--workers": workers, "--store": store, "--cluster": cluster}
    for option, value in wrong.items():
        if value is not None:
            raise typer.BadParameter(f"{option} is for {'a single job' if many else 'many jobs'}")
    if many:
        code = prove_many_and_show(
            jobs, as_json=as_json, pitch_mm=pitch, what_if=what_if, workers=workers, store=store, cluster=cluster,
            quiet=quiet or as_json, asked_to_stop=stop.is_set,
        )  # fmt: skip
        raise typer.Exit(code)
    if mesh is not None or (after_move, after_op, place) != (None, None, None):
        from halfthou.cli.surface import mesh_and_show

        code = mesh_and_show(
            jobs[0], mesh, after_move=after_move, after_op=after_op, place=place, pitch_mm=pitch, found_tools=found_tools,
            found_offsets=found_offsets, quiet=quiet, asked_to_stop=stop.is_set,
            besides={"--json": as_json, "--report": report, "--against": against, "--still": still, "--machine": machine},
        )  # fmt: skip
        raise typer.Exit(code)
    if times is not None and (still is not None or machine is not None or against is not None):
        raise typer.BadParameter("--times calibrates one job on one machine; leave --still, --machine, --against out")
    question = feeds or feeds_into is not None
    if readings is not None and (question or still is not None or machine is not None or against is not None):
        raise typer.BadParameter("--readings teaches one proof; leave --feeds, --still, --machine, --against out")
    if question and (still is not None or machine is not None or against is not None):
        raise typer.BadParameter("--feeds is a question of its own; leave --still, --machine, --against out")
    if bend_limit is not None and not question:
        raise typer.BadParameter("--bend-limit goes with --feeds")
    beside = asked_beside(
        jobs[0], against=against, still=still, machine=machine, as_json=as_json, report=report, pitch_mm=pitch,
        found_tools=found_tools, found_offsets=found_offsets, what_if=what_if, quiet=quiet or as_json,
        asked_to_stop=stop.is_set,
    )  # fmt: skip
    if beside is not None:
        raise typer.Exit(beside)
    if feeds or feeds_into is not None:
        from halfthou.cli.feeds import feeds_and_show

        code = feeds_and_show(
            jobs[0], into=feeds_into, bend_limit_mm=bend_limit, as_json=as_json, report=report, pitch_mm=pitch,
            found_tools=found_tools, found_offsets=found_offsets, times=times, what_if=what_if,
            quiet=quiet or as_json, asked_to_stop=stop.is_set,
        )  # fmt: skip
        raise typer.Exit(code)
    code = prove_and_show(
        jobs[0],
        as_json=as_json,
        report=report,
        pitch_mm=pitch,
        found_tools=found_tools,
        found_offsets=found_offsets,
        times=times,
        readings=readings,
        what_if=what_if,
        quiet=quiet or as_json,
        asked_to_stop=stop.is_set,
    )
    raise typer.Exit(code)


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
