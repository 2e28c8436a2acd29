"""Workers of a dask cluster: the job's files are sent along, so that no disk need be shared."""

import time
import uuid
from dataclasses import dataclass, field
from typing import Any

from halfthou.base.errors import CannotAnswer, Complaint, InputError
from halfthou.base.place import Place
from halfthou.base.watch import Watch
from halfthou.files.snapshot import Snapshot
from halfthou.flow.library_task import LibraryOptions, Outcome, fault, prove_snapshot

REACH_S = 10.0  # how long the scheduler may take to answer
ASK_S = 1.0  # how often a running task asks whether it should stop
POLL_S = 0.1


@dataclass(slots=True)
class ClusterCrew:
    """A client of the scheduler at `address`."""

    address: str
    options: LibraryOptions
    client: Any = None
    stop: Any = None
    name: str = ""
    futures: dict[int, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Connect. Raises CannotAnswer without the package, InputError (F813) when nobody answers."""
        try:
            from distributed import Client, Event
        except ImportError as error:
            what = "a cluster needs the optional part: pip install 'halfthou[cluster]'"
            raise CannotAnswer(what) from error
        try:
            self.client = Client(self.address, timeout=REACH_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            what = f"no scheduler answers at {self.address}: {type(error).__name__}"
            do = "start one (dask scheduler, dask worker) and name it like tcp://10.0.0.5:8786"
            complaint = Complaint(code="F813", place=Place(file=self.address), what=what, do=do)
            raise InputError([complaint]) from error
        self.name = f"halfthou-stop-{uuid.uuid4().hex}"
        self.stop = Event(self.name, client=self.client)

    def room(self) -> bool:
        """Whether a worker is free, with as much again waiting so that none stands idle."""
        workers: dict[str, int] = self.client.nthreads()
        return len(self.futures) < 2 * max(1, sum(workers.values()))

    def give(self, number: int, snapshot: Snapshot) -> None:
        """Send a task."""
        sent = self.client.scatter(snapshot, hash=False)
        self.futures[number] = self.client.submit(prove_there, sent, self.options, self.name, pure=False)

    def poll(self, wait_s: float) -> list[tuple[int, Outcome]]:
        """What has come in, after waiting for at most wait_s. Raises CannotAnswer when the scheduler is gone."""
        until = time.monotonic() + wait_s
        while not (ready := [n for n, future in self.futures.items() if future.done()]):
            if self.client.status != "running":
                raise CannotAnswer(f"the cluster at {self.address} is gone; what was finished is kept")
            if time.monotonic() > until:
                return []
            time.sleep(POLL_S)
        return [(number, _outcome(self.futures.pop(number))) for number in ready]

    def close(self) -> None:
        """Take back what has not begun, ask what runs to stop, hang up."""
        try:
            if self.futures:
                self.stop.set()
                self.client.cancel(list(self.futures.values()))
                self.futures.clear()
        finally:
            self.client.close()


def prove_there(snapshot: Snapshot, options: LibraryOptions, stop_name: str) -> Outcome:
    """Runs on a worker: prove with one thread, ask now and then whether the one who sent it has stopped."""
    from distributed import Event, worker_client

    with worker_client(separate_thread=False) as client:
        stop = Event(stop_name, client=client)
        state = {"asked": -ASK_S, "stop": False}

        def asked_to_stop() -> bool:
            now = time.monotonic()
            if now - state["asked"] > ASK_S:
                state["asked"], state["stop"] = now, bool(stop.is_set())
            return bool(state["stop"])

        return prove_snapshot(snapshot, options, 1, Watch(asked_to_stop=asked_to_stop))


def _outcome(future: Any) -> Outcome:
    if future.cancelled():
        return fault("the cluster dropped the task")
    try:
        outcome: Outcome = future.result()
    except Exception as error:  # whatever went wrong over there is the answer for this job
        return fault(f"the worker gave no answer: {type(error).__name__}: {error}")
    return outcome
