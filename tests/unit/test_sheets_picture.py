"""Pictures: what is nearest the eye is what is seen, walls close the shape, equal input gives equal bytes."""

import numpy as np
import pytest

from halfthou.nouns.cut import SPAN, CutRecord, Grid
from halfthou.nouns.frame import shifted
from halfthou.sheets.raster import View, picture, png
from halfthou.sheets.relief import relief

TOP_VIEW = View(azimuth_deg=-90.0, height_deg=90.0)


def _plate(heights: np.ndarray, moves: np.ndarray, pitch: float = 1.0) -> CutRecord:
    ny, nx = heights.shape
    spans = np.zeros(nx * ny, SPAN)
    spans["low_mm"], spans["high_mm"] = -5.0, heights.T.ravel()
    spans["low_move"], spans["high_move"] = -1, moves.T.ravel()
    grid = Grid(low_mm=(0.0, 0.0), pitch_mm=pitch, nx=nx, ny=ny, pose=shifted())
    first = np.arange(nx * ny + 1, dtype=np.int64)
    return CutRecord(op=0, place=0, grid=grid, first=first, spans=spans, after_move=0, error_mm=0.0)


def test_the_skin_of_a_plate_closes() -> None:
    heights = np.zeros((4, 5))
    heights[1:3, 1:3] = -2.0
    shape = relief(_plate(heights, np.full((4, 5), -1)), np.zeros(0, np.int32))
    corners = shape.corners_mm.astype(float)
    area2 = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = 0.5 * np.linalg.norm(area2, axis=1).sum()
    # by hand: top and bottom 2·20, outer walls 2·(4+5)·5 = 90, walls of the 2×2 pocket 8·2 = 16
    assert area == pytest.approx(40.0 + 90.0 + 16.0)


def test_colour_is_that_of_the_surface_seen_from_above() -> None:
    moves = np.full((20, 20), -1)
    moves[:, 10:] = 0
    shape = relief(_plate(np.zeros((20, 20)), moves), np.array([0], np.int32))
    image = picture(shape, view=TOP_VIEW, width=80, height=80, colours={0: (0.0, 0.0, 1.0)}).astype(int)
    left, right = image[40, 20], image[40, 60]
    assert left[2] - left[0] < 10  # grey raw stock
    assert right[2] - right[0] > 100  # blue
    assert tuple(image[0, 0]) == (255, 255, 255)


def test_equal_records_give_equal_bytes_and_a_png_head() -> None:
    record = _plate(np.zeros((6, 6)), np.full((6, 6), -1))
    first, second = (
        png(picture(relief(record, np.zeros(0, np.int32)), view=View(), width=60, height=40, colours={}))
        for _ in range(2)
    )
    assert first == second
    assert first[:8] == b"\x89PNG\r\n\x1a\n"


def test_an_empty_record_is_a_white_picture() -> None:
    record = _plate(np.zeros((2, 2)), np.full((2, 2), -1))
    empty = CutRecord(
        op=0,
        place=0,
        grid=record.grid,
        first=np.zeros(5, np.int64),
        spans=record.spans[:0],
        after_move=-1,
        error_mm=0.0,
    )
    image = picture(relief(empty, np.zeros(0, np.int32)), view=View(), width=10, height=8, colours={})
    assert image.shape == (8, 10, 3)
    assert (image == 255).all()
