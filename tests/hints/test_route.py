"""The eye's way through a solve."""

from __future__ import annotations

from itertools import pairwise

import pytest

from papernudge.hints import Position
from papernudge.hints.generate import full_grid, puzzle
from papernudge.hints.route import Route, digit_by_digit, length, reading_order, route

PUZZLES = [puzzle(seed, givens=27) for seed in (0, 3)]


@pytest.fixture(scope="module", params=PUZZLES)
def ways(request: pytest.FixtureRequest) -> tuple[Position, list[Route]]:
    position = Position.of(request.param)
    told, short = reading_order(position), reading_order(position, told=False)
    return position, [route(position), told, short, digit_by_digit(position)]


@pytest.mark.parametrize("line", ["." * 81, "11" + "." * 79])
def test_no_position_without_one_solution_has_a_route(line: str) -> None:
    for way in (route, reading_order, digit_by_digit):
        found = way(Position.of(line))
        assert not found.walk.steps
        assert not found.walk.solved
        assert found.travel == found.looks == 0


def test_a_full_grid_needs_no_travel() -> None:
    found = route(Position.of(full_grid(2)))
    assert found.walk.solved
    assert found.travel == 0


def test_travel_is_the_sum_of_straight_distances() -> None:
    assert length([]) == length([(4.0, 4.0)]) == 0
    assert length([(0.0, 0.0), (3.0, 4.0), (3.0, 2.0)]) == 7


def test_one_blank_cell_is_one_look_at_its_block() -> None:
    line = full_grid(2)
    found = route(Position.of("." + line[1:]))
    assert found.looks == 1
    assert found.stops == (((1.0, 1.0),),)


def test_every_way_writes_the_solution(ways: tuple[Position, list[Route]]) -> None:
    position, routes = ways
    for found in routes:
        digits = list(position.digits)
        for line in found.walk.lines:
            for cell, digit in line.places:
                assert digits[cell] == "."
                digits[cell] = str(digit)
        assert found.walk.solved
        assert "".join(digits) == position.solution


def test_what_lies_in_view_of_a_stop_needs_no_other(ways: tuple[Position, list[Route]]) -> None:
    for found in ways[1]:
        assert len(found.stops) == len(found.walk.lines)
        way = [stop for stops in found.stops for stop in stops]
        for (x, y), (left, up) in pairwise(way):
            assert abs(x - left) > 1 or abs(y - up) > 1


def test_the_route_is_shorter_at_no_more_looks(ways: tuple[Position, list[Route]]) -> None:
    best, told, short, by_digit = ways[1]
    assert best.looks <= min(told.looks, short.looks)
    assert told.looks == short.looks
    assert best.travel < short.travel < told.travel
    assert best.travel < by_digit.travel
    assert best.travel <= 0.7 * told.travel


def test_a_witness_is_where_the_digit_stands(ways: tuple[Position, list[Route]]) -> None:
    """Each stop lies on a cell or in the middle of a house, inside the grid."""
    for found in ways[1]:
        for stops in found.stops:
            assert all(x in range(9) and y in range(9) for x, y in stops)


def test_a_turned_around_digit_scan_starts_with_the_lowest_digit_it_can() -> None:
    position = Position.of(PUZZLES[0])
    first = digit_by_digit(position).walk.lines[0]
    low = min(line.places[0][1] for line in (first, reading_order(position).walk.lines[0]))
    assert first.places[0][1] == low


def test_a_full_grid_that_clashes_is_not_solved() -> None:
    """A digit wrong somewhere, so that it stands twice in its row."""
    line = full_grid(2)
    wrong = line[1] + line[1:]
    for found in (route, reading_order, digit_by_digit):
        assert not found(Position.of(wrong)).walk.solved
        assert found(Position.of(line)).walk.solved


@pytest.mark.slow
def test_the_same_position_has_the_same_route() -> None:
    position = Position.of(PUZZLES[0])
    assert route(position) == route(position)
