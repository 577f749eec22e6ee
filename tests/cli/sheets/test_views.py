"""Many looks at a cell, and a sheet's digits beside each other."""

from __future__ import annotations

import numpy as np
import pytest

from papernudge.cli.sheets.answers import by_hand
from papernudge.cli.sheets.code import Task
from papernudge.hints.solver import solve
from papernudge.vision.views import Seen

DIGITS = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"
TASK = Task(1, DIGITS, solve(DIGITS) or "", None, 0, ())
BLANK = [cell for cell, mark in enumerate(DIGITS) if mark == "."]


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
