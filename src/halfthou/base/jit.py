"""The only door to the compiler: one decorator, one set of options, a cache that cannot go stale.

The stock cache of the compiler does not see edits in other files: a kernel that calls another one keeps the old
copy inside. So the cache folder is named by a hash of every source file of the package and by the versions of
the compiler and of numpy; an edit anywhere makes a new folder, and old folders are removed.
"""

import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")

#: Set to True (by the tests, before any kernel is imported) to run every kernel as plain Python.
UNCOMPILED = "--uncompiled" in sys.argv or os.environ.get("NUMBA_DISABLE_JIT") == "1"


def _source_hash() -> str:
    import llvmlite
    import numba
    import numpy

    root = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256()
    for version in (numba.__version__, llvmlite.__version__, numpy.__version__, sys.version):
        digest.update(version.encode())
    for path in sorted(root.rglob("*.py")):
        text = path.read_bytes()
        if b"@kernel" in text or path.parent.name in ("base", "nouns"):
            digest.update(path.name.encode())
            digest.update(text)
    return digest.hexdigest()[:16]


@lru_cache(maxsize=1)
def cache_folder() -> str | None:
    """Where compiled kernels are kept, or None if no folder can be written."""
    name = _source_hash()
    home = Path(os.path.expanduser("~")) / ".cache" / "halfthou"
    for base in (home, Path(tempfile.gettempdir()) / f"halfthou-cache-{os.getuid()}"):
        try:
            folder = base / name
            folder.mkdir(parents=True, exist_ok=True)
            probe = folder / f".probe-{os.getpid()}"
            probe.write_bytes(b"")
            probe.unlink()
        except OSError:
            continue
        kept = sorted(base.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)[8:]
        for stale in kept:
            if stale.name != name:
                with contextlib.suppress(OSError):
                    shutil.rmtree(stale)
        return str(folder)
    return None


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function for speed: strict floating point, no lock held, cached by the hash of all kernels."""
    if UNCOMPILED:
        return function
    import numba

    folder = cache_folder()
    numba.config.CACHE_DIR = folder or ""
    compiled: Callable[P, R] = numba.njit(nogil=True, fastmath=False, cache=folder is not None)(function)
    return compiled


def cores() -> int:
    """How many threads long kernels may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)


def in_threads(work: Callable[[int], Any], n: int, threads: int | None = None) -> list[Any]:
    """Run `work(0) … work(n-1)` in a pool of threads, results in order. Kernels hold no lock, so it scales."""
    count = threads or cores()
    if count <= 1 or n <= 1:
        return [work(i) for i in range(n)]
    with ThreadPoolExecutor(max_workers=count) as pool:
        return list(pool.map(work, range(n)))
