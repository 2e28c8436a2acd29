"""`halfthou prove JOB --mesh OUT`: write the stock left after a move and say what the file holds."""

from collections.abc import Callable, Mapping
from pathlib import Path

import typer

from halfthou.base.watch import Watch
from halfthou.cli.ask import Meter, _guarded


def mesh_and_show(
    job: Path,
    out: Path | None,
    *,
    after_move: int | None,
    after_op: str | None,
    place: str | None,
    pitch_mm: float | None,
    found_tools: Path | None,
    found_offsets: Path | None,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
    besides: Mapping[str, object],
) -> int:
    """Write the mesh; returns the exit code. besides: other questions of the same call, refused when one was asked."""
    if out is None:
        raise typer.BadParameter("--after-move, --after-op and --place go with --mesh")
    asked = [option for option, value in besides.items() if value]
    if asked:
        raise typer.BadParameter(f"--mesh only writes a file and proves nothing; leave {', '.join(asked)} out")
    meter = Meter(quiet)

    def work() -> int:
        from halfthou.flow.prove import ProveOptions, run_only
        from halfthou.flow.surface import SurfaceAsk, check_ending, mesh_of, write_mesh

        check_ending(out)
        watch = Watch(tell=meter.tell, asked_to_stop=asked_to_stop)
        options = ProveOptions(pitch_mm=pitch_mm, found_tools=found_tools, found_offsets=found_offsets)
        run = run_only(job, options, watch)
        answer = mesh_of(run, SurfaceAsk(after_move=after_move, after_op=after_op, place=place), watch=watch)
        said = (*answer.said, *write_mesh(answer.mesh, out, watch=watch))
        meter.clear()
        wrong = "; ".join(answer.mesh.closed_manifold())
        print(f"{out}: {answer.op}, {answer.place}, after move {answer.after_move}")
        print(
            f"  {len(answer.mesh.triangles)} triangles, {f'NOT closed: {wrong}' if wrong else 'closed'}; "
            f"{answer.mesh.volume_mm3():.1f} mm³ inside the mesh"
        )
        for line in said:
            print(f"  {line}")
        return 0

    return _guarded(work, meter=meter)
