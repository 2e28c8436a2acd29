"""An earlier answer kept as JSON: the stamp that says for which inputs it holds."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from halfthou.base.errors import Complaint, JobError
from halfthou.base.place import Place
from halfthou.base.stamp import Stamp

SCHEMAS = ("halfthou.proof/1", "halfthou.against/1", "halfthou.machines/1")


@dataclass(frozen=True, slots=True, kw_only=True)
class OldProof:
    """What an earlier answer says about itself."""

    schema: str
    stamp: Stamp


def read_old_proof(path: Path) -> OldProof:
    """The stamp of a JSON answer; raises JobError (F601) when the file is none."""
    try:
        body: Any = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _wrong(
            path, f"the file {path} cannot be read: {(error.strerror or 'no reason given').lower()}"
        ) from error
    except ValueError as error:
        raise _wrong(path, f"the file {path} is not JSON: {error}") from error
    schema = body.get("schema") if isinstance(body, dict) else None
    if schema not in SCHEMAS:
        raise _wrong(path, f"the file {path} is no proof: its schema is {schema!r}")
    stamp = body.get("stamp")
    if not isinstance(stamp, dict) or not isinstance(stamp.get("inputs"), list):
        raise _wrong(path, f"the file {path} holds no stamp: it is an answer that could not be given")
    inputs: list[tuple[str, str]] = []
    for one in stamp["inputs"]:
        if not isinstance(one, dict) or not isinstance(one.get("role"), str) or not isinstance(one.get("sha256"), str):
            raise _wrong(path, f"the file {path} has an input without role and sha256 in its stamp")
        inputs.append((one["role"], one["sha256"]))
    options = stamp.get("options")
    pairs = tuple((str(k), str(v)) for k, v in options.items()) if isinstance(options, dict) else ()
    made = Stamp(tool_version=str(stamp.get("tool_version", "")), inputs=tuple(sorted(inputs)), options=pairs)
    if stamp.get("short") != made.short:
        raise _wrong(path, f"the stamp in {path} does not match its own short form: the file was changed by hand")
    return OldProof(schema=schema, stamp=made)


def _wrong(path: Path, what: str) -> JobError:
    return JobError(
        [
            Complaint(
                code="F601",
                place=Place(file=str(path)),
                what=what[0].upper() + what[1:] + ".",
                do="Name a file that `halfthou prove JOB --json` wrote.",
            )
        ]
    )
