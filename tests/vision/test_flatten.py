"""Flattening: from a rough mesh to the printed lines."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from grid_pages import SQUARE, drawing, photo

from papernudge.vision.failure import Failure
from papernudge.vision.flatten import Flat, flatten, quad_mesh

FRAME = (640, 540)
CELL = 420 / 9


def _grey(image: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    return np.ascontiguousarray(image[..., 0])


def test_a_page_without_lines_is_a_failure_that_says_where() -> None:
    blank = np.full((540, 640), 200, np.uint8)
    result = flatten(blank, quad_mesh(np.array(SQUARE, float)))
    assert isinstance(result, Failure) or not result.is_nine
    assert not isinstance(result, Failure) or result.stage == "flatten"


def test_a_folded_up_start_is_a_failure() -> None:
    corners = np.array([[110, 60], [530, 480], [530, 60], [110, 480]], float)
    result = flatten(np.full((540, 640), 200, np.uint8), quad_mesh(corners))
    assert not result


def test_a_start_a_third_of_a_cell_off_finds_the_lines_to_a_fraction_of_a_pixel() -> None:
    image, true = photo(drawing(), SQUARE, FRAME)
    start = quad_mesh(np.array(SQUARE, float) + np.array([CELL / 3, -CELL / 3]))
    flat = flatten(_grey(image), start)
    assert isinstance(flat, Flat)
    assert flat.is_nine
    assert flat.mesh.seen.all()
    off = np.linalg.norm(flat.mesh.crossings - true, axis=-1)
    assert np.percentile(off, 95) < 0.5


def test_a_bend_of_half_a_cell_is_followed() -> None:
    image, true = photo(drawing(), SQUARE, FRAME, bend=CELL / 2)
    start = true + np.random.default_rng(0).normal(0, 0.03 * CELL, true.shape)
    start[..., 1] -= 0.3 * CELL * np.sin(np.linspace(0, np.pi, 10))[None]
    flat = flatten(_grey(image), start)
    assert isinstance(flat, Flat)
    off = np.linalg.norm(flat.mesh.crossings - true, axis=-1)
    assert np.percentile(off, 95) < 0.06 * CELL


def test_missing_thin_lines_are_filled_in_and_marked_as_unseen() -> None:
    def wipe(page: npt.NDArray[np.uint8]) -> None:
        page[90 + 65 : 90 + 115, 90 + 5 * 60 - 20 : 90 + 5 * 60 + 20] = 235

    image, true = photo(drawing(extra=wipe, filled=0.0), SQUARE, FRAME)
    flat = flatten(_grey(image), quad_mesh(np.array(SQUARE, float)))
    assert isinstance(flat, Flat)
    assert np.linalg.norm(flat.mesh.crossings - true, axis=-1).max() < 0.06 * CELL
    assert flat.support[1, 5] < 1.0
    assert flat.is_nine


def test_a_grid_of_six_does_not_pass_for_nine() -> None:
    image, _ = photo(drawing(6, 3), SQUARE, FRAME, size=6)
    result = flatten(_grey(image), quad_mesh(np.array(SQUARE, float)))
    assert isinstance(result, Failure) or not result.is_nine


def test_a_lattice_of_thin_lines_alone_has_no_blocks() -> None:
    image, true = photo(drawing(), SQUARE, FRAME)
    flat = flatten(_grey(image), true)
    assert isinstance(flat, Flat)
    assert flat.has_blocks
    evidence = np.full((2, 10), 9.0)
    evidence[:, [0, 3, 6, 9]] = 0.0
    assert not replace(flat, evidence=evidence).has_blocks


def test_a_thin_line_plain_in_itself_counts_however_much_plainer_the_others_are() -> None:
    image, true = photo(drawing(), SQUARE, FRAME)
    flat = flatten(_grey(image), true)
    assert isinstance(flat, Flat)
    evidence = np.full((2, 10), 50.0)
    evidence[0, 8] = 6.0  # a shadow's edge lies along it
    assert replace(flat, evidence=evidence).is_nine
    evidence[0, 8] = 1.0  # no line
    assert not replace(flat, evidence=evidence).is_nine
