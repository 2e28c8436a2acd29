"""A job's files as bytes that can be hashed, sent elsewhere and laid out again: the job file and every file it names."""

import hashlib
import json
import os
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from halfthou.base.errors import Complaint, JobError
from halfthou.base.place import Place
from halfthou.base.stamp import digest

_UP = "up"  # folders above the job folder, where files named "../…" go


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The files of one job.

    folder: name of the job folder (a job without `part` is called so). file: name of the job file. files: (path relative
    to the job folder with /, bytes), sorted. outside: (absolute path as the job names it, sha256); stays where it is.
    deep: how many folders above its own the job names files in, whether they are there or not.
    """

    folder: str
    file: str
    files: tuple[tuple[str, bytes], ...]
    outside: tuple[tuple[str, str], ...] = ()
    deep: int = 0

    def key(self, made_by: tuple[tuple[str, str], ...]) -> str:
        """sha256 over every file's name and content and over what answers it (versions, options), as hex."""
        inside = [(name, digest(raw)) for name, raw in self.files]
        text = json.dumps([self.folder, self.file, inside, self.outside, made_by], ensure_ascii=True)
        return hashlib.sha256(text.encode()).hexdigest()

    def lay_out(self, root: Path) -> "Laid":
        """Write the files below the empty folder `root`."""
        place = root.joinpath(*[_UP] * self.deep, self.folder)
        place.mkdir(parents=True)
        for name, raw in self.files:
            path = Path(os.path.normpath(place / name))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(raw)
        return Laid(place=place, deep=self.deep, file=place / self.file)


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """Where a snapshot lies."""

    place: Path
    deep: int
    file: Path

    def relative(self, thing: Any) -> Any:
        """The same lists and dictionaries with every path below the root written relative to the job folder."""
        if isinstance(thing, dict):
            return {key: self.relative(value) for key, value in thing.items()}
        if isinstance(thing, list | tuple):
            return [self.relative(value) for value in thing]
        return self._text(thing) if isinstance(thing, str) else thing

    def _text(self, text: str) -> str:
        above = self.place
        for steps in range(self.deep + 1):
            text = text.replace(f"{above}{os.sep}", "../" * steps)
            if not steps:
                text = text.replace(str(above), ".")
            above = above.parent
        return text


def take(path: Path) -> Snapshot:
    """The snapshot of a job folder or job file.

    Every text in the job file that names a file that is there counts as a file of the job, whatever its key: so none can
    be forgotten. A job file that cannot be read gives a snapshot without files. Raises JobError (F001) for a named file
    that is there and cannot be read.
    """
    file = path / "job.toml" if path.is_dir() else path
    folder = Path(os.path.abspath(file.parent))
    try:
        raw = file.read_bytes()
    except (OSError, ValueError):
        return Snapshot(folder=_name(folder), file=file.name, files=())
    files, outside, complaints = {file.name: raw}, {}, []
    names = sorted(set(_texts(_toml(raw))))
    for name in names:
        found = Path(os.path.normpath(folder / name))
        try:
            if not found.is_file():
                continue
            content = found.read_bytes()
        except (OSError, ValueError) as error:
            if isinstance(error, OSError) and error.errno not in _NO_NAME:
                what = f"the file {found} cannot be read: {(error.strerror or 'unknown reason').lower()}"
                complaints.append(Complaint(code="F001", place=Place(file=str(file)), what=what, do="check its rights"))
            continue
        if os.path.isabs(name):
            outside[name] = digest(content)
        else:
            files[Path(os.path.relpath(found, folder)).as_posix()] = content
    if complaints:
        raise JobError(complaints)
    return Snapshot(
        folder=_name(folder), file=file.name, files=tuple(sorted(files.items())),
        outside=tuple(sorted(outside.items())), deep=max(map(_ups, names), default=0),
    )  # fmt: skip


def _ups(name: str) -> int:
    """How many folders up a relative path goes."""
    return 0 if os.path.isabs(name) else Path(os.path.normpath(name)).parts.count("..")


_NO_NAME = (2, 20, 36, 40)  # not there, no folder, name too long, link to itself: the text was no file name


def _name(folder: Path) -> str:
    return folder.resolve().name or "root"


def _toml(raw: bytes) -> Any:
    try:
        return tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n"))
    except (ValueError, RecursionError):
        return {}  # the proof itself complains of it


def _texts(thing: Any) -> Iterator[str]:
    """Every text that stands as a value anywhere in the file."""
    if isinstance(thing, dict):
        for value in thing.values():
            yield from _texts(value)
    elif isinstance(thing, list):
        for value in thing:
            yield from _texts(value)
    elif isinstance(thing, str) and thing and "\0" not in thing:
        yield thing
