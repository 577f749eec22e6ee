"""Lines and boards along solves, and what a SAT solver says of the deductions on them."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator

from patterns import fault, idle, lies_in_focus
from sat import Judge, claims_of, premises_of, variable

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, Evidence, evidence_of
from papernudge.hints.geometry import DIGITS_IN, candidate_pairs
from papernudge.hints.line import Line, Step
from papernudge.hints.looks import Sight
from papernudge.hints.nudge import first_told, focus_of
from papernudge.hints.search import cheapest_lines, nearest


def lines_along(line: str, rng: random.Random) -> Iterator[tuple[Line, Position]]:
    """Up to three of the cheapest lines of each position along a walk, settled."""
    position = Position.of(line)
    while position.blank:
        lines = cheapest_lines(Board.of(position))
        if not lines:
            return
        for one in rng.sample(lines, min(3, len(lines))):
            if len(one.steps) > 1 or rng.random() < 0.1:
                yield one.settled(), position
        chosen = nearest(lines, ())
        assert chosen is not None
        for cell, digit in chosen.places:
            position = position.with_digit(cell, digit)


def steps_along(line: str, rng: random.Random) -> Iterator[Step]:
    for one, _ in lines_along(line, rng):
        yield from one.steps


def sent_right(line: Line, position: Position) -> bool:
    """Whether the first pattern lies in the house, or bears the digit, that depth 1 names."""
    focus = focus_of(line, position)
    return lies_in_focus(first_told(line), focus.house, focus.digit)


def verdict(judge: Judge, step: Step) -> str:
    """``as named``: the evidence forces the claim, the pattern is by its own digits, cells and
    houses what its name says, and without any part of the evidence it could not be read.
    """
    if not judge.forces(premises_of(step.board, step.evidence), claims_of(step.deduction)):
        return "NOT FORCED"
    if fault(step) is not None:
        return "NOT AS NAMED"
    return "as named" if idle(step) is None else "IDLE EVIDENCE"


def sparse_boards_of(puzzles: Iterable[str], rng: random.Random) -> Iterator[Board]:
    """Boards along walks where patterns are needed or near."""
    for line in puzzles:
        position = Position.of(line)
        while position.blank:
            lines = cheapest_lines(Board.of(position))
            if not lines:
                break
            if lines[0].price >= 4 and position.blank.bit_count() > 20 and rng.random() < 0.3:
                yield Board.of(position)
            for cell, digit in lines[0].places:
                position = position.with_digit(cell, digit)


def is_forced(judge: Judge, board: Board, deduction: Deduction) -> bool:
    evidence = evidence_of(board, deduction)
    if deduction.one_solution:
        return leaves_two(judge, board, deduction, evidence)
    claims = [-variable(cell, digit) for cell, digit in candidate_pairs(deduction.ruled_out)]
    return judge.forces(premises_of(board, evidence), claims)


def leaves_two(judge: Judge, board: Board, deduction: Deduction, evidence: Evidence) -> bool:
    """Whether, were the claim false, the corners would hold two digits that can be swapped."""
    given = premises_of(board, evidence)
    corners = [read.cell for read in deduction.reads if isinstance(read, Sight)]
    fourth, first = candidate_pairs(deduction.ruled_out)[0]
    pair = DIGITS_IN[board.digits[corners[0]]]
    for digit in pair:
        other = pair[0] + pair[1] - digit
        for corner in corners:
            diagonal = corner // 9 != fourth // 9 and corner % 9 != fourth % 9
            wanted = digit if diagonal else other
            if not judge.forces([*given, variable(fourth, digit)], [variable(corner, wanted)]):
                return False
    return first in pair
