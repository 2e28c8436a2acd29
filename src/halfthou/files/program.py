"""The bytes of an NC program as lines that know their place."""

from halfthou.base.errors import Complaint
from halfthou.base.place import Place
from halfthou.base.stamp import digest
from halfthou.nouns.program import Program


def program_of(file: str, raw: bytes, complaints: list[Complaint]) -> Program:
    """Any line ends, UTF-8 (UTF-16 with its mark) or else Latin-1; the bytes are kept as they were. An empty file is complained of."""
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
    try:
        text = raw.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeDecodeError:
        encoding, text = "latin-1", raw.decode("latin-1")
    lines = tuple(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"))
    if lines and lines[-1] == "":
        lines = lines[:-1]
    if not any(line.strip("\0 \t%") for line in lines):
        place = Place(file=file, line=1)
        do = "send the program from the control or the programmer again"
        complaints.append(Complaint(code="F501", place=place, what="the program has no block in it", do=do))
    name = file.replace("\\", "/").rsplit("/", 1)[-1]
    return Program(name=name, file=file, sha256=digest(raw), raw=raw, encoding=encoding, lines=lines)
