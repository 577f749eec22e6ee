"""Patterns: what they show, by role; the names of short chains; a judge that can say no."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from judging import lines_along
from patterns import fault, idle

from papernudge.hints import Position, next_nudge, walk
from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.drawing import marked
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import HOUSES, cell_of, members
from papernudge.hints.line import Step
from papernudge.hints.nudge import Told3, told_step
from papernudge.hints.pattern import BASE, COVER, FILLED, FIN, PINCER, PIVOT, SET, WITNESS, Pattern
from papernudge.hints.search import TECHNIQUES
from papernudge.hints.techniques.almost_locked import AlmostLockedHunt
from papernudge.hints.techniques.chains import ChainHunt, alternating_chains
from papernudge.hints.techniques.fish import fish
from papernudge.hints.techniques.hunt import Asked
from papernudge.hints.techniques.locked import locked_candidates
from papernudge.hints.techniques.subsets import hidden_subsets, naked_subsets
from papernudge.hints.techniques.wings import xy_wings


def cells(*names: str) -> int:
    return sum(1 << cell_of(name) for name in names)


def only_in(digit: int, *places: str) -> str:
    """A drawing in which a digit can stand in these cells alone, all others anywhere."""
    left = {cell_of(name) for name in places}
    rest = "".join(str(d) for d in range(1, 10) if d != digit)
    return " ".join("123456789" if c in left else rest for c in range(81))


def single_digit_chains(*places: str) -> list[Step]:
    board = marked(only_in(7, *places))
    found = [d for d in alternating_chains(board, 12) if len(d.reads) == 2]
    return [Step.on(board, d) for d in found]


# Rows and columns that hold more than two places make no link: the fillers are there for that.
CHAINS = {
    "skyscraper": ("R1C1", "R1C4", "R5C1", "R5C6", "R6C4", "R3C6", "R8C4", "R8C6", "R8C8"),
    "two-string kite": ("R1C2", "R1C8", "R2C1", "R7C1", "R7C8", "R7C5", "R3C3", "R8C8", "R9C8"),
    "turbot fish": ("R5C1", "R5C9", "R4C7", "R4C1", "R4C4", "R9C1", "R2C1", "R2C7", "R8C7"),
}


@pytest.mark.parametrize("name", CHAINS)
def test_chains_of_two_strong_links_of_a_digit_bear_the_name_of_their_form(name: str) -> None:
    steps = single_digit_chains(*CHAINS[name])
    assert name in {step.technique for step in steps}
    for step in steps:
        assert fault(step) is None, fault(step)


def test_an_empty_rectangle_is_a_block_in_a_row_and_a_column_beside_a_line() -> None:
    places = ("R7C5", "R8C5", "R9C4", "R9C6", "R2C5", "R2C1", "R9C1", "R5C1", "R4C5")
    steps = single_digit_chains(*places)
    (step,) = [s for s in steps if s.technique == "empty rectangle"][:1]
    assert fault(step) is None


def test_a_pair_shows_its_two_digits_two_cells_and_the_house_where_it_strikes() -> None:
    board = marked("18 18 . . . . . . .")
    (deduction,) = naked_subsets(board, 9)
    assert deduction.pattern.digits == 0b10000001
    assert deduction.pattern.by_role(SET) == cells("R1C1", "R1C2")
    assert deduction.pattern.houses_by_role(BASE) == (0, 18)
    in_block = deduction.only(1 << cell_of("R3C3"))
    assert in_block.pattern.houses_by_role(BASE) == (18,)
    told = told_step(Step(in_block, board, Step.on(board, in_block).evidence))
    assert told.sentence.endswith("in block 1, R1C1 and R1C2 take only 1 or 8, so R3C3 isn't 1.")


def test_a_wing_shows_pivot_and_pincers() -> None:
    blank = [". . . . . . . . ."] * 2
    (wing,) = xy_wings(marked("\n".join(["12 . . 13 . . . . .", *blank, "23 . . . . . . . ."])), 9)
    assert wing.pattern.by_role(PIVOT) == cells("R1C1")
    assert wing.pattern.by_role(PINCER) == cells("R1C4", "R4C1")


def test_a_fish_shows_base_cover_and_fin() -> None:
    board = marked(only_in(1, "R1C1", "R1C9", "R5C1", "R5C8", "R5C9", "R4C9", "R9C9"))
    (fin,) = [d for d in fish(board, 20) if d.technique == "finned X-wing" and len(d.reads) == 2][
        :1
    ]
    assert fin.pattern.by_role(FIN) == cells("R5C8")
    assert set(fin.pattern.houses_by_role(BASE)) == {0, 4}
    assert set(fin.pattern.houses_by_role(COVER)) == {9, 17}


def test_locked_candidates_say_where_a_digit_is_locked() -> None:
    board = marked(only_in(4, "R1C1", "R1C2", "R1C7", "R5C5"))
    (locked,) = [d for d in locked_candidates(board, 9) if d.pattern.houses_by_role(BASE) == (18,)]
    assert locked.pattern.houses_by_role(COVER) == (0,)
    told = told_step(Step.on(board, locked))
    assert "4 can go only in row 1, at R1C1 or R1C2, so R1C7 isn't 4." in told.sentence


def test_a_hidden_single_tells_witnesses_from_filled_cells() -> None:
    """5 at R1C4 and R4C1 bar five blanks of the first block, three cells of it are filled."""
    rows = [". . . 5 . . . . .", ". 1 . . . . . . .", ". 2 3 . . . . . .", "5 . . . . . . . ."]
    position = Position.of("".join("".join(rows).split()).ljust(81, "."))
    from papernudge.hints.techniques.singles import hidden_singles

    board = Board.of(position)
    (single,) = (d for d in hidden_singles(board) if d.reads[0].house == 18)
    pattern = Step.on(board, single).pattern
    assert pattern.by_role(WITNESS) == cells("R1C4", "R4C1")
    assert pattern.by_role(FILLED) == cells("R2C2", "R3C2", "R3C3")
    assert {b.witness: b.cells for b in pattern.barred} == {
        cell_of("R1C4"): cells("R1C1", "R1C2", "R1C3"),
        cell_of("R4C1"): cells("R1C1", "R2C1", "R3C1"),
    }


def steps() -> list[Step]:
    rng = random.Random(8)
    return [
        step
        for seed in range(12)
        for line, _ in lines_along(puzzle(seed), rng)
        for step in line.steps
    ]


@pytest.mark.slow
def test_the_judge_of_patterns_can_say_no() -> None:
    """Another digit, a cell moved, a house moved, a claim elsewhere: each must be caught."""
    caught = 0
    for step in steps():
        assert fault(step) is None
        assert idle(step) is None
        if step.places:
            continue
        pattern = step.pattern
        role, mask = pattern.cells[0]
        moved = (role, mask & (mask - 1) | 1 << (80 - mask.bit_length() % 81))
        wrong = [
            replace(step.deduction, sees=pattern._replace(digits=pattern.digits << 1 & 511)),
            replace(step.deduction, sees=pattern._replace(cells=(moved, *pattern.cells[1:]))),
            replace(step.deduction, ruled_out=1 << (step.ruled_out.bit_length() + 80) % 729),
        ]
        for other in wrong:
            assert fault(Step(other, step.board, step.evidence)) is not None, other
            caught += 1
    assert caught > 40


def test_a_pattern_is_told_as_data_with_names() -> None:
    nudge = next_nudge(Position.of(puzzle(3)))
    assert nudge is not None
    told = nudge.at(3)
    assert isinstance(told, Told3)
    data = told.to_json()["pattern"]
    assert set(data) <= {"digits", "cells", "houses", "links", "barred"}
    assert all(name[0] == "R" for names in data["cells"].values() for name in names)
    assert Pattern().to_json() == {"digits": [], "cells": {}, "houses": {}}


def found_by(hunt: object, board: Board, budgets: list[int]) -> set[object]:
    return {
        (frozenset(d.reads), d.ruled_out)
        for budget in budgets
        for _, d in hunt.more(board, budget)  # type: ignore[attr-defined]
    }


def hard_boards() -> list[Board]:
    boards = []
    for seed in range(12):
        position = Position.of(puzzle(seed))
        for step in walk(position).steps:
            if len(step.line.steps) > 1:
                boards.append(Board.of(position))
            for cell, digit in step.line.places:
                position = position.with_digit(cell, digit)
    return boards[:6]


def test_going_on_from_where_it_stopped_finds_what_asking_at_once_does() -> None:
    boards = hard_boards()
    assert len(boards) > 2
    for board in boards:
        for hunt in (
            ChainHunt,
            AlmostLockedHunt,
            *(lambda b, t=t: Asked(t, b) for t, _ in TECHNIQUES),
        ):
            little_by_little = found_by(hunt(board), board, [5, 8, 11, 11, 14])
            assert little_by_little == found_by(hunt(board), board, [14])


def covers(one: Deduction, other: Deduction) -> bool:
    return one.looks <= other.looks and other.ruled_out & ~one.ruled_out == 0


def test_what_a_changed_board_brings_is_found_without_asking_anew() -> None:
    """What a fresh hunt strikes on the later board, one that saw the earlier board strikes too, for
    no more looks.
    """
    for board in hard_boards():
        out = 0
        for deduction in [*locked_candidates(board, 14), *hidden_subsets(board, 14)]:
            out |= deduction.ruled_out
        later = board.without(out)
        for hunt in (ChainHunt, AlmostLockedHunt):
            one = hunt(board)
            known = [d for b, n in ((board, 9), (later, 14)) for _, d in one.more(b, n)]
            for _, fresh in hunt(later).more(later, 14):
                assert any(covers(d, fresh) for d in known), fresh


def test_a_house_finished_at_one_go_shows_what_it_lacks() -> None:
    for seed in range(12):
        for step in walk(Position.of(puzzle(seed))).steps:
            last = step.line.last
            if last.technique == "several cells of a house":
                (house,) = last.pattern.houses_by_role(BASE)
                lacking = {d for _, d in last.places}
                assert {d + 1 for d in members(last.pattern.digits)} == lacking
                assert all(HOUSES[house] >> cell & 1 for cell, _ in last.places)
