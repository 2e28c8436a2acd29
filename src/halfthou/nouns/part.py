"""The design: mesh, named surfaces, which surface belongs to which feature."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import lock


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One face of the design: its form and the limits on it (absolute, None = the default of the call)."""

    index: int
    name: str
    form: str  # "plane", "cylinder", "cone", "sphere", "torus", "free"
    origin_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)  # a point on plane or axis
    axis: tuple[float, float, float] = (0.0, 0.0, 1.0)  # outward normal of a plane, axis of the others
    radius_mm: float = 0.0
    half_angle_rad: float = 0.0
    hole: bool = False  # material is outside the cylinder or cone
    gouge_mm: float | None = None
    left_over_mm: float | None = None
    thread: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The wanted part. vertices_mm f8 (n,3), faces i4 (m,3) outward, face_surface i4 (m,) index into `surfaces`."""

    name: str
    vertices_mm: NDArray[np.float64]
    faces: NDArray[np.int32]
    face_surface: NDArray[np.int32]
    surfaces: tuple[Surface, ...]
    chord_mm: float  # largest distance between the mesh and the true surfaces
    threads_as: str = ""  # "core", "nominal", "full", "" not said

    def __post_init__(self) -> None:
        """Copy and lock the arrays."""
        object.__setattr__(self, "vertices_mm", lock(np.array(self.vertices_mm, dtype=np.float64)))
        object.__setattr__(self, "faces", lock(np.array(self.faces, dtype=np.int32)))
        object.__setattr__(self, "face_surface", lock(np.array(self.face_surface, dtype=np.int32)))
