"""Effort: the formula against plain counting, and the facts of the trade."""

from __future__ import annotations

from itertools import chain, combinations

from hypothesis import given, settings
from strategies import positions

from papernudge.hints import Position, next_nudge
from papernudge.hints.board import Board
from papernudge.hints.drawing import drawn
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import HOUSE_CELLS, HOUSES, HOUSES_OF, PEERS, members
from papernudge.hints.looks import Scan, Sight, least_covers, price
from papernudge.hints.nudge import HouseFocus
from papernudge.hints.search import cheapest_lines, nearest
from papernudge.hints.techniques.singles import (
    FINISHED_HOUSE,
    HIDDEN_SINGLE,
    finished_house,
    hidden_singles,
    last_blanks,
    naked_singles,
)
from papernudge.hints.techniques.subsets import hidden_subsets


def subsets(items: list[int]) -> chain[tuple[int, ...]]:
    return chain.from_iterable(combinations(items, k) for k in range(len(items) + 1))


def scan_by_counting(position: Position, digit: int, house: int, place: int) -> int:
    """1 + the fewest written digits that see every other blank of the house."""
    blanks = [c for c in HOUSE_CELLS[house] if position.digits[c] == "." and c != place]
    written = list(members(position.placed[digit]))
    for chosen in subsets(written):
        if all(any(PEERS[w] >> b & 1 for w in chosen) for b in blanks):
            return 1 + len(chosen)
    raise AssertionError("no witnesses")


def sight_by_counting(position: Position, cell: int) -> int:
    """Houses entered + digits not shown by the first, over all orders of its houses."""
    shown = {h: {position.digits[c] for c in HOUSE_CELLS[h]} - {"."} for h in HOUSES_OF[cell]}
    everything = set().union(*shown.values())
    best = 99
    for first in shown:
        rest = everything - shown[first]
        for further in subsets([h for h in shown if h != first]):
            if rest <= set().union(*(shown[h] for h in further)):
                best = min(best, 1 + len(further) + len(rest))
    return best


@settings(max_examples=40, deadline=None)
@given(positions())
def test_singles_cost_what_counting_says(position: Position) -> None:
    board = Board.of(position)
    for single in hidden_singles(board):
        (cell, digit), read = single.places[0], single.reads[0]
        assert isinstance(read, Scan)
        assert single.looks == scan_by_counting(position, digit, read.house, cell)
    for single in naked_singles(board):
        assert single.looks == sight_by_counting(position, single.places[0][0])


@settings(max_examples=40, deadline=None)
@given(positions())
def test_the_cheapest_single_is_never_dearer_than_any_found_by_counting(
    position: Position,
) -> None:
    board = Board.of(position)
    blanks = list(members(position.blank))
    counted = [99]
    counted += [sight_by_counting(position, c) for c in blanks if board.digits[c].bit_count() == 1]
    counted += [
        scan_by_counting(position, digit, house, cell)
        for cell in blanks
        for house in HOUSES_OF[cell]
        for digit in range(1, 10)
        if board.places(digit, house) == 1 << cell
    ]
    lines = cheapest_lines(board)
    if lines:
        assert lines[0].price <= min(counted)
        if len(lines[0].steps) == 1:
            assert lines[0].price == min(counted)


def test_one_blank_left_costs_one_look() -> None:
    board = drawn("1 2 3 4 . 6 7 8 9")
    assert [(d.places, d.looks) for d in last_blanks(board)] == [(((4, 5),), 1)]
    assert hidden_singles(board) == naked_singles(board) == []


def test_a_witness_that_sees_several_blanks_is_counted_once() -> None:
    assert least_covers(HOUSES[0] & 0b111, 1 << 9 | 1 << 27) == (1 << 9,)


def test_all_smallest_sets_of_witnesses_are_found() -> None:
    assert set(least_covers(1 << 0, 1 << 9 | 1 << 27)) == {1 << 9, 1 << 27}


