"""One job of many, as a task that can run in any process on any machine: files as bytes in, answer as text out."""

import json
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

from halfthou.base.errors import Cancelled, Complaint, HalfthouError, JobError, OurFault
from halfthou.base.finding import Severity
from halfthou.base.limits import PITCH_MM
from halfthou.base.place import Place
from halfthou.base.stamp import digest
from halfthou.base.watch import QUIET, Watch
from halfthou.files.snapshot import Snapshot
from halfthou.flow.prove import ProveOptions, prove
from halfthou.sheets.proof_json import error_json, proof_dict
from halfthou.store.program import program


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryOptions:
    """Options that change an answer, the same for all jobs."""

    pitch_mm: float | None = None
    what_if: bool = True

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """As they go into the key of an answer."""
        return (("pitch_mm", repr(float(self.pitch_mm or PITCH_MM))), ("what_if", str(self.what_if)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a task; `program` is who answered, took_s how long that took (not part of the answer)."""

    exit_code: int
    answer: str
    program: tuple[tuple[str, str], ...]
    took_s: float = 0.0


def prove_snapshot(
    snapshot: Snapshot, options: LibraryOptions, threads: int | None = None, watch: Watch = QUIET
) -> Outcome:
    """Lay the files out in a folder of their own, prove them, clear up.

    The answer is the JSON of docs/json.md with paths relative to the job folder; an error is an answer, too. Raises
    Cancelled only.
    """
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="halfthou-", ignore_cleanup_errors=True) as root:
        laid = snapshot.lay_out(Path(root))
        asked = ProveOptions(pitch_mm=options.pitch_mm, what_if=options.what_if, threads=threads)
        try:
            _same_outside(snapshot)
            proof = prove(laid.file, asked, watch)
            body, code = proof_dict(proof), 1 if proof.verdict is Severity.STOP else 0
        except Cancelled:
            raise
        except HalfthouError as error:
            body, code = json.loads(error_json(error)), error.exit_code
        except Exception as error:
            body, code = json.loads(error_json(_fault(error))), OurFault.exit_code
        text = json.dumps(laid.relative(body), ensure_ascii=False, indent=1)
    return Outcome(exit_code=code, answer=text, program=program(), took_s=time.monotonic() - began)


def fault(what: str) -> Outcome:
    """The outcome of a task that gave none."""
    return Outcome(exit_code=OurFault.exit_code, answer=error_json(OurFault(what)), program=program())


def _fault(error: Exception) -> OurFault:
    last = traceback.extract_tb(error.__traceback__)[-1]
    spot = f"{Path(last.filename).name}:{last.lineno}"
    return OurFault(f"our fault, not yours: {type(error).__name__}: {error} (at {spot})")


def _same_outside(snapshot: Snapshot) -> None:
    """Files named by an absolute path are read where the proof runs: they must be the ones the answer is kept under."""
    complaints = []
    for name, wanted in snapshot.outside:
        try:
            same = digest(Path(name).read_bytes()) == wanted
        except OSError:
            same = False
        if not same:
            what = f"{name} is not there, or is another file, where the proof runs"
            do = "put it beside the job and name it by a relative path"
            complaints.append(Complaint(code="F814", place=Place(file=snapshot.file), what=what, do=do))
    if complaints:
        raise JobError(complaints)
