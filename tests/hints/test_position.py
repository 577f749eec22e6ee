"""Positions: what is refused, what is held and described."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import positions

from papernudge.hints import Fault, Position, cell_name, cell_of, house_name
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import (
    HOUSES,
    HOUSES_OF,
    PEERS,
    cells_mask,
    members,
    picture,
)
from papernudge.hints.layout import NEWSPAPER

EMPTY = "." * 81


def test_an_empty_grid_is_held_and_has_many_solutions() -> None:
    position = Position.of(EMPTY)
    assert position.faults is Fault.MANY_SOLUTIONS
    assert position.solution is None
    assert position.blank.bit_count() == 81


@pytest.mark.parametrize(
    ("givens", "entries", "sentence"),
    [
        ("." * 80, EMPTY, "expected 81 characters of givens, .* got 80"),
        (EMPTY, "." * 82, "expected 81 characters of entries, .* got 82"),
        ("x" + "." * 80, EMPTY, "expected 1 to 9 or . in the givens, got 'x' at R1C1"),
        (EMPTY, "." * 80 + "²", "expected 1 to 9 or . in the entries, got '²' at R9C9"),
        ("5" + "." * 80, "6" + "." * 80, "a given or an entry in R1C1, got both: given 5"),
    ],
)
def test_malformed_lines_are_refused_with_a_sentence(
    givens: str, entries: str, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        Position.of(givens, entries)


def test_malformed_notes_are_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match="expected a noted cell from 0 to 80, got 81"):
        Position.of(EMPTY, notes={81: [1]})
    with pytest.raises(ValueError, match="expected notes from 1 to 9 in R1C1, got 0"):
        Position.of(EMPTY, notes={0: [0]})


def test_every_fault_is_reported_at_once() -> None:
    assert Position.of("11" + "." * 79).faults == Fault.CLASH | Fault.NO_SOLUTION
    cornered = Position.of("12345678." + "........9" + "." * 63)
    assert cornered.faults == Fault.NO_CANDIDATE | Fault.NO_SOLUTION
    both = Position.of("12345677." + "........9" + "........8" + "." * 54)
    assert both.faults == Fault.CLASH | Fault.NO_CANDIDATE | Fault.NO_SOLUTION


def test_a_house_without_a_place_for_a_digit_counts_as_no_candidate() -> None:
    line = list(EMPTY)
    for cell, digit in ((3, "1"), (15, "1"), (0, "2"), (1, "3"), (2, "4")):
        line[cell] = digit
    line[18 + 0], line[18 + 1], line[18 + 2] = "5", "6", "7"
    assert Fault.NO_CANDIDATE in Position.of("".join(line)).faults


def test_a_wrong_entry_leaves_the_givens_without_fault() -> None:
    line = puzzle(21)
    solution = Position.of(line).solution
    assert solution is not None
    cell = line.index(".")
    wrong = next(d for d in "123456789" if d != solution[cell] and not _clashes(line, cell, d))
    position = Position.of(line, EMPTY[:cell] + wrong + EMPTY[cell + 1 :])
    assert not position.given_faults
    assert Fault.NO_SOLUTION in position.faults
    assert position.solution == solution


def _clashes(line: str, cell: int, digit: str) -> bool:
    return any(line[c] == digit for c in members(PEERS[cell]))


def test_no_fault_is_falsy() -> None:
    assert not Position.of(puzzle(4)).faults
    assert not Fault.NONE


def test_a_digit_is_written_into_a_blank_cell_only() -> None:
    line = puzzle(4)
    filled = next(c for c in range(81) if line[c] != ".")
    with pytest.raises(ValueError, match=f"expected a blank cell, got {cell_name(filled)}"):
        Position.of(line).with_digit(filled, 1)


def test_writing_a_digit_rubs_out_its_notes_around() -> None:
    position = Position.of(EMPTY, notes={0: [1, 2], 1: [1, 3], 80: [1]}).with_digit(0, 1)
    assert position.notes == {1: 0b100, 80: 0b1}


def test_names_go_both_ways_and_bad_ones_are_refused() -> None:
    assert all(cell_of(cell_name(c)) == c for c in range(81))
    assert [house_name(h) for h in (0, 9, 18, 26)] == ["row 1", "column 1", "block 1", "block 9"]
    for bad in ("", "R0C1", "R1C0", "C1R1", "R10C1", "R1C1 R"):
        with pytest.raises(ValueError, match="expected a cell such as R4C7"):
            cell_of(bad)


def test_the_tables_agree_with_each_other() -> None:
    assert all(
        len(set(cells)) == 9 and list(cells) == sorted(cells) for cells in NEWSPAPER.house_cells
    )
    for cell in range(81):
        assert [h for h in range(27) if HOUSES[h] >> cell & 1] == sorted(HOUSES_OF[cell])
        seen = {c for h in HOUSES_OF[cell] for c in NEWSPAPER.house_cells[h]} - {cell}
        assert set(members(PEERS[cell])) == seen
        assert len(seen) == 20


@given(st.sets(st.integers(0, 80), max_size=6))
def test_sets_of_cells_behave_as_sets(cells: set[int]) -> None:
    mask = cells_mask(cells)
    assert set(members(mask)) == cells
    assert picture(mask).count("x") == len(cells)
    everywhere = set(range(81))
    assert set(members(NEWSPAPER.seen_by_all(mask))) == everywhere.intersection(
        *(set(members(PEERS[c])) for c in cells)
    )
    holding = {h for h in range(27) if cells and cells <= set(NEWSPAPER.house_cells[h])}
    assert set(NEWSPAPER.holding(mask)) == holding


@settings(max_examples=30, deadline=None)
@given(positions())
def test_candidates_are_the_digits_that_nothing_in_sight_shows(position: Position) -> None:
    for cell in range(81):
        shown = {position.digits[c] for c in members(PEERS[cell])}
        for digit in range(1, 10):
            free = position.digits[cell] == "." and str(digit) not in shown
            assert bool(position.candidates[digit] >> cell & 1) == free