def test_what_notes_rule_out_costs_no_witness() -> None:
    noted = sum(1 << (81 * d) for d in range(1, 9))
    board = Board.of(Position("." * 81), noted=noted)
    assert price(board, Sight(0, 1)) == 1


@settings(max_examples=60, deadline=None)
@given(positions())
def test_a_house_with_five_digits_is_where_to_look_and_else_the_digit(position: Position) -> None:
    """Common practice, no source: five or more digits filled, worth trying to finish."""
    nudge = next_nudge(position)
    if nudge is None or nudge.line.technique != HIDDEN_SINGLE:
        return
    read = nudge.line.last.deduction.reads[0]
    assert isinstance(read, Scan)
    filled = sum(position.digits[c] != "." for c in HOUSE_CELLS[read.house])
    if filled >= 5:
        assert nudge.focus == HouseFocus(read.house)
    else:
        assert nudge.focus.digit == read.digit


def test_three_blanks_fall_together_if_one_digit_sees_two_and_another_one_of_those() -> None:
    """Common practice, no source."""
    rows = [
        "1 2 3  4 5 6  . . .",
        ". . .  . . .  . . .",
        ". . .  . . .  . . .",
        ". . .  . . .  7 . .",
        ". . .  . . .  8 . .",
        ". . .  . . .  . 7 .",
    ]
    board = drawn("\n".join(rows))
    line = nearest(cheapest_lines(board), ())
    assert line is not None
    assert line.last.technique == FINISHED_HOUSE
    assert dict(line.places) == {8: 7, 7: 8, 6: 9}


def test_two_further_looks_for_one_digit_are_not_one_go() -> None:
    rows = [
        "1 2 3  4 5 6  . . .",
        ". . .  . . .  . . .",
        ". . .  . . .  . . .",
        ". . .  . . .  7 . .",
        ". . .  . . .  . . .",
        ". . .  . . .  . 7 .",
    ]
    board = drawn("\n".join(rows))
    first = next(d for d in hidden_singles(board) if d.places == ((8, 7),))
    assert finished_house(board, first) is None


def test_a_digit_just_written_is_followed_where_looks_are_equal() -> None:
    """Common practice, no source: a digit just placed is the best next digit to follow."""
    followed = 0
    for seed in range(12):
        position = Position.of(puzzle(seed, givens=30))
        lines = cheapest_lines(Board.of(position))
        for line in lines:
            filled = list(members(line.last.evidence.cells))
            near = nearest(lines, filled[:1])
            assert near is not None
            assert near.price == line.price
            followed += near.last.evidence.cells >> filled[0] & 1
    assert followed > 10


def test_hidden_single_asks_where_a_digit_goes_and_naked_single_what_a_cell_takes() -> None:
    """Common practice, no source."""
    scanned = drawn("1 2 .  . . .  . . .\n" + ". . .  3 . .  . . .\n" + ". . .  . . .  3 . .")
    (hidden,) = (d for d in hidden_singles(scanned) if d.reads[0].house == 0)
    assert isinstance(hidden.reads[0], Scan)
    seen = drawn("1 2 .  4 5 6  7 8 .\n" + ". . 9  . . .  . . .")
    (naked,) = (d for d in naked_singles(seen) if d.places == ((2, 3),))
    assert isinstance(naked.reads[0], Sight)


def test_a_hidden_pair_bars_all_else_from_its_two_cells() -> None:
    """Common practice, no source."""
    rows = [
        ". . .  . . .  . . .",
        ". 5 .  8 9 .  . . .",
        ". 6 .  . . .  8 9 .",
        ". . 8  . . .  . . .",
        ". . 9  . . .  . . .",
    ]
    (pair,) = (d for d in hidden_subsets(drawn("\n".join(rows)), 10) if d.reads[0].house == 18)
    for cell in (0, 1):
        left = {d for d in range(1, 10) if not pair.ruled_out >> (81 * (d - 1) + cell) & 1}
        assert {8, 9} <= left
        assert not left & {1, 2, 3, 4, 7}
