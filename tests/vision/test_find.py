"""Finding grids on pages whose truth is known."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from grid_pages import SQUARE, UNIT, drawing, photo, turned_to_match
from samples import chosen

from papernudge.vision import find_kind
from papernudge.vision.find import find_grids
from papernudge.vision.find_kind import chance_plain, traits
from papernudge.vision.flatten import Flat, flatten
from papernudge.vision.grid import GridKind

FRAME = (640, 540)


def test_a_blank_page_holds_no_grid() -> None:
    assert find_grids(np.full((480, 640, 3), 200, np.uint8)) == ()


def test_a_picture_of_one_pixel_holds_no_grid() -> None:
    assert find_grids(np.zeros((1, 1, 3), np.uint8)) == ()


def test_noise_holds_no_grid() -> None:
    noise = np.random.default_rng(0).integers(0, 256, (480, 640, 3), dtype=np.uint8)
    assert find_grids(noise) == ()


@pytest.mark.parametrize("degrees", [0, 12, 37, 90, 181, 270, 315])
def test_a_grid_is_found_however_it_is_turned(degrees: int) -> None:
    turn = np.deg2rad(degrees)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    middle = np.array([320.0, 320.0])
    corners = (np.array(SQUARE) - [320, 270]) * 0.95 @ spin.T + middle
    image, true = photo(drawing(), corners, (640, 640))
    (grid,) = find_grids(image)
    assert grid.kind is GridKind.PUZZLE
    assert grid.mesh is not None
    off = np.linalg.norm(turned_to_match(grid.mesh.crossings, true) - true, axis=-1)
    assert off.max() < 1.0


def test_the_mesh_is_never_mirrored_and_starts_near_the_top_left() -> None:
    image, _ = photo(drawing(), [[130, 60], [560, 90], [520, 500], [100, 470]], FRAME)
    (grid,) = find_grids(image)
    assert grid.mesh is not None
    top_left, top_right, _, bottom_left = grid.mesh.corners
    right, down = top_right - top_left, bottom_left - top_left
    assert right[0] * down[1] - right[1] * down[0] > 0
    assert np.linalg.norm(top_left - [130, 60]) < 3


def test_corners_are_those_of_the_frame_ink_and_lie_outside_the_line_middles() -> None:
    image, true = photo(drawing(thick=9), SQUARE, FRAME)
    (grid,) = find_grids(image)
    outward = (grid.corners - true[[0, 0, 9, 9], [0, 9, 9, 0]]) * [
        [-1, -1],
        [1, -1],
        [1, 1],
        [-1, 1],
    ]
    half = 4.5 * 420 / (9 * UNIT)
    assert np.all(np.abs(outward - half) < 1.5)


def test_perspective_and_a_bowed_page_keep_crossings_exact() -> None:
    corners = [[150, 80], [500, 110], [590, 470], [60, 450]]
    image, true = photo(drawing(), corners, FRAME, bend=14.0)
    (grid,) = find_grids(image)
    assert grid.kind is GridKind.PUZZLE
    assert grid.mesh is not None
    off = np.linalg.norm(turned_to_match(grid.mesh.crossings, true) - true, axis=-1)
    assert np.percentile(off, 95) < 0.06 * 40


def test_a_grid_that_the_frame_cuts_is_reported_as_cut_off_and_has_no_mesh() -> None:
    corners = np.array(SQUARE) - [210, 0]
    image, _ = photo(drawing(), corners, FRAME)
    grids = find_grids(image)
    assert [grid.kind for grid in grids] == [GridKind.CUT_OFF]
    assert grids[0].mesh is None
    assert "left edge" in str(grids[0].quality.sentence)


CUT: list[Any] = [
    ([[240, 40], [680, 60], [690, 500], [230, 480]], "right"),
    ([[-250, 60], [190, 40], [200, 480], [-260, 500]], "left"),
    ([[110, -140], [550, -120], [560, 300], [100, 320]], "top"),
    ([[110, 300], [550, 320], [560, 740], [100, 760]], "bottom"),
    ([[420, 100], [740, 420], [420, 740], [100, 420]], "bottom"),
]


@pytest.mark.parametrize(("corners", "side"), chosen(CUT, CUT[0], CUT[2]))
def test_a_grid_cut_far_inside_is_cut_off_and_the_side_is_named(corners: Any, side: str) -> None:
    image, _ = photo(drawing(), corners, FRAME)
    (grid,) = find_grids(image)
    assert grid.kind is GridKind.CUT_OFF
    assert grid.quality.reason == "cut off"
    assert grid.quality.sentence == (
        f"The {side} edge of the grid is cut off: get the whole grid into the frame."
    )
    assert grid.corners.min() >= 0
    assert np.all(grid.corners <= np.array(FRAME) - 1)


def test_thin_lines_that_the_noise_breaks_still_tell_a_cut_off_grid() -> None:
    flat = drawing(thin=1, filled=0.3)
    flat[flat > 200] = 200
    image, _ = photo(flat, [[240, 40], [680, 60], [690, 500], [230, 480]], FRAME, noise=7.0)
    kinds = [grid.kind for grid in find_grids(image)]
    assert kinds == [GridKind.CUT_OFF]


def test_a_cut_off_neighbour_does_not_keep_the_whole_grid_from_being_found() -> None:
    image, _ = photo(drawing(), [[10, 80], [390, 80], [390, 460], [10, 460]], FRAME)
    other, _ = photo(drawing(seed=2), [[420, 80], [800, 80], [800, 460], [420, 460]], FRAME)
    image[:, 405:] = other[:, 405:]
    assert [grid.kind for grid in find_grids(image)] == [GridKind.PUZZLE, GridKind.CUT_OFF]


def test_a_filled_grid_whose_lines_are_nearly_alike_is_still_found() -> None:
    image, _ = photo(drawing(thin=5, thick=7, filled=1.0), SQUARE, FRAME)
    (grid,) = find_grids(image)
    assert grid.kind is GridKind.PUZZLE


def test_a_filled_lattice_of_nine_without_blocks_is_other() -> None:
    # A size at which no three cells make whole pixels: else every third line is drawn alike.
    corners = [[110, 60], [537, 60], [537, 487], [110, 487]]
    image, _ = photo(drawing(block=9, filled=1.0), corners, FRAME)
    assert {grid.kind for grid in find_grids(image)} == {GridKind.OTHER}


@pytest.mark.parametrize(("size", "block"), [(13, 13), (8, 8)])
def test_a_lattice_without_blocks_that_the_frame_cuts_is_not_called_cut_off(
    size: int, block: int
) -> None:
    corners = [[330, 20], [820, 20], [820, 510], [330, 510]]
    image, _ = photo(drawing(size, block), corners, FRAME, size=size)
    assert {grid.kind for grid in find_grids(image)} <= {GridKind.OTHER}


def test_two_grids_come_in_reading_order() -> None:
    image, _ = photo(drawing(seed=1), [[20, 20], [300, 20], [300, 300], [20, 300]], (640, 640))
    other, _ = photo(drawing(seed=2), [[320, 340], [600, 340], [600, 620], [320, 620]], (640, 640))
    image[320:] = other[320:]
    first, second = find_grids(image)
    assert first.kind is second.kind is GridKind.PUZZLE
    assert first.corners[0, 1] < second.corners[0, 1]


def test_two_grids_so_near_that_a_crease_joins_them_are_two() -> None:
    # The gap is as wide as a cell, so that one lattice runs on through both.
    frame = (840, 480)
    left, _ = photo(drawing(seed=1), [[30, 40], [390, 40], [390, 400], [30, 400]], frame)
    right, _ = photo(drawing(seed=2), [[425, 60], [785, 60], [785, 420], [425, 420]], frame)
    left[:, 408:] = right[:, 408:]
    for x in range(20, 800):  # the crease
        y = 90 + x // 3
        left[y : y + 2, x] = 120
    assert [grid.kind for grid in find_grids(left)] == [GridKind.PUZZLE, GridKind.PUZZLE]


def test_grids_side_by_side_come_from_left_to_right_even_if_the_right_one_lies_higher() -> None:
    left, _ = photo(drawing(seed=1), [[20, 60], [300, 60], [300, 340], [20, 340]], (640, 400))
    right, _ = photo(drawing(seed=2), [[330, 30], [610, 30], [610, 310], [330, 310]], (640, 400))
    left[:, 315:] = right[:, 315:]
    first, second = find_grids(left)
    assert first.corners[0, 0] < second.corners[0, 0]
    assert first.corners[0, 1] > second.corners[0, 1]


@pytest.mark.slow
def test_a_big_photo_is_measured_in_its_own_pixels() -> None:
    corners = np.array(SQUARE, float) * 6.3
    image, true = photo(drawing(), corners, (4031, 3401), blur=4.0)
    (grid,) = find_grids(image)
    assert grid.mesh is not None
    off = np.linalg.norm(turned_to_match(grid.mesh.crossings, true) - true, axis=-1)
    assert off.max() < 0.02 * 294


def test_a_small_solved_grid_beside_the_puzzle_is_full() -> None:
    image, _ = photo(drawing(), [[20, 20], [420, 20], [420, 420], [20, 420]], (700, 700))
    small, _ = photo(
        drawing(filled=1.0), [[460, 470], [670, 470], [670, 680], [460, 680]], (700, 700)
    )
    image[440:] = small[440:]
    assert [grid.kind for grid in find_grids(image)] == [GridKind.PUZZLE, GridKind.FULL]


@pytest.mark.parametrize(("size", "block"), [(4, 2), (6, 3), (8, 4), (12, 3), (16, 4)])
def test_a_grid_of_another_size_is_never_a_puzzle(size: int, block: int) -> None:
    image, _ = photo(drawing(size, block), SQUARE, FRAME, size=size, blur=0.6)
    kinds = {grid.kind for grid in find_grids(image)}
    assert GridKind.PUZZLE not in kinds
    assert GridKind.FULL not in kinds


def _diagonals(page: npt.NDArray[np.uint8]) -> None:
    import cv2

    end = page.shape[0] - 90
    cv2.line(page, (90, 90), (end, end), 90, 3, cv2.LINE_AA)
    cv2.line(page, (end, 90), (90, end), 90, 3, cv2.LINE_AA)


def _shifted_blocks(page: npt.NDArray[np.uint8]) -> None:
    """Thick lines where a plain grid has thin ones, and thin where it has thick ones."""
    for k in (2, 5):
        for at in (90 + k * UNIT,):
            page[at - 3 : at + 4, 90:-90] = 40
            page[90:-90, at - 3 : at + 4] = 40


def _cages(page: npt.NDArray[np.uint8]) -> None:
    for r in range(9):
        for c in range(0, 9, 2):
            x, y = 90 + c * UNIT + 7, 90 + r * UNIT + 7
            wide = UNIT * min(2, 9 - c) - 14
            page[y : y + 2, x : x + wide] = 90
            page[y + UNIT - 16 : y + UNIT - 14, x : x + wide] = 90
            page[y : y + UNIT - 14, x : x + 2] = 90
            page[y : y + UNIT - 14, x + wide - 2 : x + wide] = 90


@pytest.mark.parametrize(("every", "halves"), [(1, False), (2, True)])
def test_a_mesh_on_every_second_line_passes_over_lines(every: int, halves: bool) -> None:
    image, true = photo(drawing(18, 3, filled=0.5), SQUARE, (640, 540), size=18)
    mesh = true[: 9 * every + 1 : every, :10]
    flat = flatten(np.ascontiguousarray(image[..., 0]), mesh)
    assert isinstance(flat, Flat)
    assert traits(image[..., 0], flat).halves is halves


@pytest.mark.parametrize("extra", [_diagonals, _cages])
def test_a_nine_by_nine_of_another_kind_is_other(extra: Any) -> None:
    image, _ = photo(drawing(extra=extra, filled=0.3), SQUARE, FRAME, blur=0.6)
    assert [grid.kind for grid in find_grids(image)] == [GridKind.OTHER]


def test_the_stronger_a_sign_of_another_kind_the_less_likely_is_a_plain_grid() -> None:
    image, true = photo(drawing(), SQUARE, FRAME)
    flat = flatten(np.ascontiguousarray(image[..., 0]), true)
    assert isinstance(flat, Flat)
    seen = traits(image[..., 0], flat)
    for sign, levels in (
        ("diagonal", (0.6, 0.8, 1.0)),
        ("caged", (0.1, 0.2, 0.4)),
        ("goes_on", (0.5, 1.0)),
    ):
        signs = [replace(seen, **{sign: level}) for level in (0.0, *levels)]
        chances = [chance_plain(one) for one in signs]
        assert chances == sorted(chances, reverse=True)
        assert chances[0] > 0.5 > chances[-1]


def test_a_blank_or_crammed_lattice_is_a_puzzle_only_with_blocks() -> None:
    for thick, plain in ((3, False), (7, True)):
        image, true = photo(drawing(thick=thick), SQUARE, FRAME)
        flat = flatten(np.ascontiguousarray(image[..., 0]), true)
        assert isinstance(flat, Flat)
        seen = traits(image[..., 0], flat)
        assert chance_plain(seen) > 0.5
        for inked in (0.0, 1.0):
            assert (chance_plain(replace(seen, inked=inked)) > 0.5) is plain


def test_the_weights_are_those_of_what_is_weighed() -> None:
    assert find_kind.WEIGHTS.shape == (1 + len(find_kind.LOOKS),)


def test_blocks_that_are_not_three_by_three_are_other() -> None:
    flat = drawing(block=9, extra=_shifted_blocks, filled=0.3)
    image, _ = photo(flat, SQUARE, FRAME, blur=0.6)
    assert [grid.kind for grid in find_grids(image)] == [GridKind.OTHER]


def test_a_grid_too_small_to_read_says_what_to_do() -> None:
    image, _ = photo(drawing(), [[40, 40], [130, 40], [130, 130], [40, 130]], (320, 240), blur=0.5)
    (grid,) = find_grids(image)
    assert grid.kind is GridKind.TOO_POOR
    assert grid.quality.reason == "small"
    assert "nearer" in str(grid.quality.sentence)


def _photos(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.jpg"))


def test_the_grids_of_a_sample_of_real_photos_are_found(data_dir: Path) -> None:
    import cv2

    with (data_dir / "photos" / "printed" / "outlines.csv").open() as file:
        rows = {row[0]: row[1:] for row in list(csv.reader(file))[1:]}
    for path in _photos(data_dir / "photos" / "printed")[::15]:
        image = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
        puzzles = [grid for grid in find_grids(image) if grid.kind is GridKind.PUZZLE]
        assert puzzles, path.name
        if not rows[path.stem][0] or path.stem > "1030":  # none, or in the tag's frame
            continue
        outline = np.array(rows[path.stem], float).reshape(4, 2)
        off = [np.linalg.norm(grid.corners - outline, axis=1).max() for grid in puzzles]
        assert min(off) < 0.025 * image.shape[1], path.name
