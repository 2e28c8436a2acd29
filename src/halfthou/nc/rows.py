"""The moves table while it grows: one tuple a move, packed into arrays in pieces so that a million moves fit."""

from typing import Any

import numpy as np

from halfthou.base.table import Rows, lock
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, MoveList
from halfthou.nouns.program import Program

PIECE = 32768
Row = list[Any]
COLUMNS = {name: k for k, name in enumerate(MOVE.names or ())}
START, END, CENTRE = COLUMNS["start_mm"], COLUMNS["end_mm"], COLUMNS["centre_mm"]
FEED, SWEEP_RAD, KIND = COLUMNS["feed_mm_per_s"], COLUMNS["sweep_rad"], COLUMNS["kind"]


class MoveRows:
    """Growing tables of moves, frames, states and calls."""

    def __init__(self) -> None:
        """Empty tables."""
        self.pieces: list[Rows] = []
        self.fresh: list[Any] = []
        self.frames: dict[tuple[Any, ...], int] = {}
        self.states: dict[tuple[Any, ...], int] = {}
        self.calls: list[tuple[int, int, int, int]] = []
        self.count = 0

    def add(self, row: Any) -> None:
        """One move."""
        self.fresh.append(tuple(row))
        self.count += 1
        if len(self.fresh) >= PIECE:
            self._pack()

    def _pack(self) -> None:
        if self.fresh:
            self.pieces.append(np.array(self.fresh, dtype=MOVE))
            self.fresh = []

    def frame(self, key: tuple[Any, ...]) -> int:
        """Row of a frame (system, shift, known)."""
        return self.frames.setdefault(key, len(self.frames))

    def state(self, key: tuple[Any, ...]) -> int:
        """Row of a modal state."""
        return self.states.setdefault(key, len(self.states))

    def call(self, program: int, line: int, parent: int, repeat: int) -> int:
        """A new call row."""
        self.calls.append((program, line, parent, repeat))
        return len(self.calls) - 1

    def moves(self, programs: tuple[Program, ...]) -> MoveList:
        """The tables so far, read-only."""
        self._pack()
        if len(self.pieces) > 1:
            self.pieces = [np.concatenate(self.pieces)]
        table = self.pieces[0].copy() if self.pieces else np.zeros(0, dtype=MOVE)
        return MoveList(
            moves=lock(table),
            frames=lock(np.array(list(self.frames), dtype=FRAME)),
            states=lock(np.array(list(self.states), dtype=STATE)),
            calls=lock(np.array(self.calls, dtype=CALL)),
            programs=programs,
        )
