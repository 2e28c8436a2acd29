"""Finished answers in a folder, named by the hash of everything they were made from."""

import hashlib
import os
import re
from dataclasses import dataclass
from pathlib import Path

from halfthou.base.errors import Complaint, InputError
from halfthou.base.place import Place

_KEY = re.compile(r"[0-9a-f]{64}")
_README = "Finished answers of halfthou, named by the hash of their inputs, options and program. May be deleted at any time.\n"


@dataclass(frozen=True, slots=True)
class Results:
    """A folder of answers. A file is there whole or not at all; one that was changed or cut counts as not there."""

    folder: Path

    def ready(self) -> None:
        """Make the folder; raises InputError (F811) when it cannot be made or written to."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            _write(self.folder / "README.txt", _README.encode())
        except (OSError, ValueError) as error:
            raise _unusable(self.folder, error) from error

    def get(self, key: str) -> bytes | None:
        """The answer kept under the key, or None."""
        try:
            raw = self._path(key).read_bytes()
        except OSError:
            return None
        head, line, answer = raw.partition(b"\n")
        return answer if line and head == _check(answer) else None

    def put(self, key: str, answer: bytes) -> None:
        """Keep an answer; raises InputError (F811) when it cannot be written."""
        path = self._path(key)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            _write(path, _check(answer) + b"\n" + answer)
        except OSError as error:
            raise _unusable(self.folder, error) from error

    def _path(self, key: str) -> Path:
        if not _KEY.fullmatch(key):
            raise ValueError(f"{key!r} is no key: 64 hex digits")
        return self.folder / key[:2] / f"{key[2:]}.answer"


def _check(answer: bytes) -> bytes:
    return hashlib.sha256(answer).hexdigest().encode()


def _write(path: Path, raw: bytes) -> None:
    """Whole or not at all, also when two processes write the same name."""
    half = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        half.write_bytes(raw)
        os.replace(half, path)
    finally:
        half.unlink(missing_ok=True)


def _unusable(folder: Path, error: OSError | ValueError) -> InputError:
    why = (getattr(error, "strerror", None) or "it is no folder name").lower()
    what, do = f"results cannot be kept in {folder}: {why}", "name another folder with --store"
    return InputError([Complaint(code="F811", place=Place(file=str(folder)), what=what, do=do)])
