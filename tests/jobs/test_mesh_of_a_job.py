"""A job's stock as a mesh, from files to file: both operations, a move in between, wrong calls."""

import struct
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from halfthou.api import workspace
from halfthou.base.errors import InputError
from halfthou.cli.main import app
from halfthou.flow.prove import ProveOptions, run_only
from halfthou.flow.surface import SurfaceAsk, mesh_of, write_mesh
from halfthou.prove.remove_volume import volume_of

PLATE = Path(__file__).resolve().parents[2] / "examples" / "ice-core-plate"


@pytest.fixture(scope="module")
def run():
    return run_only(PLATE, ProveOptions(pitch_mm=2.0))


def codes(caught):
    return [complaint.code for complaint in caught.value.complaints]


def test_each_operation_is_closed_and_the_last_one_fits_the_design(run):
    volumes = []
    for k, op in enumerate(run.job.ops):
        answer = mesh_of(run, SurfaceAsk(after_op=op.name))
        assert answer.mesh.closed_manifold() == () and answer.op == op.name
        assert set(np.unique(answer.mesh.operation).tolist()) <= set(range(-1, k + 1))
        assert k in answer.mesh.operation
        volumes.append(answer.mesh.volume_mm3())
        volume = volume_of(run.removals[k][0], 2)[0]
        assert abs(volumes[-1] - volume.best) <= volume.bound
    assert volumes[1] < volumes[0]
    mesh = mesh_of(run).mesh
    deviation = mesh.deviation_mm
    assert deviation is not None and not np.isnan(deviation).any()
    assert np.mean(np.abs(deviation) < 0.006) > 0.75  # the walls and floors of the design, to its own chords
    for name in ("operation", "tool"):
        assert ((getattr(mesh, name) == -1) == (mesh.move == -1)).all()
    rows = run.moves.moves
    cut = mesh.move >= 0
    assert (rows["tool"][mesh.move[cut]] == mesh.tool[cut]).all()


def test_a_move_in_between_lies_between_the_states_around_it(run):
    middle = len(run.moves.moves) // 3
    sizes = [mesh_of(run, SurfaceAsk(after_move=row)).mesh.volume_mm3() for row in (0, middle, run.rows[0].stop - 1)]
    assert sizes[0] > sizes[1] > sizes[2]
    answer = mesh_of(run, SurfaceAsk(after_move=middle))
    assert answer.op == run.job.ops[0].name and answer.mesh.move.max() <= middle
    end = mesh_of(run, SurfaceAsk(after_op=run.job.ops[0].name))
    last = mesh_of(run, SurfaceAsk(after_move=run.rows[0].stop - 1))
    assert end.after_move == last.after_move and end.mesh.points_mm.tobytes() == last.mesh.points_mm.tobytes()


@pytest.mark.parametrize(
    "ask",
    [
        SurfaceAsk(after_op="op 9"),
        SurfaceAsk(after_move=-1),
        SurfaceAsk(after_move=10**6),
        SurfaceAsk(after_move=3, after_op="op 1"),
        SurfaceAsk(place="nowhere"),
    ],
)
def test_a_state_that_is_not_there_earns_f593(run, ask):
    with pytest.raises(InputError) as caught:
        mesh_of(run, ask)
    assert codes(caught) == ["F593"]


def test_a_format_not_known_earns_f592(run, tmp_path):
    with pytest.raises(InputError) as caught:
        write_mesh(mesh_of(run).mesh, tmp_path / "plate.obj")
    assert codes(caught) == ["F592"] and list(tmp_path.iterdir()) == []


def test_written_files_say_what_they_carry(run, tmp_path):
    mesh = mesh_of(run).mesh
    for ending in (".stl", ".3mf", ".GLB"):
        said = write_mesh(mesh, tmp_path / f"plate{ending}")
        assert (tmp_path / f"plate{ending}").stat().st_size > 10_000
        assert not any("not closed" in line for line in said)
    data = (tmp_path / "plate.stl").read_bytes()
    assert struct.unpack("<I", data[80:84])[0] == len(mesh.triangles)
    assert b"attribute" in data[:80] and b"move:" in data[:80]  # as many labels as fit


def test_command_and_python_call(tmp_path):
    out = tmp_path / "plate.stl"
    call = ["prove", str(PLATE), "--mesh", str(out), "--after-op", "op 1", "--pitch", "2"]
    done = CliRunner().invoke(app, call)
    assert done.exit_code == 0, done.output
    assert "closed" in done.output and "op 1" in done.output and out.stat().st_size > 10_000
    for wrong in (["--after-op", "op 1"], ["--mesh", str(out), "--json"]):
        assert CliRunner().invoke(app, ["prove", str(PLATE), *wrong]).exit_code == 2
    assert CliRunner().invoke(app, ["prove", str(PLATE), "--mesh", str(tmp_path / "plate.obj")]).exit_code == 2
    answer = workspace.open(PLATE).mesh(after_move=5, pitch_mm=2.0)
    assert answer.after_move == 5 and answer.mesh.closed_manifold() == ()
