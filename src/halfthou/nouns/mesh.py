"""A surface of triangles that knows which move, tool and operation made each of them."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import lock

F8 = NDArray[np.float64]
I4 = NDArray[np.int32]
LABELS = ("operation", "tool", "move")  # the labels of a triangle; -1 = raw stock or not known
_MOST = 2**31 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Labelled triangles, outward (counter-clockwise seen from outside).

    points_mm f8 (n,3) finite; triangles i4 (m,3) rows of points_mm; operation, tool, move i4 (m,), -1 = raw stock or not
    known; deviation_mm f8 (n,) distance from the design, + outside it (material left over), - inside (gouge), NaN not
    known, or None for the whole mesh. No point and no triangle is a mesh, too (an empty one).
    Raises ValueError that names every thing wrong with the arrays.
    """

    points_mm: F8
    triangles: I4
    operation: I4
    tool: I4
    move: I4
    deviation_mm: F8 | None = None
    name: str = "part"

    def __post_init__(self) -> None:
        """Check, copy and lock the arrays."""
        wrong: list[str] = []
        points = _floats("points_mm", self.points_mm, (None, 3), wrong)
        triangles = _whole("triangles", self.triangles, (None, 3), wrong)
        n, m = len(points), len(triangles)
        if not np.isfinite(points).all():
            wrong.append("points_mm holds a coordinate that is no finite number")
        if m and (triangles.min() < 0 or triangles.max() >= n):
            bad = int(((triangles < 0) | (triangles >= n)).any(axis=1).argmax())
            wrong.append(f"triangle {bad} names point {triangles[bad].tolist()}, there are {n} points (from 0)")
        labels = {name: _whole(name, getattr(self, name), (m,), wrong) for name in LABELS}
        for name, label in labels.items():
            if len(label) and label.min() < -1:
                wrong.append(f"{name} holds {int(label.min())}; labels count from 0, and -1 is raw stock")
        deviation = None
        if self.deviation_mm is not None:
            deviation = _floats("deviation_mm", self.deviation_mm, (n,), wrong)
            if np.isinf(deviation).any():
                wrong.append("deviation_mm holds an infinite value; NaN means not known")
        if wrong:
            raise ValueError("this is no mesh: " + "; ".join(wrong))
        object.__setattr__(self, "points_mm", lock(points))
        object.__setattr__(self, "triangles", lock(triangles))
        for name, label in labels.items():
            object.__setattr__(self, name, lock(label))
        if deviation is not None:
            object.__setattr__(self, "deviation_mm", lock(deviation))

    def closed_manifold(self) -> tuple[str, ...]:
        """What keeps the mesh from being closed, one sentence each; empty if every edge has two opposite triangles.

        Looks at edges only: points where two closed skins touch, and skins that cut through each other, are not found.
        """
        if not len(self.triangles):
            return ("there is no triangle in it",)
        t = self.triangles.astype(np.int64)
        said: list[str] = []
        pinched = (t == np.roll(t, -1, axis=1)).any(axis=1)
        if pinched.any():
            k = int(pinched.argmax())
            said.append(f"{int(pinched.sum())} triangles name a point twice, the first is triangle {k}")
        there = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])[~np.tile(pinched, 3)]
        if not len(there):
            return tuple(said)
        n = len(self.points_mm)
        keys, which = np.unique(there.min(axis=1) * n + there.max(axis=1), return_inverse=True)
        up = np.bincount(which[there[:, 0] < there[:, 1]], minlength=len(keys))
        down = np.bincount(which[there[:, 0] > there[:, 1]], minlength=len(keys))
        for wrong, what in (
            (up + down == 1, "edges have one triangle only"),
            (up + down > 2, "edges have more than two triangles"),
            ((up + down == 2) & (up != down), "edges have two triangles that run the same way round"),
        ):
            if wrong.any():
                a, b = divmod(int(keys[wrong.argmax()]), n)
                spot = ", ".join(f"{v:.6g}" for v in self.points_mm[a])
                said.append(f"{int(wrong.sum())} {what}, the first from point {a} ({spot}) to point {b}")
        return tuple(said)

    def volume_mm3(self) -> float:
        """Signed volume of a closed mesh (divergence theorem); has no meaning while `closed_manifold` complains."""
        if not len(self.triangles):
            return 0.0
        a, b, c = ((self.points_mm - self.points_mm.mean(axis=0))[self.triangles[:, k]] for k in range(3))
        return float((a * np.cross(b, c)).sum() / 6)


def _shape_fits(array: NDArray[Any], shape: tuple[int | None, ...]) -> bool:
    return array.ndim == len(shape) and all(want in (None, is_) for want, is_ in zip(shape, array.shape, strict=True))


def _wanted(shape: tuple[int | None, ...]) -> str:
    sides = ["any" if side is None else str(side) for side in shape]
    return f"({', '.join(sides)}{',' if len(sides) == 1 else ''})"


def _floats(name: str, given: Any, shape: tuple[int | None, ...], wrong: list[str]) -> F8:
    """A copy as f8 of the wanted shape; an empty one after a complaint."""
    array = np.asarray(given)
    empty = np.zeros(tuple(side or 0 for side in shape))
    if array.dtype.kind not in "fiu":
        wrong.append(f"{name} holds {array.dtype}, not numbers")
        return empty
    if not _shape_fits(array, shape):
        wrong.append(f"{name} has the shape {array.shape}, it should be {_wanted(shape)}")
        return empty
    return np.array(array, dtype=np.float64)


def _whole(name: str, given: Any, shape: tuple[int | None, ...], wrong: list[str]) -> I4:
    """A copy as i4 of the wanted shape; an empty one after a complaint."""
    array = np.asarray(given)
    empty = np.zeros(tuple(side or 0 for side in shape), dtype=np.int32)
    if array.dtype.kind not in "iu" and array.size:
        wrong.append(f"{name} holds {array.dtype}, not whole numbers")
        return empty
    if not _shape_fits(array, shape):
        wrong.append(f"{name} has the shape {array.shape}, it should be {_wanted(shape)}")
        return empty
    if array.size and (int(array.min()) < -_MOST or int(array.max()) > _MOST):
        wrong.append(f"{name} holds a number beyond 32 bits")
        return empty
    return np.array(array, dtype=np.int32)
