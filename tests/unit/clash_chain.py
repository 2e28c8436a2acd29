"""Small jobs of several operations for the contact tests: one part, turned over, laid on its side, or a mesh at first."""

from dataclasses import replace

from halfthou.nouns.frame import TurnOver
from halfthou.nouns.stock import Stock
from halfthou.prove.clash import contacts
from halfthou.prove.remove import remove
from tests.unit.clash_scene import scene
from tests.unit.remove_scene import HALF_TURN_X

__all__ = ["BACK_UP", "BLOCK", "HALF_TURN_X", "ON_SIDE", "STRAIGHT_ON", "asked", "chain", "operation"]

LOW, HIGH = (0.0, 0.0, -20.0), (100.0, 60.0, 0.0)
ON_SIDE = TurnOver(turn=((1, 0, 0), (0, 0, -1), (0, 1, 0)), shift_mm=(0.0, 0.0, -60.0), words="on its side")
BACK_UP = TurnOver(turn=((1, 0, 0), (0, 0, 1), (0, -1, 0)), shift_mm=(0.0, 60.0, 0.0), words="upright again")
STRAIGHT_ON = TurnOver(turn=((1, 0, 0), (0, 1, 0), (0, 0, 1)), shift_mm=(0.0, 0.0, 0.0), words="as it lies")
BLOCK = Stock(kind="box", low_mm=LOW, high_mm=HIGH)


def operation(tools, path, stock, before=None, pitch=0.5):
    """One operation: its scene with that stock, and what it leaves."""
    made = scene(tools, path, start=(-20, -20, 60))
    place = replace(made.job.ops[0].places[0], stock=stock)
    made = replace(made, job=replace(made.job, ops=(replace(made.job.ops[0], places=(place,)),)))
    first = before.first_row + len(before.moves.moves) if before else 0
    left = remove(
        made.moves, made.sweeps, made.job, 0, 0, shift_mm=made.shifts[0], pitch_mm=pitch, before=before, first_row=first
    )  # fmt: skip
    return made, left


def chain(tools, steps, stock=BLOCK):
    """The last scene and removal of operations (turn-over or None, path)."""
    made, left = None, None
    for turn, path in steps:
        own = stock if turn is None else Stock(kind="from", from_op=0, from_place=0, turn_over=turn)
        made, left = operation(tools, path, own, left)
    return made, left


def asked(made, left, earlier=()):
    return contacts(
        made.moves, made.sweeps, made.job, 0, [left] if left is not None else [], shifts=made.shifts,
        rapid_path="straight", earlier=earlier,
    )  # fmt: skip
