"""A worker process: tasks come in on its input, outcomes go out; the end of its input stops it at the next step."""

import os
import pickle
import queue
import signal
import sys
import threading
from typing import IO, Any

from halfthou.base.errors import Cancelled
from halfthou.base.watch import Watch

_SIZE = 8


def send(stream: IO[bytes], thing: Any) -> None:
    """One object, its length before it."""
    raw = pickle.dumps(thing)
    stream.write(len(raw).to_bytes(_SIZE, "little") + raw)
    stream.flush()


def receive(stream: IO[bytes]) -> Any:
    """The next object; raises EOFError when the other side is gone."""
    head = stream.read(_SIZE)
    raw = stream.read(int.from_bytes(head, "little")) if len(head) == _SIZE else b""
    if not raw:
        raise EOFError
    return pickle.loads(raw)


def main() -> None:
    """Prove what comes in until the input ends. Whoever started it is the only one who writes there."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the one who started us; it ends our input
    out = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing printed by accident may get between the outcomes
    tasks: queue.SimpleQueue[Any] = queue.SimpleQueue()
    stop = threading.Event()

    def read() -> None:
        try:
            while True:
                tasks.put(receive(sys.stdin.buffer))
        except (EOFError, OSError):
            stop.set()
            tasks.put(None)

    threading.Thread(target=read, daemon=True).start()
    from halfthou.flow.library_task import prove_snapshot

    watch = Watch(asked_to_stop=stop.is_set)
    while not stop.is_set() and (task := tasks.get()) is not None:
        snapshot, options, threads = task
        try:
            send(out, prove_snapshot(snapshot, options, threads, watch))
        except (Cancelled, BrokenPipeError):
            break
    os._exit(0)  # the reading thread may still wait for input


if __name__ == "__main__":
    main()
