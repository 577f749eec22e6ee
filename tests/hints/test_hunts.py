"""Techniques that go on from where they stopped find what they would find if asked at once."""

from __future__ import annotations

import random

import pytest

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.following import followed
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import ALL_CANDIDATES, members
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.search import TECHNIQUES, UNIQUENESS, Search
from papernudge.hints.techniques.hunt import Technique
from papernudge.hints.techniques.nets import LOOKS_A_DIGIT, nets
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles

ALL = (*TECHNIQUES, *UNIQUENESS)
FAR = 24


def stuck(seed: int) -> Board:
    """The board of an own puzzle after all that singles write."""
    position = Position.of(puzzle(seed))
    while position.blank:
        board = Board.of(position)
        found = [*last_blanks(board), *hidden_singles(board), *naked_singles(board)]
        if not found:
            return board
        for cell, digit in {single.places[0] for single in found}:
            position = position.with_digit(cell, digit)
    return Board.of(Position.of(puzzle(seed)))


BOARDS = [stuck(seed) for seed in range(8)]


def told(found: list[Deduction]) -> list[tuple[object, ...]]:
    return sorted((d.technique, d.looks, frozenset(d.reads), d.held, d.ruled_out) for d in found)


def hunted(search: Search, kind: int, board: Board, budgets: range) -> list[Deduction]:
    hunt = search._hunt(kind)
    return [d for budget in budgets for _, d in hunt.more(board, budget)]


@pytest.mark.parametrize("kind", range(len(ALL)), ids=lambda kind: ALL[kind][0].__name__)
def test_asked_for_a_little_more_each_time_a_technique_finds_what_it_finds_at_once(
    kind: int,
) -> None:
    for board in BOARDS:
        small = hunted(Search(board, ALL), kind, board, range(3, FAR + 1, 3))
        at_once = hunted(Search(board, ALL), kind, board, range(FAR, FAR + 1))
        assert told(small) == told(at_once)


@pytest.mark.parametrize("kind", range(len(ALL)), ids=lambda kind: ALL[kind][0].__name__)
def test_what_was_handed_out_is_not_handed_out_again_when_the_board_changes(kind: int) -> None:
    for board in BOARDS:
        search = Search(board, ALL)
        before = hunted(search, kind, board, range(FAR, FAR + 1))
        gone = 0
        for deduction in before[:2]:
            gone |= deduction.ruled_out
        after = hunted(search, kind, board.without(gone), range(FAR, FAR + 1))
        assert not {id(d) for d in before} & {id(d) for d in after}


@pytest.mark.parametrize("technique", [one for one, _ in ALL], ids=lambda one: one.__name__)
def test_a_hunt_that_saw_the_board_change_misses_nothing_that_a_fresh_one_finds(
    technique: Technique,
) -> None:
    """All of it is struck by something that it found, for no more looks."""
    kind = next(n for n, (one, _) in enumerate(ALL) if one is technique)
    for number, board in enumerate(BOARDS):
        search = Search(board, ALL)
        found = hunted(search, kind, board, range(3, 13, 3))
        wrong = board.candidates & ~_solution(board)
        some = random.Random(number).sample(list(members(wrong)), min(6, wrong.bit_count()))
        later = board.without(sum(1 << bit for bit in some))
        found += hunted(search, kind, later, range(12, FAR + 1, 3))
        for fresh in technique(later, FAR):
            struck = 0
            for one in found:
                if one.looks <= fresh.looks:
                    struck |= one.ruled_out
            assert fresh.ruled_out & later.candidates & ~struck == 0, fresh


def _solution(board: Board) -> int:
    line = "".join(
        next((str(d) for d in range(1, 10) if board.placed[d] >> c & 1), ".") for c in range(81)
    )
    solution = Position.of(line).solution
    assert solution is not None
    return sum(1 << 81 * (int(mark) - 1) + cell for cell, mark in enumerate(solution))


@pytest.mark.parametrize("branches", [0, 1])
def test_a_net_is_there_where_its_candidate_leads_nowhere_by_itself(branches: int) -> None:
    """What other nets have shown is made use of, and changes nothing."""
    for board in BOARDS:
        state = board.written | board.candidates
        alone = {
            bit: followed(
                NEWSPAPER, state & NEWSPAPER.keep[bit], branches, board.written | 1 << bit
            )
            for bit in members(board.candidates)
        }
        found = {net.ruled_out: net.looks for net in nets(board, branches, ALL_CANDIDATES)}
        assert found == {
            1 << bit: LOOKS_A_DIGIT * (1 + digits)
            for bit, digits in alone.items()
            if digits is not None
        }
