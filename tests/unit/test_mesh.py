"""The mesh noun: which arrays it takes, and when its skin is closed."""

import numpy as np
import pytest

from halfthou.nouns.mesh import Mesh

CORNERS = np.array([[0.0, 0, 0], [2, 0, 0], [0, 3, 0], [0, 0, 5]])
OUTWARD = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]


def mesh(triangles: object, points: object = CORNERS, **more: object) -> Mesh:
    rows = np.array(triangles, dtype=np.int32).reshape(-1, 3)
    label = np.zeros(len(rows), dtype=np.int32)
    given = {"operation": label, "tool": label, "move": label, **more}
    return Mesh(points_mm=np.asarray(points), triangles=rows, **given)  # type: ignore[arg-type]


def test_a_tetrahedron_is_closed_with_its_volume() -> None:
    assert mesh(OUTWARD).closed_manifold() == ()
    assert mesh(OUTWARD).volume_mm3() == pytest.approx(5.0)  # 2 · 3 · 5 / 6
    inward = [row[::-1] for row in OUTWARD]
    assert mesh(inward).closed_manifold() == () and mesh(inward).volume_mm3() == pytest.approx(-5.0)


@pytest.mark.parametrize(
    ("triangles", "said"),
    [
        (OUTWARD[:3], ["3 edges have one triangle only, the first from point 0 (0, 0, 0) to point 2"]),
        ([*OUTWARD[:3], OUTWARD[3][::-1]], ["3 edges have two triangles that run the same way round"]),
        ([*OUTWARD, OUTWARD[0]], ["3 edges have more than two triangles"]),
        ([*OUTWARD, [1, 1, 2]], ["1 triangles name a point twice, the first is triangle 4"]),
        ([[1, 1, 1]], ["1 triangles name a point twice"]),
        ([], ["there is no triangle in it"]),
    ],
)
def test_what_is_not_closed_is_said(triangles: object, said: list[str]) -> None:
    found = mesh(triangles).closed_manifold()
    assert len(found) == len(said)
    for line, want in zip(found, said, strict=True):
        assert line.startswith(want)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"points": CORNERS[:, :2]}, "points_mm has the shape (4, 2), it should be (any, 3)"),
        ({"points": CORNERS * np.nan}, "points_mm holds a coordinate that is no finite number"),
        ({"points": np.array([["a"] * 3] * 4)}, "points_mm holds <U1, not numbers"),
        ({"triangles": [[0, 1, 4]]}, "triangle 0 names point [0, 1, 4], there are 4 points"),
        ({"triangles": [[0, 1, -1]]}, "triangle 0 names point [0, 1, -1]"),
        ({"move": np.zeros(3, dtype=np.int32)}, "move has the shape (3,), it should be (4,)"),
        ({"tool": np.zeros(4)}, "tool holds float64, not whole numbers"),
        ({"tool": np.full(4, -2)}, "tool holds -2"),
        ({"move": np.full(4, 2**31)}, "move holds a number beyond 32 bits"),
        ({"deviation_mm": np.zeros(3)}, "deviation_mm has the shape (3,), it should be (4,)"),
        ({"deviation_mm": np.full(4, np.inf)}, "deviation_mm holds an infinite value"),
    ],
)
def test_wrong_arrays_are_refused_with_what_is_wrong(change: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError) as caught:
        mesh(**{"triangles": OUTWARD, **change})  # type: ignore[arg-type]
    assert said in str(caught.value)


def test_everything_wrong_is_said_at_once_and_arrays_are_locked_copies() -> None:
    with pytest.raises(ValueError, match=r"move has .*deviation_mm has"):
        mesh(OUTWARD, move=np.zeros(1, dtype=np.int32), deviation_mm=np.zeros(1))
    points = CORNERS.copy()
    made = mesh(OUTWARD, points)
    points[0] = 9.0
    assert made.points_mm[0].tolist() == [0, 0, 0]
    with pytest.raises(ValueError, match="read-only"):
        made.points_mm[0] = 1.0
