"""Effort: the formula against plain counting, and the facts of the trade."""

from __future__ import annotations

import json
from itertools import chain, combinations
from pathlib import Path

import easier
import pytest
from samples import tried
from strategies import positions

from papernudge.hints import Position, next_nudge
from papernudge.hints.board import Board
from papernudge.hints.drawing import drawn
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import HOUSES, HOUSES_OF, PEERS, members
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.looks import (
    BLANK,
    DIGIT,
    IN_LINE,
    SEARCHED,
    SWITCH,
    Scan,
    Sight,
    glances,
    least_covers,
    price,
    scan_witnesses,
    single_looks,
    witness_looks,
)
from papernudge.hints.notes import board_of
from papernudge.hints.nudge import HouseFocus
from papernudge.hints.search import cheapest_lines, nearest
from papernudge.hints.techniques.singles import (
    FINISHED_HOUSE,
    HIDDEN_SINGLE,
    finished_house,
    hidden_singles,
    in_sight,
    last_blanks,
    looks_to_first,
    naked_singles,
)
from papernudge.hints.techniques.subsets import hidden_subsets

HOUSE_CELLS = [house.cells for house in NEWSPAPER.houses]


def subsets(items: list[int]) -> chain[tuple[int, ...]]:
    return chain.from_iterable(combinations(items, k) for k in range(len(items) + 1))


def thirds(line: int) -> list[list[int]]:
    return [list(HOUSE_CELLS[line][k : k + 3]) for k in (0, 3, 6)]


