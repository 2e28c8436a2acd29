"""Which of its ways `halfthou prove` was asked in: one job, many, a mesh, against another, on another machine, feeds."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import typer


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The words of the command as typed; see `cli.main.prove` for what each means."""

    jobs: list[Path]
    as_json: bool
    report: Path | None
    pitch: float | None
    found_tools: Path | None
    found_offsets: Path | None
    times: Path | None
    mesh: Path | None
    after_move: int | None
    after_op: str | None
    place: str | None
    readings: Path | None
    what_if: bool
    quiet: bool
    workers: int | None
    store: Path | None
    cluster: str | None
    against: Path | None
    still: Path | None
    machine: str | None
    feeds: bool
    feeds_into: Path | None
    bend_limit: float | None

    @property
    def besides(self) -> bool:
        """Whether a second job, proof or machine is named."""
        return self.still is not None or self.machine is not None or self.against is not None

    @property
    def wants_feeds(self) -> bool:
        """Whether feeds are the question."""
        return self.feeds or self.feeds_into is not None


def answer(asked: Asked, stop: Callable[[], bool]) -> int:
    """Ask the right question; returns the exit code. Raises BadParameter for words that do not go together."""
    from halfthou.cli.many import is_many

    many = is_many(asked.jobs)
    _one_or_many(asked, many)
    if many:
        return _many(asked, stop)
    if asked.mesh is not None or (asked.after_move, asked.after_op, asked.place) != (None, None, None):
        return _mesh(asked, stop)
    _together(asked)
    return _one(asked, stop)


def _one_or_many(asked: Asked, many: bool) -> None:
    single = {
        "--mesh": asked.mesh, "--after-move": asked.after_move, "--after-op": asked.after_op, "--place": asked.place,
        "--report": asked.report, "--found-tools": asked.found_tools, "--found-offsets": asked.found_offsets,
        "--against": asked.against, "--still": asked.still, "--machine": asked.machine, "--times": asked.times,
        "--readings": asked.readings, "--feeds": asked.feeds or None, "--feeds-into": asked.feeds_into,
        "--bend-limit": asked.bend_limit,
    }  # fmt: skip
    wrong = single if many else {"--workers": asked.workers, "--store": asked.store, "--cluster": asked.cluster}
    for option, value in wrong.items():
        if value is not None:
            raise typer.BadParameter(f"{option} is for {'a single job' if many else 'many jobs'}")


def _together(asked: Asked) -> None:
    if asked.times is not None and asked.besides:
        raise typer.BadParameter("--times calibrates one job on one machine; leave --still, --machine, --against out")
    if asked.readings is not None and (asked.wants_feeds or asked.besides):
        raise typer.BadParameter("--readings teaches one proof; leave --feeds, --still, --machine, --against out")
    if asked.wants_feeds and asked.besides:
        raise typer.BadParameter("--feeds is a question of its own; leave --still, --machine, --against out")
    if asked.bend_limit is not None and not asked.wants_feeds:
        raise typer.BadParameter("--bend-limit goes with --feeds")


def _many(asked: Asked, stop: Callable[[], bool]) -> int:
    from halfthou.cli.many import prove_many_and_show

    return prove_many_and_show(
        asked.jobs, as_json=asked.as_json, pitch_mm=asked.pitch, what_if=asked.what_if, workers=asked.workers,
        store=asked.store, cluster=asked.cluster, quiet=asked.quiet or asked.as_json, asked_to_stop=stop,
    )  # fmt: skip


def _mesh(asked: Asked, stop: Callable[[], bool]) -> int:
    from halfthou.cli.surface import mesh_and_show

    return mesh_and_show(
        asked.jobs[0], asked.mesh, after_move=asked.after_move, after_op=asked.after_op, place=asked.place,
        pitch_mm=asked.pitch, found_tools=asked.found_tools, found_offsets=asked.found_offsets, quiet=asked.quiet,
        asked_to_stop=stop,
        besides={
            "--json": asked.as_json, "--report": asked.report, "--against": asked.against, "--still": asked.still,
            "--machine": asked.machine,
        },
    )  # fmt: skip


def _one(asked: Asked, stop: Callable[[], bool]) -> int:
    from halfthou.cli.ask import prove_and_show
    from halfthou.cli.beside import asked_beside

    quiet = asked.quiet or asked.as_json
    beside = asked_beside(
        asked.jobs[0], against=asked.against, still=asked.still, machine=asked.machine, as_json=asked.as_json,
        report=asked.report, pitch_mm=asked.pitch, found_tools=asked.found_tools, found_offsets=asked.found_offsets,
        what_if=asked.what_if, quiet=quiet, asked_to_stop=stop,
    )  # fmt: skip
    if beside is not None:
        return beside
    if asked.wants_feeds:
        from halfthou.cli.feeds import feeds_and_show

        return feeds_and_show(
            asked.jobs[0], into=asked.feeds_into, bend_limit_mm=asked.bend_limit, as_json=asked.as_json,
            report=asked.report, pitch_mm=asked.pitch, found_tools=asked.found_tools, found_offsets=asked.found_offsets,
            times=asked.times, what_if=asked.what_if, quiet=quiet, asked_to_stop=stop,
        )  # fmt: skip
    return prove_and_show(
        asked.jobs[0], as_json=asked.as_json, report=asked.report, pitch_mm=asked.pitch, found_tools=asked.found_tools,
        found_offsets=asked.found_offsets, times=asked.times, readings=asked.readings, what_if=asked.what_if,
        quiet=quiet, asked_to_stop=stop,
    )  # fmt: skip
