"""Worker processes of this machine: started when there is work, one task at a time each, ended at the end."""

import contextlib
import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from halfthou.files.snapshot import Snapshot
from halfthou.flow.library_task import LibraryOptions, Outcome, fault
from halfthou.flow.library_worker import receive, send

GRACE_S = 10.0  # what a worker gets to reach its next step after it was asked to stop


@dataclass(slots=True)
class _Hand:
    """One process; `task` is the number of the job in its hands, -1 none."""

    process: "subprocess.Popen[bytes]"
    errors: IO[bytes]
    task: int = -1


@dataclass(slots=True)
class LocalCrew:
    """Up to `workers` processes with `threads` threads each."""

    workers: int
    threads: int
    options: LibraryOptions
    hands: list[_Hand] = field(default_factory=list)
    done: "queue.SimpleQueue[tuple[_Hand, Outcome | None]]" = field(default_factory=queue.SimpleQueue)

    def room(self) -> bool:
        """Whether a process is free, or may still be started."""
        return len(self.hands) < self.workers or any(hand.task < 0 for hand in self.hands)

    def give(self, number: int, snapshot: Snapshot) -> None:
        """Hand a task to a free process."""
        hand = next((hand for hand in self.hands if hand.task < 0), None) or self._start()
        hand.task = number
        assert hand.process.stdin is not None
        with contextlib.suppress(OSError):  # if it has ended, its reading thread says so
            send(hand.process.stdin, (snapshot, self.options, self.threads))

    def poll(self, wait_s: float) -> list[tuple[int, Outcome]]:
        """What has come in, after waiting for at most wait_s."""
        try:
            found = [self.done.get(timeout=wait_s)]
        except queue.Empty:
            return []
        while not self.done.empty():
            found.append(self.done.get())
        out = []
        for hand, outcome in found:
            number, hand.task = hand.task, -1
            if outcome is None:
                self.hands.remove(hand)
                outcome = fault(f"the process that proved it ended {_how(hand)}")
            if number >= 0:
                out.append((number, outcome))
        return out

    def close(self) -> None:
        """End every process: each stops at its next step; one that does not is killed."""
        for hand in self.hands:
            assert hand.process.stdin is not None
            with contextlib.suppress(OSError):  # it may be gone already
                hand.process.stdin.close()
        until = time.monotonic() + GRACE_S
        for hand in self.hands:
            try:
                hand.process.wait(max(0.0, until - time.monotonic()))
            except subprocess.TimeoutExpired:
                hand.process.kill()
                hand.process.wait()
            hand.errors.close()
        self.hands.clear()

    def _start(self) -> _Hand:
        source = str(Path(__file__).resolve().parents[2])
        paths = os.pathsep.join([source, *filter(None, [os.environ.get("PYTHONPATH", "")])])
        errors = tempfile.TemporaryFile()  # noqa: SIM115 (closed with the process)
        process = subprocess.Popen(
            [sys.executable, "-m", "halfthou.flow.library_worker"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors, env={**os.environ, "PYTHONPATH": paths},
            start_new_session=True,
        )  # fmt: skip
        hand = _Hand(process, errors)
        self.hands.append(hand)
        threading.Thread(target=self._listen, args=(hand,), daemon=True).start()
        return hand

    def _listen(self, hand: _Hand) -> None:
        assert hand.process.stdout is not None
        with hand.process.stdout as stream:
            try:
                while True:
                    self.done.put((hand, receive(stream)))
            except Exception:  # its end, or half an outcome: both mean that it is gone
                self.done.put((hand, None))


def _how(hand: _Hand) -> str:
    """Exit code and last words of a process that has ended or is broken."""
    try:
        code: int | None = hand.process.wait(1.0)
    except subprocess.TimeoutExpired:
        hand.process.kill()
        code = hand.process.wait()
    assert hand.process.stdin is not None
    with contextlib.suppress(OSError):  # half a task may be in it
        hand.process.stdin.close()
    hand.errors.seek(0)
    lines = hand.errors.read()[-4000:].decode("utf-8", errors="replace").strip().splitlines()
    hand.errors.close()
    killed = " (killed from outside, perhaps for want of memory)" if code == -9 else ""
    return f"with code {code}{killed}" + (f": {lines[-1]}" if lines else "")