def in_line(house: int, cell: int) -> bool:
    """Whether a cell lies in the house's own band or stack."""
    bands = {c // 27 for c in HOUSE_CELLS[house]}
    stacks = {c % 9 // 3 for c in HOUSE_CELLS[house]}
    in_band, in_stack = cell // 27 in bands, cell % 9 // 3 in stacks
    return in_band or in_stack if house >= 18 else in_band if house < 9 else in_stack


def scan_by_counting(position: Position, digit: int, house: int, place: int) -> float:
    """Glances, blanks, and the fewest written digits that see every other blank of the house, the
    cheapest set of so many.
    """
    blanks = [c for c in HOUSE_CELLS[house] if position.digits[c] == "."]
    looks = 1.0
    if house < 18:
        looks = sum(any(c in blanks for c in third) for third in thirds(house))
    looks += BLANK * (len(blanks) - 1)
    found: dict[int, list[float]] = {}
    for chosen in subsets(list(members(position.placed[digit]))):
        if all(any(PEERS[w] >> b & 1 for w in chosen) for b in blanks if b != place):
            cost = sum(IN_LINE if in_line(house, w) else SEARCHED for w in chosen)
            found.setdefault(len(chosen), []).append(cost)
    return looks + min(found[min(found)])


def sight_by_counting(position: Position, cell: int) -> float:
    """The fewest glances over all choices of places, and the digits that the best house lacks."""
    shown = {h: {position.digits[c] for c in HOUSE_CELLS[h]} - {"."} for h in HOUSES_OF[cell]}
    everything = set().union(*shown.values())
    row, column, block = HOUSES_OF[cell]
    places = [set(HOUSE_CELLS[block])]
    places += [set(third) for h in (row, column) for third in thirds(h) if cell not in third]
    glances = min(
        len(chosen)
        for chosen in subsets(list(range(5)))
        if everything <= {position.digits[c] for k in chosen for c in places[k]}
    )
    most = max(len(digits) for digits in shown.values())
    return SWITCH + glances + DIGIT * (len(everything) - most)


@tried(13, 80, positions())
def test_singles_cost_what_counting_says(position: Position) -> None:
    board = Board.of(position)
    for single in hidden_singles(board):
        (cell, digit), read = single.places[0], single.reads[0]
        assert isinstance(read, Scan)
        counted = scan_by_counting(position, digit, read.house, cell)
        assert single_looks(board, read) == pytest.approx(counted)
        assert single.looks == int(counted + 0.5)
    for single in naked_singles(board):
        counted = sight_by_counting(position, single.places[0][0])
        assert single_looks(board, single.reads[0]) == pytest.approx(counted)


@tried(20, 120, positions())
def test_no_first_nudge_is_plainly_beaten_by_another_step(position: Position) -> None:
    """Both sides counted plainly; 20,000 positions of all sources in bench_dominance.py."""
    nudge = next_nudge(position)
    if nudge is None:
        return
    there = list(easier.steps(Board.of(position)))
    if len(nudge.line.steps) > 1:
        assert not there
    else:
        asked = easier.of(nudge.line)
        assert asked in there
        assert not any(easier.beats(other, asked) for other in there)


def test_no_single_of_those_left_costs_fewer_looks_than_the_first_nudge() -> None:
    for seed in range(20):
        board = Board.of(Position.of(puzzle(seed, givens=30)))
        price = cheapest_lines(board)[0].price
        assert price == min(looks_to_first(board, step) for step in in_sight(board))


def test_one_blank_left_costs_its_glances() -> None:
    row = drawn("1 2 3 4 . 6 7 8 9")
    assert [(d.places, d.looks) for d in last_blanks(row)] == [(((4, 5),), 3)]
    assert hidden_singles(row) == naked_singles(row) == []
    block = drawn("1 2 3 . . . . . .\n4 . 6 . . . . . .\n7 8 9 . . . . . .")
    assert [(d.places, d.looks) for d in last_blanks(block)] == [(((10, 5),), 1)]


def test_a_block_is_a_glance_and_a_line_up_to_three() -> None:
    assert glances(NEWSPAPER, HOUSES[18], 18) == 1
    assert glances(NEWSPAPER, HOUSES[0], 0) == 3
    assert glances(NEWSPAPER, 0b000000110, 0) == 1
    assert glances(NEWSPAPER, 0b001000110, 0) == 2


def test_a_witness_in_line_costs_less_than_one_to_be_searched_for() -> None:
    assert IN_LINE < SEARCHED
    rows = ["1 2 3  4 5 6  . . ."] + [". . .  . . .  . . ."] * 2
    near = drawn("\n".join([*rows[:2], ". . .  . . .  . . 7"]))
    far = drawn("\n".join([*rows, ". . .  . . .  7 . .", *rows[1:], ". . .  . . .  . 7 ."]))
    assert witness_looks(NEWSPAPER, 1 << 26, 0, 0) == IN_LINE == near.fresh + IN_LINE
    assert witness_looks(NEWSPAPER, 1 << 33, 0, 0) == SEARCHED
    (single,) = (d for d in hidden_singles(far) if d.places == ((8, 7),))
    assert single_looks(far, single.reads[0]) == pytest.approx(1 + 2 * BLANK + 2 * SEARCHED)


def test_what_was_just_written_is_in_view() -> None:
    followed = 0
    for seed in range(12):
        position = Position.of(puzzle(seed, givens=30))
        plain = Board.of(position)
        for single in hidden_singles(plain):
            read = single.reads[0]
            assert isinstance(read, Scan)
            fresh = board_of(position, list(members(scan_witnesses(plain, read)))[:1])
            before, after = single_looks(plain, read), single_looks(fresh, read)
            assert after < before
            followed += 1
    assert followed > 30


def test_the_constants_are_those_of_the_record_of_their_fit() -> None:
    """Written by bench_looks.py; rounded."""
    record = json.loads((Path(__file__).parent / "looks_fit.json").read_text())
    shipped = {"BLANK": BLANK, "IN_LINE": IN_LINE, "SEARCHED": SEARCHED}
    shipped |= {"DIGIT": DIGIT, "SWITCH": SWITCH}
    for name, value in shipped.items():
        assert value == pytest.approx(record[name], abs=0.006)


def test_a_single_is_told_by_the_house_that_makes_it_easiest_a_block_first() -> None:
    told = 0
    for seed in range(40):
        board = Board.of(Position.of(puzzle(seed, givens=32)))
        line = nearest(cheapest_lines(board), ())
        assert line is not None
        read = line.last.deduction.reads[0]
        if isinstance(read, Scan) and read.house < 18 and len(line.places) == 1:
            same = [d for d in hidden_singles(board) if d.places == line.places]
            blocks = [d for d in same if d.reads[0].house >= 18]  # type: ignore[union-attr]
            assert all(d.looks > line.price for d in blocks)
            told += 1
    assert told < 20


def test_a_witness_that_sees_several_blanks_is_counted_once() -> None:
    assert least_covers(NEWSPAPER, HOUSES[0] & 0b111, 1 << 9 | 1 << 27) == (1 << 9,)


def test_all_smallest_sets_of_witnesses_are_found() -> None:
    assert set(least_covers(NEWSPAPER, 1 << 0, 1 << 9 | 1 << 27)) == {1 << 9, 1 << 27}


def test_what_notes_rule_out_costs_no_witness() -> None:
    noted = sum(1 << (81 * d) for d in range(1, 9))
    board = Board.of(Position("." * 81), noted=noted)
    assert price(board, Sight(0, 1)) == 1


@tried(20, 120, positions())
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
    (pair,) = (d for d in hidden_subsets(drawn("\n".join(rows)), 30) if d.reads[0].house == 18)
    for cell in (0, 1):
        left = {d for d in range(1, 10) if not pair.ruled_out >> (81 * (d - 1) + cell) & 1}
        assert {8, 9} <= left
        assert not left & {1, 2, 3, 4, 7}
