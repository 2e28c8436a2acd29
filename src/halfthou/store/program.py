"""Which program answers: version, a hash of its own sources, and the versions of what it computes with."""

import hashlib
import platform
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from halfthou.base.version import __version__

#: What an answer is computed with; another version of these may round otherwise.
COMPUTES_WITH = ("numpy", "scipy", "numba", "llvmlite", "cascadio", "trimesh", "manifold3d")


@lru_cache(maxsize=1)
def program() -> tuple[tuple[str, str], ...]:
    """(name, version or hash), read once per process."""
    root = Path(__file__).resolve().parent.parent
    sources = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        sources.update(path.relative_to(root).as_posix().encode())
        sources.update(hashlib.sha256(path.read_bytes()).digest())
    found = [("halfthou", __version__), ("sources", sources.hexdigest()), ("python", platform.python_version())]
    found.append(("processor", platform.machine()))
    for name in COMPUTES_WITH:
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            found.append((name, "none"))
    return tuple(found)
