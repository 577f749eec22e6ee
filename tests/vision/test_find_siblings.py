"""Where a page's other grids should lie, on meshes whose places are known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from grid_pages import drawing, photo

from papernudge.vision.find_siblings import nearby, siblings

Points = npt.NDArray[np.float64]
PAGE = (900, 900)


def placed(x: float, y: float, side: float = 20.0, bow: float = 0.0) -> Points:
    """Crossings (10, 10, 2) of a grid whose corner lies at x, y on a page that bows down."""
    at = side * np.arange(10.0)
    across, down = np.meshgrid(x + at, y + at)
    return np.stack([across, down + bow * np.sin(np.pi * across / PAGE[1])], axis=-1)


def farthest(found: Points, true: Points) -> float:
    return float(np.linalg.norm(found - true, axis=-1).max())


def test_one_grid_tells_no_other() -> None:
    assert siblings([], PAGE) == []
    assert siblings([placed(100, 100)], PAGE) == []


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_three_grids_of_a_rectangle_tell_the_fourth_however_each_is_named(turns: int) -> None:
    meshes = [placed(100, 100), placed(350, 100), np.rot90(placed(100, 380), turns)]
    found = siblings(meshes, PAGE)
    assert min(farthest(mesh, placed(350, 380)) for mesh in found) < 1e-6


def test_two_grids_tell_the_one_between_and_the_one_after() -> None:
    found = siblings([placed(60, 100), placed(560, 100)], (900, 1400))
    assert min(farthest(mesh, placed(310, 100)) for mesh in found) < 1e-6
    assert min(farthest(mesh, placed(1060, 100)) for mesh in found) < 1e-6


def test_a_prediction_bends_as_the_page_does() -> None:
    meshes = [placed(x, y, bow=30.0) for x, y in ((100, 100), (350, 100), (100, 380))]
    found = siblings(meshes, PAGE)
    assert min(farthest(mesh, placed(350, 380, bow=30.0)) for mesh in found) < 0.5


def test_no_place_lies_on_a_found_grid_or_beyond_the_photo() -> None:
    meshes = [placed(100, 100), placed(350, 100), placed(100, 380), placed(350, 380)]
    for mesh in siblings(meshes, PAGE):
        middle = mesh.mean(axis=(0, 1))
        assert ((middle >= 0) & (middle <= 900)).all()
        assert min(np.linalg.norm(middle - m.mean(axis=(0, 1))) for m in meshes) > 90


def test_no_place_lies_between_two_grids_that_are_next_to_each_other() -> None:
    found = siblings([placed(100, 100), placed(300, 100)], PAGE)
    assert all(abs(mesh[..., 0].mean() - 290) > 150 for mesh in found)


def test_a_grid_is_seen_a_cell_beside_its_place_and_not_on_blank_paper() -> None:
    image, true = photo(drawing(), [[110, 60], [530, 60], [530, 480], [110, 480]], (640, 540))
    grey = np.ascontiguousarray(image[..., 0])
    place = true + np.array([45.0, -46.0])
    found = nearby(grey, place, usual=80.0)
    assert found is not None
    assert farthest(found, true) < 0.4 * 420 / 9
    assert nearby(np.full_like(grey, 200), place, usual=80.0) is None
