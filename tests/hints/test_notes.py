"""Notes on the paper as premises, and arguments from there being one solution."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest
from samples import sized
from sat import Judge, claims_of, premises_of

from papernudge.hints import Position, next_nudge, solve, walk
from papernudge.hints.board import Board
from papernudge.hints.drawing import marked
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import candidate, members
from papernudge.hints.notes import board_of
from papernudge.hints.nudge import Told3, noted_cells
from papernudge.hints.search import UNIQUENESS, cheapest_lines


@cache
def stuck(many: int, least: int = 8) -> list[Position]:
    """Positions of our own puzzles whose cheapest line has eliminations and costs a lot."""
    found = []
    for seed in range(many):
        position = Position.of(puzzle(seed))
        while position.blank:
            best = cheapest_lines(Board.of(position))
            if len(best[0].steps) > 1 and best[0].price >= least:
                found.append(position)
                break
            for cell, digit in best[0].places:
                position = position.with_digit(cell, digit)
    return found


MANY = 60
"""Puzzles of which the slow half looks for such positions; here 24 are enough for ten."""


@pytest.fixture(params=[24, pytest.param(MANY, marks=pytest.mark.slow)], ids=["few", "many"])
def positions(request: pytest.FixtureRequest) -> list[Position]:
    return stuck(request.param)


def full_notes(position: Position) -> dict[int, list[int]]:
    return {
        cell: [d for d in range(1, 10) if position.candidates[d] >> cell & 1]
        for cell in members(position.blank)
    }


def with_notes(position: Position, notes: dict[int, list[int]]) -> Position:
    return Position.of(position.givens, position.entries, notes)


def test_there_are_positions_to_try(positions: list[Position]) -> None:
    assert len(positions) >= 10


def test_no_notes_change_nothing(positions: list[Position]) -> None:
    for position in positions[:4]:
        assert board_of(position).candidates == Board.of(position).candidates


def test_full_notes_make_the_line_no_dearer(positions: list[Position]) -> None:
    for position in positions:
        noted = board_of(with_notes(position, full_notes(position)))
        assert cheapest_lines(noted)[0].price <= cheapest_lines(Board.of(position))[0].price


def test_what_full_notes_leave_out_is_built_upon_and_the_text_says_so(
    positions: list[Position],
) -> None:
    """Strike by hand what the line would strike: the single it opens now comes from the notes."""
    judge, said = Judge(), 0
    for position in positions:
        line = cheapest_lines(Board.of(position))[0]
        notes = full_notes(position)
        for step in line.steps:
            for bit in members(step.ruled_out):
                notes[bit % 81] = [d for d in notes[bit % 81] if d != bit // 81 + 1]
        nudge = next_nudge(with_notes(position, notes))
        assert nudge is not None
        last = nudge.line.last
        assert nudge.line.price <= line.price
        assert judge.verdict(last.board, last.deduction, last.evidence) == "sound and minimal"
        told = nudge.at(3)
        assert isinstance(told, Told3)
        if last.evidence.noted:
            assert "your notes in R" in told.sentence
            assert told.to_json()["notes"]
            said += 1
    judge.close()
    assert said >= 5


def test_partial_notes_are_not_believed_but_what_they_show_is_not_hinted_again(
    positions: list[Position],
) -> None:
    tried = hidden = 0
    for position in positions:
        plain = next_nudge(position)
        assert plain is not None
        if len(plain.line.steps) != 2:
            continue
        full, notes = full_notes(position), {}
        for bit in members(plain.line.steps[0].ruled_out):
            cell = bit % 81
            notes[cell] = [d for d in notes.get(cell, full[cell]) if d != bit // 81 + 1]
        partly = with_notes(position, notes)
        if board_of(partly).noted:
            continue
        nudge = next_nudge(partly)
        assert nudge is not None
        assert nudge.line.price <= plain.line.price
        told = nudge.at(3)
        assert isinstance(told, Told3)
        untold = [step for step in nudge.line.steps[:-1] if step.known]
        assert len(told.line) + len(untold) == len(nudge.line.steps) - 1
        hidden += len(untold)
        tried += 1
    assert tried >= 3
    assert hidden >= 3


def test_a_note_that_lost_the_right_digit_is_left_aside(positions: list[Position]) -> None:
    rng = random.Random(1)
    for position in positions[:6]:
        solution = position.solution
        assert solution is not None
        notes = full_notes(position)
        wrong = rng.sample(sorted(notes), 5)
        for cell in wrong:
            notes[cell] = [d for d in notes[cell] if str(d) != solution[cell]] or [
                d for d in range(1, 10) if str(d) != solution[cell]
            ][:1]
        nudge = next_nudge(with_notes(position, notes))
        assert nudge is not None
        assert all(solution[c] == str(d) for c, d in nudge.line.places)
        board = board_of(with_notes(position, notes))
        for cell in wrong:
            assert not any(board.noted >> (81 * d + cell) & 1 for d in range(9))


def test_a_walk_with_notes_reaches_the_solution(positions: list[Position]) -> None:
    for position in positions[:4]:
        assert walk(with_notes(position, full_notes(position))).solved


def test_arguments_from_one_solution_are_off_unless_asked_for() -> None:
    board = marked("12 . . 12 . . . . .\n" + "12 . . 123 . . . . .")
    names = {s.technique for line in cheapest_lines(board) for s in line.steps}
    assert "unique rectangle" not in names
    asked = {s.technique for line in cheapest_lines(board, uniqueness=True) for s in line.steps}
    assert "unique rectangle" in asked
    (deduction,) = UNIQUENESS[0][0](board, 9)
    assert deduction.one_solution


def test_the_text_of_such_a_step_says_what_it_rests_on() -> None:
    from papernudge.hints.line import Step
    from papernudge.hints.nudge import told_step

    board = marked("12 . . 12 . . . . .\n" + "12 . . 123 . . . . .")
    (deduction,) = UNIQUENESS[0][0](board, 9)
    told = told_step(Step.on(board, deduction))
    assert "a rectangle that would leave two solutions" in told.sentence
    assert "the puzzle having just one solution" in told.sentence
    assert told.to_json()["rests_on"] == "one solution"


@sized("many", 36, 60)
def test_each_noted_cell_that_a_nudge_lists_is_needed(many: int) -> None:
    """Without the notes of that cell the rest of the evidence no longer forces what the last step
    writes, says the SAT solver.
    """
    leaning = 0
    judge = Judge()
    for seed in range(many):
        nudge = next_nudge(mixed_notes(seed))
        if nudge is None or nudge.line.last.evidence.earlier:
            continue
        step = nudge.line.last
        claims = claims_of(step.deduction)
        for cell in noted_cells(step):
            leaning += 1
            of_cell = sum(candidate(cell, digit) for digit in range(1, 10))
            less = replace(step.evidence, noted=step.evidence.noted & ~of_cell)
            assert not judge.forces(premises_of(step.board, less), claims)
    judge.close()
    assert leaning > many // 6


def mixed_notes(seed: int) -> Position:
    """Some right entries, and notes in all or some blanks that leave out some wrong candidates."""
    dice = random.Random(seed)
    line = puzzle(seed)
    solution = solve(line) or ""
    blanks = [c for c in range(81) if line[c] == "."]
    kept = set(dice.sample(blanks, dice.randrange(len(blanks) - 8)))
    entries = "".join(solution[c] if c in kept else "." for c in range(81))
    position = Position.of(line, entries)
    notes = {
        c: [
            d
            for d in range(1, 10)
            if str(d) == solution[c] or (position.candidates[d] >> c & 1 and dice.random() > 0.3)
        ]
        for c in blanks
        if c not in kept and dice.random() < 0.4 + 0.6 * (seed % 2)
    }
    return Position.of(line, entries, notes)
