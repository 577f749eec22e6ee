"""What stands in a cell is brought to one size, whatever size it was written in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from papernudge.digits_model import one_size as sizing
from papernudge.digits_model import scores
from papernudge.digits_model.one_size import ink_box, one_size
from papernudge.vision import patches


def paper(count: int = 1, finer: int = 1) -> npt.NDArray[np.uint8]:
    side = sizing.SIDE * finer
    return np.full((count, side, side, 3), sizing.PAPER, np.uint8)


def test_paper_and_side_are_those_of_patches() -> None:
    assert (sizing.PAPER, sizing.SIDE) == (patches.PAPER, patches.SIDE)
    assert sizing.RIM > patches.MARGIN  # the cell's own lines stay out


@pytest.mark.parametrize("finer", [1, 2])
@pytest.mark.parametrize("height", [20, 24, 28])
@pytest.mark.parametrize("box", [(30, 15, 35, 25), (15, 12, 25, 36), (25, 27, 31, 38)])
def test_ink_comes_to_the_middle_in_the_height_wanted(
    height: int, box: tuple[int, int, int, int], finer: int
) -> None:
    cells, usual = paper(finer=finer), paper()
    x0, y0, x1, y1 = (finer * at for at in box)
    cells[0, y0:y1, x0:x1] = 60
    assert ink_box(cells[0]) == (x0, y0, x1, y1)
    (out,) = one_size(usual, height, fine=cells) if finer > 1 else one_size(cells, height)
    rows, columns = np.nonzero(out[..., 0] < 140)
    high, written = rows.max() - rows.min() + 1, box[3] - box[1]
    assert abs(high - np.clip(height, 0.8 * written, 2.6 * written)) <= 2
    assert abs((rows.max() + rows.min()) / 2 - 23.5) <= 1.5
    assert abs((columns.max() + columns.min()) / 2 - 23.5) <= 1.5


@pytest.mark.parametrize("finer", [1, 2])
def test_cells_without_ink_specks_and_the_grids_own_lines_stay_as_they_are(finer: int) -> None:
    cells, usual = paper(3, finer), paper(3)
    usual[:, 5] = 90
    cells[1, 20 * finer : 21 * finer, 20 * finer : 21 * finer] = 60  # a speck
    cells[2, 5 * finer : 8 * finer] = cells[2, :, 41 * finer : 44 * finer] = 60
    assert [ink_box(cell) for cell in cells] == [None] * 3
    same = one_size(usual, fine=cells) == usual if finer > 1 else one_size(cells) == cells
    assert same.all()
    assert one_size(paper(0)).shape == paper(0).shape


def test_a_turn_goes_against_the_clock() -> None:
    cells = paper()
    cells[0, 14:34, 22:26] = 60
    (out,) = one_size(cells, 20, 20)
    rows, columns = np.nonzero(out[..., 0] < 140)
    assert columns[rows < 18].mean() < columns[rows > 29].mean() - 3


def test_small_and_large_digits_of_one_shape_are_told_alike() -> None:
    """Of the same strokes at two sizes, many views say the same digit."""
    import cv2

    cells = paper(2)
    for cell, (scale, at) in zip(cells, ((0.45, (20, 29)), (1.0, (14, 35))), strict=True):
        cv2.putText(cell, "4", at, cv2.FONT_HERSHEY_SIMPLEX, scale, (70, 70, 70), 1, cv2.LINE_AA)
    logits, features = scores.first_look(cells)
    page = scores.context(logits, features)
    many = scores._many_views(cells, page, None)
    assert many[:, :10].argmax(axis=1).tolist() == [4, 4]
