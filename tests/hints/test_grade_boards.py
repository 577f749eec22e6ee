"""What a grade asks of boards, quickly, is what boards and techniques say at their leisure."""

from __future__ import annotations

from itertools import islice

import pytest

from papernudge.hints.board import Board
from papernudge.hints.generate import puzzle
from papernudge.hints.grade import _ways, grade
from papernudge.hints.looks import Sight, single_looks
from papernudge.hints.position import Position
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles
from papernudge.hints.walk import cheapest_solve, walk

GIVENS = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"


def boards(givens: str) -> list[Board]:
    """Those along its cheapest solve."""
    position, found = Position.of(givens), list[Board]()
    for line in cheapest_solve(position):
        found.append(Board.of(position))
        for cell, digit in line.places:
            position = position.with_digit(cell, digit)
    return found


def test_the_ways_to_write_a_digit_are_those_of_the_techniques_with_their_least_looks() -> None:
    for board in boards(GIVENS):
        looks: dict[tuple[int, int], float] = {}
        blocks, houses = set(), set()
        for single in (*last_blanks(board), *hidden_singles(board), *naked_singles(board)):
            place, read = single.places[0], single.reads[0]
            looks[place] = min(looks.get(place, 1e9), single_looks(board, read))
            if not isinstance(read, Sight):
                houses.add(place)
                blocks |= {place} if read.house >= 18 else set()
        ways = _ways(board)
        assert {place: way.looks for place, way in ways.each.items()} == looks
        assert set(ways.hidden) == houses
        assert set(ways.in_blocks) == blocks


def test_a_board_after_several_digits_is_the_board_of_the_position_with_them() -> None:
    start = Position.of(GIVENS)
    places = [(c, int(d)) for c, d in enumerate(start.solution or "") if start.digits[c] == "."]
    position = start
    for cell, digit in islice(places, 0, None, 3):
        position = position.with_digit(cell, digit)
    board = Board.of(start).with_digits(places[::3], fresh=1 << places[0][0])
    plain = Board.of(position, fresh=1 << places[0][0])
    for name in Board.__slots__:
        assert getattr(board, name) == getattr(plain, name), name


@pytest.mark.parametrize("givens", [GIVENS, *(puzzle(seed) for seed in range(4))])
def test_a_grade_is_the_same_with_and_without_its_walk_at_hand(givens: str) -> None:
    assert grade(givens) == grade(givens, walk(Position.of(givens)))
