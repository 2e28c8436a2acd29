"""Triangles into a picture: a depth buffer without a graphics card, ink lines where surfaces meet."""

import math
import struct
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.sheets.relief import Relief

#: Colour-blind-safe colours (eight hues that differ in lightness as well), for tools; raw stock is grey.
PALETTE = (
    (0.000, 0.447, 0.698), (0.902, 0.624, 0.000), (0.000, 0.620, 0.451), (0.800, 0.475, 0.655),
    (0.337, 0.706, 0.914), (0.835, 0.369, 0.000), (0.941, 0.894, 0.259), (0.450, 0.350, 0.250),
)  # fmt: skip
RAW = (0.78, 0.79, 0.80)
INK = (0.12, 0.14, 0.17)


@dataclass(frozen=True, slots=True)
class View:
    """Where the eye is: azimuth and height in degrees, as people turn a part in the hand."""

    azimuth_deg: float = -60.0
    height_deg: float = 35.0

    def axes(self) -> NDArray[np.float64]:
        """Rows: right, up, towards the eye."""
        a, e = math.radians(self.azimuth_deg), math.radians(self.height_deg)
        toward = np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])
        right = np.array([-math.sin(a), math.cos(a), 0.0])
        return np.stack([right, np.cross(toward, right), toward])


@kernel
def _fill(corners: NDArray[np.float64], depth: NDArray[np.float64], owner: NDArray[np.int32]) -> None:
    """Nearest triangle for every pixel. corners f8 (m,3,3): pixel x, pixel y, depth towards the eye."""
    rows, columns = depth.shape
    for k in range(corners.shape[0]):
        x0, y0, z0 = corners[k, 0, 0], corners[k, 0, 1], corners[k, 0, 2]
        x1, y1, z1 = corners[k, 1, 0], corners[k, 1, 1], corners[k, 1, 2]
        x2, y2, z2 = corners[k, 2, 0], corners[k, 2, 1], corners[k, 2, 2]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if abs(area) < 1e-12:
            continue
        left = max(0, int(math.floor(min(x0, x1, x2))))
        right = min(columns - 1, int(math.ceil(max(x0, x1, x2))))
        top = max(0, int(math.floor(min(y0, y1, y2))))
        bottom = min(rows - 1, int(math.ceil(max(y0, y1, y2))))
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                w1 = ((column - x0) * (y2 - y0) - (x2 - x0) * (row - y0)) / area
                w2 = ((x1 - x0) * (row - y0) - (column - x0) * (y1 - y0)) / area
                if w1 >= -1e-9 and w2 >= -1e-9 and w1 + w2 <= 1.0 + 1e-9:
                    z = z0 + w1 * (z1 - z0) + w2 * (z2 - z0)
                    if z > depth[row, column]:
                        depth[row, column] = z
                        owner[row, column] = k


def picture(
    shape: Relief, *, view: View, width: int = 900, height: int = 600, colours: dict[int, tuple[float, float, float]]
) -> NDArray[np.uint8]:
    """A shaded picture u1 (height, width, 3) on white, drawn at twice the size and halved."""
    w, h = 2 * width, 2 * height
    if not len(shape.group):
        return np.full((height, width, 3), 255, np.uint8)
    axes = view.axes()
    seen = shape.normal.astype(np.float64) @ axes[2] > -1e-6
    corners = shape.corners_mm[seen].astype(np.float64) @ axes.T
    low, high = corners[..., :2].reshape(-1, 2).min(0), corners[..., :2].reshape(-1, 2).max(0)
    scale = 0.94 * min(w / max(high[0] - low[0], 1e-9), h / max(high[1] - low[1], 1e-9))
    middle = (low + high) / 2
    pixels = np.empty_like(corners)
    pixels[..., 0] = (corners[..., 0] - middle[0]) * scale + w / 2
    pixels[..., 1] = h / 2 - (corners[..., 1] - middle[1]) * scale
    pixels[..., 2] = corners[..., 2] * scale
    depth, owner = np.full((h, w), -1e30), np.full((h, w), -1, np.int32)
    _fill(pixels, depth, owner)
    group, normal = shape.group[seen], shape.normal[seen].astype(np.float64)
    return _shade(depth, owner, group, normal @ axes.T, colours, scale)


def _shade(
    depth: NDArray[np.float64],
    owner: NDArray[np.int32],
    group: NDArray[np.int32],
    normal_eye: NDArray[np.float64],
    colours: dict[int, tuple[float, float, float]],
    scale: float,
) -> NDArray[np.uint8]:
    light = np.array([-0.35, 0.55, 0.76])
    hit = owner >= 0
    index = np.where(hit, owner, 0)
    bright = 0.40 + 0.60 * np.clip(normal_eye @ light, 0, 1)
    table = {key: np.array(colour) for key, colour in colours.items()}
    raw = np.array(RAW)
    tint = np.array([table.get(int(key), raw) for key in range(-1, int(group.max(initial=0)) + 1)])
    rgb = np.where(hit[..., None], tint[group[index] + 1] * bright[index][..., None], 1.0)
    seen_group = np.where(hit, group[index], -2)
    ink = np.zeros(hit.shape, bool)
    for axis in (0, 1):
        other, step = np.roll(seen_group, 1, axis), np.abs(np.roll(depth, 1, axis) - depth)
        ink |= (
            (other != seen_group) & (hit | (other != -2)) & ((step > 0.6 * scale) | (other == -2) | (seen_group == -2))
        )
        ink |= hit & np.roll(hit, 1, axis) & (step > 1.2 * scale)
    rgb[ink] = INK
    h, w = hit.shape
    small = rgb.reshape(h // 2, 2, w // 2, 2, 3).mean((1, 3))
    return np.asarray(np.clip(small * 255 + 0.5, 0, 255), dtype=np.uint8)


def png(pixels: NDArray[np.uint8]) -> bytes:
    """A picture as PNG bytes (8-bit RGB); equal pixels give equal bytes."""
    h, w, _ = pixels.shape
    rows = np.concatenate([np.zeros((h, 1), np.uint8), pixels.reshape(h, w * 3)], axis=1).tobytes()

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", w, h, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows, 6)) + chunk(b"IEND", b"")
