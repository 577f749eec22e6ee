"""Whether a grid can be read, and what the person is told."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from grid_pages import SQUARE, drawing, photo

from papernudge.vision.find import find_grids
from papernudge.vision.flatten import Flat, flatten, quad_mesh
from papernudge.vision.grid import GridKind
from papernudge.vision.quality import cut_side, judge, squeezed_side

FRAME = (640, 540)


def _flat(image: npt.NDArray[np.uint8]) -> Flat:
    flat = flatten(np.ascontiguousarray(image[..., 0]), quad_mesh(np.array(SQUARE, float)))
    assert flat
    return flat


def test_a_sharp_bright_photo_is_fine_and_its_numbers_are_told() -> None:
    image, _ = photo(drawing(), SQUARE, FRAME)
    quality = judge(_flat(image), 1.0)
    assert quality.ok
    assert quality.sentence is None
    assert quality.cell_px == pytest.approx(420 / 9, abs=0.5)
    assert 0.4 < quality.contrast < 0.9


@pytest.mark.parametrize("sigma", [1.5, 3.0])
def test_blur_is_measured_as_a_share_of_the_cell(sigma: float) -> None:
    image, _ = photo(drawing(filled=0.0, thick=3), SQUARE, FRAME, blur=sigma)
    quality = judge(_flat(image), 1.0)
    assert quality.sharpness == pytest.approx(sigma / (420 / 9), rel=0.25)


def test_a_grid_out_of_focus_is_called_blurred() -> None:
    image, _ = photo(drawing(filled=0.2, thick=8), SQUARE, FRAME, blur=7.0, noise=0.5)
    quality = judge(_flat(image), 1.0)
    assert quality.reason == "blurred"
    assert "still" in str(quality.sentence)


def test_a_photo_in_the_dark_asks_for_light() -> None:
    image, _ = photo(drawing(), SQUARE, FRAME, noise=0.0)
    dark = (image * 0.02 + 20 + np.random.default_rng(0).normal(0, 0.4, image.shape)).round()
    flat = flatten(
        np.ascontiguousarray(dark[..., 0]).astype(np.uint8), quad_mesh(np.array(SQUARE, float))
    )
    assert flat
    quality = judge(flat, 1.0)
    assert quality.reason == "dark"
    assert "light" in str(quality.sentence)


@pytest.mark.parametrize(
    ("shift", "side"),
    [((-40, 0), "left"), ((40, 0), "right"), ((0, -40), "top"), ((0, 40), "bottom")],
)
def test_the_side_that_cuts_a_grid_is_named(shift: tuple[int, int], side: str) -> None:
    mesh = quad_mesh(np.array([[0, 0], [449, 0], [449, 449], [0, 449]], float))
    assert cut_side(mesh, (450, 450)) is None
    assert cut_side(mesh + np.array(shift), (450, 450)) == side


def test_a_found_grid_carries_its_judgement() -> None:
    image, _ = photo(drawing(), SQUARE, FRAME)
    (grid,) = find_grids(image)
    assert grid.kind is GridKind.PUZZLE
    assert grid.quality.ok


def test_a_rim_that_lies_along_the_photos_edge_is_cut_off_where_lines_say_it_is_beyond() -> None:
    x, y = np.meshgrid(np.arange(10.0), np.arange(10.0))
    whole = np.stack([30 + 40 * x, 50 + 40 * y], axis=-1)
    size = (391, 500)
    assert squeezed_side(whole, size) is None  # the last line lies on the edge, where it should
    beyond = whole + np.array([18, 0])
    squeezed = np.minimum(beyond, [390, 500])
    assert squeezed_side(squeezed, size) == "right"
    assert squeezed_side(squeezed[..., ::-1], size[::-1]) == "bottom"
    assert squeezed_side(np.abs(squeezed - [390, 0]), size) == "left"
    assert squeezed_side(beyond - [60, 0], size) is None
