"""The joint reading: what the rules may decide, and what they may not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from papernudge.hints.solver import solve
from papernudge.vision.decode import decode
from papernudge.vision.doubts import chance_right, find_doubts
from papernudge.vision.fill import best_fillings
from papernudge.vision.weigher import LITTLE, WHOLE, Effort

# Published: Project Euler, Problem 96, worked example, with its printed solution (read).
PUZZLE = "..3.2.6..9..3.5..1..18.64....81.29..7.......8..67.82....26.95..8..2.3..9..5.1.3.."
SOLVED = "483921657967345821251876493548132976729564138136798245372689514814253769695417382"


def scores(
    givens: str, entries: str = "." * 81, sure: float = 1e-6, hand: float = 8.0
) -> tuple[np.ndarray, np.ndarray]:
    """What a very good classifier would say of this paper."""
    chances = np.full((81, 10), sure)
    odds = np.zeros(81)
    for cell in range(81):
        char = givens[cell] if givens[cell] != "." else entries[cell]
        chances[cell, 0 if char == "." else int(char)] = 1 - 9 * sure
        odds[cell] = -hand if givens[cell] != "." else hand
    return np.log(chances), odds


def between(digits: np.ndarray, cell: int, chances: dict[int, float]) -> None:
    """Makes a cell unclear: ``chances`` of what may stand there, next to none of anything else."""
    digits[cell] = math.log(1e-6)
    for digit, chance in chances.items():
        digits[cell, digit] = math.log(chance)


def line(digits: np.ndarray) -> str:
    return "".join(".123456789"[d] for d in digits)


def test_an_empty_grid_reads_as_an_empty_grid() -> None:
    decoded = decode(*scores("." * 81), solve)
    assert line(decoded.best_given) == line(decoded.best_other) == "." * 81
    assert not decoded.proper


@pytest.mark.parametrize("effort", [WHOLE, LITTLE])
def test_nonsense_is_read_in_bounded_effort_and_doubted(effort: Effort) -> None:
    asked: list[str] = []
    rng = np.random.default_rng(1)
    digits = rng.normal(size=(81, 10))
    digits -= np.log(np.exp(digits).sum(axis=1, keepdims=True))
    hand = rng.normal(size=81)
    decoded = decode(
        digits, hand, lambda text, board: asked.append(text) or solve(text, board), effort
    )
    assert len(asked) <= 3 * effort.solved
    assert len(find_doubts(decoded)) > 40


def test_a_clear_puzzle_comes_through_with_no_doubt() -> None:
    decoded = decode(*scores(PUZZLE), solve)
    assert line(decoded.best_given) == PUZZLE
    assert decoded.proper
    assert decoded.complete
    assert find_doubts(decoded) == ()


def test_the_chances_of_each_cell_add_up_to_one() -> None:
    digits, hand = scores(PUZZLE, sure=1e-3)
    decoded = decode(digits, hand, solve)
    assert (decoded.given + decoded.other).sum(axis=1) == pytest.approx(1)


def test_a_given_that_reads_wrong_alone_is_restored_by_the_rules() -> None:
    digits, hand = scores(PUZZLE)
    cell = PUZZLE.index("3")
    # An 8 would clash with nothing in sight but leave no solution; the ink prefers it a little.
    between(digits, cell, {8: 0.7, 3: 0.3})
    decoded = decode(digits, hand, solve)
    assert line(decoded.best_given) == PUZZLE
    assert chance_right(decoded)[cell] > 0.99


def test_a_clearly_misprinted_given_is_not_repaired() -> None:
    cell = PUZZLE.index("3")
    misprint = PUZZLE[:cell] + "8" + PUZZLE[cell + 1 :]
    assert solve(misprint) is None
    decoded = decode(*scores(misprint), solve)
    assert line(decoded.best_given) == misprint
    assert not decoded.proper


def test_a_misprint_in_a_full_solve_is_neither_repaired_nor_called_an_entry() -> None:
    cell = PUZZLE.index("3")
    misprint = PUZZLE[:cell] + "8" + PUZZLE[cell + 1 :]
    entries = "".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True))
    decoded = decode(*scores(misprint, entries), solve)
    assert line(decoded.best_given) == misprint


def test_a_solvers_mistake_survives_the_reading() -> None:
    entries = list("".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True)))
    wrong = [c for c in range(81) if entries[c] != "."][:5]
    for cell in wrong:
        entries[cell] = str(int(entries[cell]) % 9 + 1)
    decoded = decode(*scores(PUZZLE, "".join(entries)), solve)
    assert line(decoded.best_other) == "".join(entries)
    assert find_doubts(decoded) == ()


def test_an_entry_between_right_and_wrong_is_asked_about() -> None:
    entries = "".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True))
    digits, hand = scores(PUZZLE, entries)
    cell = entries.index("7")
    between(digits, cell, {1: 0.95, 7: 0.05})
    doubts = find_doubts(decode(digits, hand, solve))
    assert [d.cell for d in doubts] == [cell]
    assert {doubts[0].read, *(d for d, _ in doubts[0].instead)} == {1, 7}


def test_an_entry_is_not_made_right_in_silence_against_its_ink() -> None:
    """With fifty right entries the rules are very sure; the ink says 1, four to one."""
    entries = "".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True))
    digits, hand = scores(PUZZLE, entries)
    cell = entries.index("7")
    between(digits, cell, {1: 0.8, 7: 0.2})
    decoded = decode(digits, hand, solve)
    assert decoded.best_other[cell] == 7
    assert decoded.other[cell, 7] > 0.99
    assert [d.cell for d in find_doubts(decoded)] == [cell]


def test_a_blank_and_a_hand_are_not_settled_in_silence_against_their_ink() -> None:
    """On a full page a rubbed-out digit, and beside a missing given a tidy entry."""
    entries = "".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True))
    digits, hand = scores(PUZZLE, entries)
    cell = entries.index("7")
    between(digits, cell, {0: 0.8, 7: 0.2})
    assert [d.cell for d in find_doubts(decode(digits, hand, solve))] == [cell]
    lone = PUZZLE.index("3")
    digits, hand = scores(PUZZLE, "." * 81)
    hand[lone] = 1.5
    decoded = decode(digits, hand, solve)
    assert decoded.best_given[lone] == 3
    (doubt,) = find_doubts(decoded)
    assert (doubt.cell, doubt.about) == (lone, "hand")


def test_what_is_plainly_right_vouches_for_the_rest_and_what_is_wrong_does_not() -> None:
    """The same unclear entry among right ones and among six mistakes."""
    entries = list("".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True)))
    cell = entries.index("7")
    chances = []
    for mistakes in (0, 6):
        written = list(entries)
        for other in [c for c in range(81) if entries[c] != "." and c != cell][:mistakes]:
            written[other] = str(int(entries[other]) % 9 + 1)
        digits, hand = scores(PUZZLE, "".join(written))
        between(digits, cell, {1: 0.8, 7: 0.2})
        chances.append(decode(digits, hand, solve).other[cell, 7])
    assert chances[0] > 0.99
    assert chances[1] < 0.97


def test_flattened_cells_of_a_full_solve_come_back() -> None:
    entries = "".join("." if g != "." else s for g, s in zip(PUZZLE, SOLVED, strict=True))
    digits, hand = scores(PUZZLE, entries)
    flat = np.random.default_rng(5).choice(81, 16, replace=False)
    digits[flat] = math.log(1e-6)
    digits[flat, 1:] = math.log(1 / 9)
    hand[flat] = 0.0
    decoded = decode(digits, hand, solve)
    read = np.where(decoded.best_given > 0, decoded.best_given, decoded.best_other)
    assert line(read) == SOLVED


def test_linked_doubts_need_one_question() -> None:
    digits, hand = scores(PUZZLE)
    first, second = PUZZLE.index("3"), PUZZLE.index("2")
    # Both read wrong or both right: alone each half-hearted, together decided by the rules.
    for cell, other in ((first, 4), (second, 4)):
        digits[cell, other] = math.log(0.49)
    doubts = find_doubts(decode(digits, hand, solve))
    assert len(doubts) <= 1


def test_the_likeliest_filling_is_found_and_proved() -> None:
    likes = np.full((81, 9), math.log(0.01))
    for cell, char in enumerate(PUZZLE):
        if char != ".":
            likes[cell, int(char) - 1] = math.log(0.92)
    grids, complete, _ = best_fillings(likes, most_nodes=1500)
    assert complete
    assert line(grids[0]) == SOLVED
