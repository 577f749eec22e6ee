"""Positions to practise one reason on."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

import pytest
from samples import chosen
from sat import Judge, variable

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.canonical import canonical
from papernudge.hints.drilling import (
    FIRST,
    FIRST_OF,
    MOST_LOOKS,
    Reason,
    drilled,
    drills_in,
    find_drills,
    spread,
)
from papernudge.hints.generate import full_grid, puzzle
from papernudge.hints.geometry import HOUSES
from papernudge.hints.registry import PRACTISED
from papernudge.hints.search import cheapest_lines

STUCK = "568.....913759.8..492......7153649822439856179861.....6.1...39.8.9.31.7.374.59..."
"""A position of our own whose cheapest line takes more looks than a drill may."""


def own_puzzles(start: int = 0) -> Iterator[str]:
    seed = start
    while True:
        yield puzzle(seed)
        seed += 1


def test_an_unknown_reason_is_refused_with_those_that_can_be_asked_for() -> None:
    with pytest.raises(ValueError, match=r"hidden single.*got 'golden hammer'"):
        Reason.parse("golden hammer")


def test_no_drills_wanted_is_refused() -> None:
    with pytest.raises(ValueError, match="from 1, got 0"):
        find_drills([], Reason.parse("naked single"), 0)


def test_no_puzzles_hold_no_drills() -> None:
    assert find_drills([], Reason.parse("naked single"), 3) == []
    assert spread([], 3) == []


def test_a_full_grid_and_one_without_one_solution_hold_no_drills() -> None:
    reason = Reason.parse("hidden single")
    assert drilled(full_grid(1), reason) is None
    assert not list(drills_in("." * 81, [reason]))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Hidden  Single", "hidden single"),
        ("hidden single in a block", "hidden single in a block"),
        ("x-wing", "X-wing"),
        ("last blank", "last blank of a house"),
        ("last blank of a house in a row", "last blank in a row"),
        ("several cells in a row with three blanks", "several cells in a row with 3 blanks"),
    ],
)
def test_a_reason_says_itself_and_is_understood_again(text: str, said: str) -> None:
    reason = Reason.parse(text)
    assert str(reason) == said
    assert Reason.parse(said) == reason


NAMES = (
    "last blank in a column",
    "several cells in a row with 2 blanks",
    "hidden single in a block",
    "hidden single in a line",
    "naked single",
    "locked candidates",
)


@pytest.mark.parametrize("name", chosen([*NAMES], *NAMES[1:3]))
def test_a_drills_answers_are_forced_and_nothing_else_is_as_cheap(name: str) -> None:
    reason = Reason.parse(name)
    found = find_drills(islice(own_puzzles(100), 40), reason, 1)
    assert found
    judge = Judge()
    for drill in found:
        lines = cheapest_lines(Board.of(Position.of(drill.digits)))
        assert {line.technique for line in lines} == {reason.technique}
        assert drill.looks == min(line.looks for line in lines)
        written = [variable(c, int(d)) for c, d in enumerate(drill.digits) if d != "."]
        for places in drill.answers:
            assert judge.forces(written, [variable(c, d) for c, d in places])
    judge.close()


def test_a_reason_in_a_block_or_with_two_blanks_is_just_that() -> None:
    for name in ("hidden single in a block", "several cells in a row with 2 blanks"):
        reason = Reason.parse(name)
        drill = find_drills(islice(own_puzzles(7), 20), reason, 1)[0]
        blank = Position.of(drill.digits).blank
        for line in cheapest_lines(Board.of(Position.of(drill.digits))):
            (house,) = {h for h in line.last.houses if reason.kind in _kinds(h)}
            if reason.blanks:
                assert (HOUSES[house] & blank).bit_count() == reason.blanks
                assert house < 9
            else:
                assert house >= 18


def _kinds(house: int) -> tuple[str, ...]:
    return (("row", "line"), ("column", "line"), ("block",))[house // 9]


@pytest.mark.slow
def test_drills_are_spread_from_few_looks_to_many_and_none_are_alike() -> None:
    found = find_drills(islice(own_puzzles(), 12), Reason.parse("hidden single"), 6)
    assert len(found) == 6
    looks = [drill.looks for drill in found]
    assert looks == sorted(looks)
    assert looks[-1] - looks[0] >= 2
    assert len({canonical(drill.digits) for drill in found}) == 6
    assert len({drill.puzzle for drill in found}) == 6


def test_a_puzzle_and_its_mirror_image_give_one_drill() -> None:
    one = puzzle(3)
    pair = [one, one[::-1]]
    assert len(find_drills(pair, Reason.parse("hidden single"), 5)) == 1


def test_where_every_line_is_too_dear_a_digit_is_given_away_and_the_solve_goes_on() -> None:
    board = Board.of(Position.of(STUCK))
    assert cheapest_lines(board)[0].price > MOST_LOOKS
    assert not cheapest_lines(board, most=MOST_LOOKS)
    drills = list(drills_in(STUCK, [Reason.parse("hidden single")]))
    assert drills
    assert all(drill.looks <= MOST_LOOKS for drill in drills)
    assert drilled(STUCK, Reason.parse("alternating chain")) is None


@pytest.mark.slow
def test_the_same_seed_finds_the_same_drills() -> None:
    reason = Reason.parse("naked single")
    runs = [find_drills(islice(own_puzzles(), 6), reason, 2, seed=5) for _ in range(2)]
    assert runs[0] == runs[1]


@pytest.mark.slow
def test_a_rare_reason_is_found_where_it_is_one_of_the_cheapest() -> None:
    """Seeds 5001 and 5012: a skyscraper there, and another line that is as cheap."""
    reason = Reason.parse("skyscraper")
    found = find_drills([puzzle(5001), puzzle(5002), puzzle(5012)], reason, 2, seed=5000)
    assert len(found) == 2
    for drill in found:
        assert not drill.alone
        lines = cheapest_lines(Board.of(Position.of(drill.digits)))
        techniques = {line.technique for line in lines}
        assert "skyscraper" in techniques
        assert len(techniques) > 1
        assert {tuple(sorted(line.places)) for line in lines} == set(drill.answers)


def test_a_position_of_its_own_is_taken_before_one_that_is_shared() -> None:
    reason = Reason.parse("hidden single")
    drills = find_drills(islice(own_puzzles(), 8), reason, 3)
    assert all(drill.alone for drill in drills)


def test_how_often_each_reason_comes_first_is_known() -> None:
    assert set(FIRST) == set(PRACTISED)
    assert all(0 <= alone <= among <= FIRST_OF for alone, among in FIRST.values())
