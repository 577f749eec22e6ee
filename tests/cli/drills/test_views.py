"""Many looks at a cell, and a sheet's digits beside each other."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from papernudge.cli.drills.answers import by_hand
from papernudge.cli.drills.code import Task
from papernudge.cli.drills.views import SIZED, Seen, brought_to
from papernudge.hints.solver import solve

DIGITS = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"
TASK = Task(1, DIGITS, solve(DIGITS) or "", None, 0, ())
BLANK = [cell for cell, mark in enumerate(DIGITS) if mark == "."]


def paper(many: int = 1, side: int = 96) -> Any:
    return np.full((many, side, side, 3), 224, np.uint8)


def seen(cells: dict[int, tuple[dict[int, float], int]]) -> Seen:
    """For some cells the chances of digits, and which shape they have."""
    chances, features = np.zeros((81, 10)), np.zeros((81, 4), np.float32)
    chances[:, 0] = 1.0
    for cell, (digits, shape) in cells.items():
        chances[cell] = 0.0
        features[cell, shape] = 1.0
        for digit, chance in digits.items():
            chances[cell, digit] = chance
    return Seen(chances, features)


# ------------------------------------------------------------ brought to one size


@pytest.mark.parametrize("height", sorted({height for height, _ in SIZED}))
@pytest.mark.parametrize("box", [(60, 30, 70, 50), (30, 20, 60, 76), (50, 55, 62, 75)])
def test_what_is_written_small_or_aside_comes_to_the_middle_in_one_size(
    height: int, box: tuple[int, int, int, int]
) -> None:
    fine, usual = paper(), paper(side=48)
    x0, y0, x1, y1 = box
    fine[0, y0:y1, x0:x1] = 60
    (out,) = brought_to(fine, usual, height)
    rows, columns = np.nonzero(out[..., 0] < 140)
    high = rows.max() - rows.min() + 1
    assert abs(high - min(height, 1.3 * (y1 - y0))) <= 2
    assert abs((rows.max() + rows.min()) / 2 - 23.5) <= 1.5
    assert abs((columns.max() + columns.min()) / 2 - 23.5) <= 1.5


def test_a_cell_without_ink_is_shown_as_it_is() -> None:
    fine, usual = paper(2), paper(2, 48)
    usual[:, 5] = 90
    fine[1, 40:42, 40:42] = 60  # a speck
    assert (brought_to(fine, usual, 24) == usual).all()


def test_lines_of_the_grid_are_not_what_is_written() -> None:
    fine, usual = paper(), paper(side=48)
    fine[0, 10:14] = 30
    fine[0, :, 82:86] = 30
    assert (brought_to(fine, usual, 24) == usual).all()


# ------------------------------------------------------------ one hand


def test_an_unclear_digit_is_told_by_others_of_the_same_hand() -> None:
    a, b, c, d = BLANK[:4]
    unclear = ({1: 0.5, 7: 0.5}, 0)
    sheet = seen({a: unclear, b: ({1: 1.0}, 1), c: ({7: 1.0}, 0), d: ({3: 1.0}, 2)})
    (q,) = by_hand([(TASK, sheet)])
    assert q[a, 7] > 0.95
    assert q[b] == pytest.approx(sheet.chances[b])
    assert q.sum(axis=1) == pytest.approx(1.0)


def test_the_other_digits_may_stand_at_other_positions_of_the_sheet() -> None:
    a, b = BLANK[:2]
    first = seen({a: ({4: 0.5, 9: 0.5}, 0)})
    second = seen({b: ({9: 1.0}, 0)})
    q, _ = by_hand([(TASK, first), (TASK, second)])
    assert q[a, 9] > 0.6
    other = seen({b: ({9: 1.0}, 1)})
    q, _ = by_hand([(TASK, first), (TASK, other)])
    assert q[a, 9] < 0.01


def test_an_unclear_digit_is_no_example() -> None:
    a, b = BLANK[:2]
    sheet = seen({a: ({4: 0.5, 9: 0.5}, 0), b: ({9: 0.8, 4: 0.2}, 0)})
    (q,) = by_hand([(TASK, sheet)])
    assert q == pytest.approx(sheet.chances)


def test_what_is_printed_or_blank_tells_nothing_of_the_hand() -> None:
    a = BLANK[0]
    printed = DIGITS.index("9")
    sheet = seen({a: ({4: 0.5, 9: 0.5}, 0), printed: ({9: 1.0}, 0)})
    sheet.features[BLANK[1], 0] = 1.0
    (q,) = by_hand([(TASK, sheet)])
    assert q == pytest.approx(sheet.chances)
    (q,) = by_hand([(TASK, seen({}))])
    assert q[:, 0] == pytest.approx(1.0)
