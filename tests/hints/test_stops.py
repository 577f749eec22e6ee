"""Where the eye rests, and the boards that a route draws on."""

from __future__ import annotations

from itertools import permutations
from math import hypot, isclose
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import positions

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.geometry import members
from papernudge.hints.stops import IN_SIGHT, Point, Seen, length

POINTS = st.tuples(st.integers(0, 8), st.integers(0, 8)).map(lambda p: (float(p[0]), float(p[1])))


def plainly(start: Point, points: tuple[Point, ...]) -> float:
    """The shortest of all orders, a point in view of the stop before it passed over."""
    best = float("inf")
    for way in permutations(points):
        here, travel = start, 0.0
        for point in way:
            if max(abs(point[0] - here[0]), abs(point[1] - here[1])) > IN_SIGHT:
                travel += hypot(point[0] - here[0], point[1] - here[1])
                here = point
        best = min(best, travel)
    return best


@given(POINTS, st.lists(POINTS, min_size=1, max_size=4, unique=True))
def test_up_to_four_points_are_passed_by_the_shortest_way(start: Point, some: list[Point]) -> None:
    travel, stops = Seen((tuple(some),)).shortest(start)
    assert isclose(travel, plainly(start, tuple(some)), abs_tol=1e-9)
    assert isclose(travel, length((start, *stops)), abs_tol=1e-9)


@given(POINTS, st.lists(POINTS, min_size=5, max_size=9, unique=True))
def test_of_more_points_each_is_in_view_of_a_stop(start: Point, some: list[Point]) -> None:
    _, stops = Seen((tuple(some),)).shortest(start)
    for x, y in some:
        assert any(max(abs(x - a), abs(y - b)) <= IN_SIGHT for a, b in (start, *stops))


@settings(max_examples=30, deadline=None)
@given(positions(), st.integers(0, 2**32))
def test_a_board_with_a_digit_more_is_that_of_the_position(position: Position, seed: int) -> None:
    solution = position.solution
    assert solution is not None
    random = Random(seed)
    board = Board.of(position)
    for cell in random.sample(list(members(position.blank)), position.blank.bit_count()):
        digit = int(solution[cell])
        position, board = position.with_digit(cell, digit), board.with_digit(cell, digit)
        fresh = Board.of(position)
        for name in Board.__slots__:
            assert getattr(board, name) == getattr(fresh, name), name
