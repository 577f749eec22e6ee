"""Lattices grown from joints, on curled rules whose crossings are known by their formula."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from papernudge.vision.find_cells import Lattice
from papernudge.vision.find_grow import Grown, by_blocks, grow, resided, windows
from papernudge.vision.find_joints import joint_lattices, joints

SIDE = 40.0


def crossings(lines: int, curl: float, first: float = 60.0) -> npt.NDArray[np.float64]:
    """Where lines cross, (lines, lines, 2): rules that bow by ``curl`` cells."""
    at = np.arange(lines, dtype=float)
    x, y = np.meshgrid(at, at)
    bow = curl * np.sin(np.pi * x / (lines - 1))
    return first + SIDE * np.stack([x, y + bow], axis=2)


def ruled(points: npt.NDArray[np.float64], heavy: int = 3) -> npt.NDArray[np.uint8]:
    """A grey photo of those lines, every ``heavy``-th one thicker."""
    import cv2

    size = int(points.max() + 60)
    page = np.full((size, size), 225, np.uint8)
    for k in range(len(points)):
        wide = 3 if k % heavy == 0 else 1
        for line in (points[k], points[:, k]):
            cv2.polylines(
                page, [np.rint(line * 8).astype(np.int32)], False, 60, wide, cv2.LINE_AA, 3
            )
    return np.asarray(cv2.GaussianBlur(page, (0, 0), 0.8), np.uint8)


def missed_by(mesh: npt.NDArray[np.float64], true: npt.NDArray[np.float64]) -> float:
    """The farthest that a crossing lies from the true one, cells."""
    return float(np.linalg.norm(mesh - true, axis=-1).max() / SIDE)


def biggest(page: npt.NDArray[np.uint8]) -> Lattice:
    return joint_lattices(page, np.ones(page.shape, bool), 3 * SIDE)[0]


def test_most_joints_lie_where_lines_cross() -> None:
    true = crossings(10, 0.3).reshape(-1, 2)
    seen = joints(ruled(crossings(10, 0.3))).at
    near = np.linalg.norm(seen[:, None] - true[None], axis=2)
    assert (near.min(axis=0) < 4).mean() > 0.9
    assert (near.min(axis=1) < 9).mean() > 0.5  # the others lie along heavy rules


def test_blank_paper_has_no_lattice() -> None:
    page = np.full((400, 400), 220, np.uint8)
    assert joint_lattices(page, np.ones(page.shape, bool), 100.0) == []


@pytest.mark.parametrize("curl", [0.0, 0.3, 0.5])
def test_a_grid_is_grown_from_its_joints_however_it_curls(curl: float) -> None:
    true = crossings(10, curl)
    page = ruled(true)
    grown = grow(page, biggest(page), 0.5)
    assert grown is not None
    meshes = windows(page, grown)
    assert missed_by(meshes[0], true) < 0.06


def test_a_few_cells_in_the_middle_grow_to_the_whole_and_no_farther() -> None:
    true = crossings(10, 0.3)
    page = ruled(true)
    some = Grown(true[2:8, 2:8], (False,) * 4).as_lattice()
    grown = grow(page, some)
    assert grown is not None
    assert grown.extent == (9, 9)
    assert grown.hidden == (False, False, False, False)
    assert missed_by(grown.crossings, true) < 0.06


def test_a_grid_that_leaves_the_photo_says_on_which_side() -> None:
    page = ruled(crossings(10, 0.0))[150:, :]  # the first rows are off the photo
    grown = grow(page, biggest(page), 0.5)
    assert grown is not None
    assert grown.hidden[0]
    assert not any(grown.hidden[1:])


def test_a_lattice_too_large_for_a_puzzle_is_left_alone() -> None:
    page = ruled(crossings(20, 0.0))
    assert grow(page, Grown(crossings(20, 0.0), (False,) * 4).as_lattice()) is None


def test_a_mesh_half_a_cell_off_is_laid_by_the_lines_around_blocks() -> None:
    true = crossings(10, 0.3)
    page = ruled(true)
    start = true + np.array([0.6, -0.6]) * SIDE  # nearer to other lines than to its own
    mesh = by_blocks(page, start)
    assert mesh is not None
    assert missed_by(mesh[::3, ::3], true[::3, ::3]) < 0.1
    assert missed_by(mesh, true) < 0.25


def test_blank_paper_lays_no_mesh_that_folds() -> None:
    page = np.full((500, 500), 220, np.uint8)
    mesh = by_blocks(page, crossings(10, 0.0))
    assert mesh is None or missed_by(mesh, crossings(10, 0.0)) < 0.5


def test_a_side_that_the_page_turns_away_is_found_again() -> None:
    true = crossings(10, 0.0)
    true[:, 7:, 0] -= SIDE * np.array([0.2, 0.6, 1.1])  # the last columns get ever narrower
    page = ruled(true)
    start = crossings(10, 0.0)
    meshes = resided(page, start)
    assert len(meshes) == 4
    assert missed_by(meshes[3][:, 9], true[:, 9]) < 0.25  # flattening reaches further
    assert missed_by(start[:, 9], true[:, 9]) > 1.0
