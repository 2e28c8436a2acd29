"""The contact oracle on fresh seeds, and ten ways to break the engine that it must notice."""

import random
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import halfthou.flow.read as read
import halfthou.flow.run as run
import halfthou.prove.clash as clash
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.stock import Stock
from halfthou.prove.clash_stock import HOLDER, RAPID, SHANK
from tests.oracle.contacts import judge
from tests.oracle.scenes import Scene, scene_of, write
from tests.product import stops


def ask(scene: Scene) -> str:
    with tempfile.TemporaryDirectory() as folder:
        write(scene, Path(folder))
        return judge(scene, stops(Path(folder)))[0]


def fresh(count: int, wanted: Callable[[Scene], bool] = lambda _scene: True) -> list[Scene]:
    """Scenes of seeds drawn now, and printed."""
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    draw = random.Random(seed)
    found: list[Scene] = []
    while len(found) < count:
        scene = scene_of(draw.randrange(10**9))
        if wanted(scene):
            found.append(scene)
    return found


def wrong(count: int) -> list[tuple[int, str, object]]:
    out = []
    for scene in fresh(count):
        word = ask(scene)
        if word != "right":
            out.append((scene.seed, word, scene.truth))
    return out


def test_every_contact_is_found_and_no_other() -> None:
    assert wrong(16) == []


@pytest.mark.slow
def test_every_contact_is_found_and_no_other_on_250_jobs() -> None:
    assert wrong(250) == []


def test_a_scene_is_as_large_as_promised() -> None:
    for scene in fresh(20):
        assert scene.moves >= 200
        assert len(scene.tools) >= 3
        assert all(scene.lines)


# -- breakages ---------------------------------------------------------------------------------------------------------


def patched(monkeypatch: pytest.MonkeyPatch, module: Any, name: str, wrap: Callable[[Any], Any]) -> None:
    monkeypatch.setattr(module, name, wrap(getattr(module, name)))


def pairs_without(why: int) -> Callable[[Any], Any]:
    def wrap(real: Any) -> Any:
        def other(*args: Any) -> Any:
            pairs = real(*args)
            return pairs.some(pairs.why != why)

        return other

    return wrap


def sweeps_changed(change: Callable[[np.ndarray], None]) -> Callable[[Any], Any]:
    def wrap(real: Any) -> Any:
        def other(*args: Any) -> Any:
            rows = real(*args).copy()
            change(rows)
            return rows

        return other

    return wrap


def no_rapids(rows: np.ndarray) -> None:
    rows["kind"][rows["kind"] == Kind.RAPID] = Kind.LINE
    rows["rapid"] = 0


def too_high(rows: np.ndarray) -> None:
    for name in ("from_mm", "to_mm", "centre_mm"):
        rows[name][:, 2] += 2.0


def without_clamp(real: Any) -> Any:
    def other(job: Any, *args: Any) -> Any:
        ops = tuple(
            replace(
                op, places=tuple(replace(p, bodies=tuple(b for b in p.bodies if b.name != "clamp")) for p in op.places)
            )
            for op in job.ops
        )
        return real(replace(job, ops=ops), *args)

    return other


def wrong_block(real: Any) -> Any:
    def other(*args: Any, **more: Any) -> Any:
        reading, setup = real(*args, **more)
        rows = reading.moves.moves.copy()
        rows["line"] += 1
        moves = reading.moves
        shifted = MoveList(
            moves=rows, frames=moves.frames, states=moves.states, calls=moves.calls, programs=moves.programs
        )
        return replace(reading, moves=shifted), setup

    return other


def lower_stock(real: Any) -> Any:
    def other(stock: Stock, *args: Any) -> Any:
        x, y, z = stock.high_mm
        return real(replace(stock, high_mm=(x, y, z - 2.0)), *args)

    return other


def one_piece(real: Any) -> Any:
    """Jaws taken for lying 3 mm farther along X."""

    def other(job: Any, op: int, place: int, origins: Any) -> Any:
        return real(job, op, place, origins) + np.array([3.0, 0.0, 0.0])

    return other


def no_cuts(real: Any) -> Any:
    def other(legs: Any, kinds: Any, *args: Any) -> Any:
        return real(legs, np.full_like(kinds, Kind.STOP), *args)

    return other


def no_lengths(real: Any) -> Any:
    def other(*args: Any) -> Any:
        start = real(*args)
        return replace(start, registers={slot: (0.0, radius) for slot, (_length, radius) in start.registers.items()})

    return other


def kind(*names: str) -> Callable[[Scene], bool]:
    return lambda scene: scene.truth.touches and scene.truth.kind in names


def first_op(*names: str) -> Callable[[Scene], bool]:
    return lambda scene: kind(*names)(scene) and scene.truth.op == 0


def shallow(scene: Scene) -> bool:
    return scene.truth.touches and scene.truth.depth < 0.3


def clean(scene: Scene) -> bool:
    return not scene.truth.touches


BREAKAGES: dict[str, tuple[Any, str, Callable[[Any], Any], Callable[[Scene], bool]]] = {
    "rapids are taken for feeds": (run, "sweeps_of", sweeps_changed(no_rapids), kind("rapid down", "rapid across")),
    "tips are 2 mm too high": (run, "sweeps_of", sweeps_changed(too_high), kind("rapid down", "rapid across")),
    "rapids are not looked at": (clash, "pairs_of", pairs_without(RAPID), kind("rapid down", "rapid across")),
    "shanks are not looked at": (clash, "pairs_of", pairs_without(SHANK), kind("shank stock")),
    "holders are not looked at": (clash, "pairs_of", pairs_without(HOLDER), kind("holder stock")),
    "the clamp is forgotten": (clash, "standing", without_clamp, kind("holder clamp")),
    "blocks are one line late": (run, "read_op", wrong_block, kind("rapid down", "holder clamp", "cutter jaw")),
    "the raw stock is 2 mm lower": (clash, "raw_of", lower_stock, first_op("rapid down", "rapid across")),
    "places lie 3 mm aside": (run, "place_shift_mm", one_piece, kind("holder clamp", "cutter jaw", "shank stock")),
    "what was cut is forgotten": (clash, "cuts_of", no_cuts, clean),
    "length registers are empty": (read, "start_of", no_lengths, clean),
}


@pytest.mark.parametrize("name", sorted(BREAKAGES))
def test_breakage_is_noticed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    module, target, wrap, wanted = BREAKAGES[name]
    scenes = fresh(4, wanted)
    assert [ask(scene) for scene in scenes] == ["right"] * 4
    patched(monkeypatch, module, target, wrap)
    assert any(ask(scene) != "right" for scene in scenes), name


def test_contact_limit_of_a_millimetre_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clash, "CONTACT_MM", 1.0)
    assert all(ask(scene) != "right" for scene in fresh(3, shallow))
