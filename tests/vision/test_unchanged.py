"""What must leave a reading alone: the way the paper lies, its light, the photo's size.

Property tests over fixtures whose truth is known: the same paper, photographed a little otherwise,
says the same. Nothing here is compared with a stored answer but with the truth of the drawn page.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import strategies as st
from samples import chosen, tried

from papernudge.hints.solver import solve_soon
from papernudge.vision.find import find_grids
from papernudge.vision.photo import Photo, open_photo
from papernudge.vision.read import read_page
from papernudge.vision.reading import GridReading, PageReading

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
NAMES = ("kitchen-table.jpg", "one-mistake.jpg", "clean.jpg")
Raster = npt.NDArray[np.uint8]


@cache
def raster(name: str) -> Raster:
    photo = open_photo(FIXTURES / name, name)
    assert isinstance(photo, Photo)
    return photo.pixels


@cache
def truth(name: str) -> dict[str, Any]:
    grids = json.loads((FIXTURES / f"{name}.json").read_text("utf-8"))["grids"]
    return dict(next(grid for grid in grids if grid["kind"] == "puzzle"))


def puzzle(pixels: Raster) -> GridReading:
    page = read_page(np.ascontiguousarray(pixels), solve=solve_soon)
    assert isinstance(page, PageReading), page
    return next(grid for grid in page.grids if grid.cells)


def says_the_truth(read: GridReading, name: str) -> None:
    """Every cell right or asked about, and hardly any asked about."""
    asked = {doubt.cell for doubt in read.doubts}
    right = truth(name)
    pairs = (zip(getattr(read, key), right[key], strict=True) for key in ("givens", "entries"))
    wrong = {cell for line in pairs for cell, (said, true) in enumerate(line) if said != true}
    assert wrong <= asked, f"misread in silence: {sorted(wrong - asked)}"
    assert len(asked) <= 3


@cache
def plainly(name: str) -> GridReading:
    return puzzle(raster(name))


TURNED = [(name, turns) for name in NAMES for turns in (1, 2, 3)]


@pytest.mark.parametrize(("name", "turns"), chosen(TURNED, TURNED[3]))
def test_a_turned_photo_says_the_same_and_its_corners_turn_with_it(name: str, turns: int) -> None:
    image = raster(name)
    turned = puzzle(np.rot90(image, turns))
    says_the_truth(turned, name)
    back = np.asarray(turned.corners, np.float64)
    for _ in range(turns):  # undoes a quarter turn against the clock: x/y of the turned raster
        back = np.stack([-back[:, 1], back[:, 0]], axis=1)
    high, wide = image.shape[:2]
    shift = {1: (wide - 1, 0), 2: (wide - 1, high - 1), 3: (0, high - 1)}[turns]
    cell = np.linalg.norm(plainly(name).corners[1] - plainly(name).corners[0]) / 9
    assert np.abs(back + shift - plainly(name).corners).max() < 0.15 * cell


@pytest.mark.parametrize(
    "name", chosen(["one-mistake.jpg", "notes.jpg", "clean.jpg"], "one-mistake.jpg")
)
def test_a_grid_found_in_a_mirror_lies_mirrored_back_where_it_lay(name: str) -> None:
    image = raster(name)
    (plain,), (mirrored,) = (
        [found.mesh.crossings for found in find_grids(np.ascontiguousarray(one)) if found.mesh]
        for one in (image, image[:, ::-1])
    )
    back = mirrored[:, ::-1] * (-1, 1) + (image.shape[1] - 1, 0)
    cell = np.linalg.norm(plain[0, 9] - plain[0, 0]) / 9
    assert np.abs(back - plain).max() < 0.1 * cell


@tried(1, 12, name=st.sampled_from(NAMES), gain=st.floats(0.6, 1.15), lift=st.integers(0, 12))
def test_brighter_or_darker_light_says_the_same(name: str, gain: float, lift: int) -> None:
    lit = cv2.convertScaleAbs(raster(name), alpha=gain, beta=lift)
    says_the_truth(puzzle(lit.astype(np.uint8)), name)


@tried(1, 12, name=st.sampled_from(NAMES), scale=st.floats(0.75, 1.6))
def test_a_photo_of_another_size_says_the_same(name: str, scale: float) -> None:
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    sized = cv2.resize(raster(name), None, fx=scale, fy=scale, interpolation=way)
    says_the_truth(puzzle(sized.astype(np.uint8)), name)


@tried(
    1,
    12,
    name=st.sampled_from(NAMES),
    blue=st.floats(0.75, 1.0),
    green=st.floats(0.85, 1.0),
    red=st.floats(0.85, 1.0),
)
def test_light_of_another_colour_says_the_same(
    name: str, blue: float, green: float, red: float
) -> None:
    lit = (raster(name) * np.array([blue, green, red])).astype(np.uint8)
    says_the_truth(puzzle(lit), name)


@tried(1, 12, name=st.sampled_from(NAMES), x=st.floats(0, 0.2), y=st.floats(0, 0.2))
def test_more_table_around_the_paper_says_the_same(name: str, x: float, y: float) -> None:
    high, wide = raster(name).shape[:2]
    left, top = int(x * wide), int(y * high)
    more = cv2.copyMakeBorder(raster(name), top, 9, left, 9, cv2.BORDER_REPLICATE)
    found = puzzle(more.astype(np.uint8))
    says_the_truth(found, name)
    before = plainly(name).corners
    assert np.abs(found.corners - (left, top) - before).max() < 0.02 * np.ptp(before[:, 0])
