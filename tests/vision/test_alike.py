"""What leaves the paper as it is leaves the reading as it is: a turn, a mirror, light, size."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from papernudge.hints import solve
from papernudge.vision.find import find_grids
from papernudge.vision.read import read_page
from papernudge.vision.reading import GridReading, PageReading

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
PHOTOS = ("one-mistake.jpg", "notes.jpg", "clean.jpg")
FEW = settings(max_examples=4, deadline=None, derandomize=True)


@cache
def photo(name: str) -> Any:
    return np.asarray(cv2.imread(str(FIXTURES / name)), np.uint8)


def grid_of(pixels: Any) -> GridReading:
    page = read_page(np.ascontiguousarray(pixels, np.uint8), solve=solve)
    assert isinstance(page, PageReading)
    (grid,) = (one for one in page.grids if one.cells)  # neighbours reach into some photos
    return grid


@cache
def plainly(name: str) -> GridReading:
    return grid_of(photo(name))


def said(grid: GridReading) -> tuple[object, ...]:
    """Digits, hands and strikes; of notes and doubts, which hang on a hair, nothing."""
    return grid.kind, grid.givens, grid.entries, tuple(cell.struck for cell in grid.cells)


@pytest.mark.parametrize("turns", [1, 2, 3])
@pytest.mark.parametrize("name", PHOTOS)
def test_a_turned_photo_reads_the_same_and_its_corners_turn_with_it(name: str, turns: int) -> None:
    image = photo(name)
    turned = grid_of(np.rot90(image, turns))
    assert said(turned) == said(plainly(name))
    back = np.asarray(turned.corners, np.float64)
    for _ in range(turns):  # undoes a quarter turn against the clock: x/y of the turned raster
        back = np.stack([-back[:, 1], back[:, 0]], axis=1)
    high, wide = image.shape[:2]
    shift = {1: (wide - 1, 0), 2: (wide - 1, high - 1), 3: (0, high - 1)}[turns]
    cell = np.linalg.norm(plainly(name).corners[1] - plainly(name).corners[0]) / 9
    assert np.abs(back + shift - plainly(name).corners).max() < 0.15 * cell


@pytest.mark.parametrize("name", PHOTOS)
def test_a_grid_found_in_a_mirror_lies_mirrored_back_where_it_lay(name: str) -> None:
    image = photo(name)
    (plain,), (mirrored,) = (
        [found.mesh.crossings for found in find_grids(np.ascontiguousarray(one)) if found.mesh]
        for one in (image, image[:, ::-1])
    )
    back = mirrored[:, ::-1] * (-1, 1) + (image.shape[1] - 1, 0)
    cell = np.linalg.norm(plain[0, 9] - plain[0, 0]) / 9
    assert np.abs(back - plain).max() < 0.1 * cell


@FEW
@given(gain=st.floats(0.6, 1.15), shift=st.integers(-15, 15))
def test_a_brighter_or_a_darker_photo_reads_the_same(gain: float, shift: int) -> None:
    for name in PHOTOS[:2]:
        lit = np.clip(photo(name).astype(np.float32) * gain + shift, 0, 255)
        assert said(grid_of(lit)) == said(plainly(name))


@FEW
@given(scale=st.floats(0.75, 1.8))
def test_a_smaller_or_a_larger_photo_reads_the_same(scale: float) -> None:
    for name in PHOTOS[:2]:
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        sized = cv2.resize(photo(name), None, fx=scale, fy=scale, interpolation=how)
        assert said(grid_of(sized)) == said(plainly(name))


def test_what_is_compared_tells_two_papers_apart() -> None:
    assert len({said(plainly(name)) for name in PHOTOS}) == len(PHOTOS)
