"""Ask a SAT solver whether each deduction's evidence alone forces its claim, with nothing idle.

    python tests/hints/bench_soundness.py [--deductions N] [--patterns N] [--seed N]

Three parts. *Lines*: all steps of the cheapest lines along walks of a mix of puzzles (clues17,
human_times, euler96, own ones), told as a nudge would tell them, of lines as cheap up to three a
position; plain singles are thinned out so that patterns make a good share. Evidence must force the
claim; the pattern must be what its name says, by its own digits, cells and houses and that evidence
alone (``patterns.py``, written from definitions); and without any one written cell or premise it
must not be. *Where depth 1 and 2 send*: the first pattern of each of these lines must lie there.
*Patterns*: everything that each technique finds on boards without easy singles, also those that no
line uses: forced, and as named.
Deductions that rest on the puzzle having one solution are asked for with that as a premise: with
the evidence, the negated claim must leave the four corners swappable.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

import shared_puzzles as data
from patterns import fault, idle, lies_in_focus
from sat import Judge, claims_of, premises_of, variable

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, Evidence, evidence_of
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import DIGITS_IN, candidate_pairs
from papernudge.hints.line import Line, Step
from papernudge.hints.looks import Sight
from papernudge.hints.nudge import first_told, focus_of
from papernudge.hints.search import TECHNIQUES, UNIQUENESS, cheapest_lines, nearest

Table = dict[str, Counter[str]]


def mixed(rng: random.Random) -> Iterator[str]:
    hard, easy = data.clues17(), data.human_times() + [line for line, _ in data.euler96()]
    while True:
        yield rng.choice(hard)
        yield rng.choice(easy)
        yield puzzle(rng.randrange(1 << 30))


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


def lines_part(judge: Judge, wanted: int, rng: random.Random) -> tuple[Table, Table]:
    table: Table = defaultdict(Counter)
    sent: Table = defaultdict(Counter)
    count = 0
    for puzzle_line in mixed(rng):
        for line, position in lines_along(puzzle_line, rng):
            there = "there" if sent_right(line, position) else "ELSEWHERE"
            sent[first_told(line).technique][there] += 1
            for step in line.steps:
                table[step.technique][verdict(judge, step)] += 1
                count += 1
        if count >= wanted:
            break
    return table, sent


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


def patterns_part(judge: Judge, wanted: int, rng: random.Random) -> Table:
    table: Table = defaultdict(Counter)
    count = 0
    for board in sparse_boards_of(mixed(rng), rng):
        for technique, _ in (*TECHNIQUES, *UNIQUENESS):
            found = technique(board, 24)
            for deduction in rng.sample(found, min(6, len(found))):
                forced = is_forced(judge, board, deduction)
                told = "as named" if fault(Step.on(board, deduction)) is None else "NOT AS NAMED"
                table[deduction.technique][told if forced else "NOT FORCED"] += 1
                count += 1
        if count >= wanted:
            return table
    return table


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


def show(title: str, table: Table) -> None:
    total: Counter[str] = Counter()
    print(f"\n{title}")
    for reason, verdicts in sorted(table.items(), key=lambda item: -item[1].total()):
        total += verdicts
        told = ", ".join(f"{verdict} {count}" for verdict, count in verdicts.most_common())
        print(f"  {reason:28s} {told}")
    print(f"  {'all':28s} " + ", ".join(f"{v} {c}" for v, c in total.most_common()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--deductions", type=int, default=20_000)
    parser.add_argument("--patterns", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    start, rng, judge = time.perf_counter(), random.Random(options.seed), Judge()
    steps, sent = lines_part(judge, options.deductions, rng)
    show("steps of lines: forced, as named, and nothing idle", steps)
    show("where depth 1 and 2 send: the first pattern lies there", sent)
    found = patterns_part(judge, options.patterns, rng)
    show("all that the techniques find: forced, and as named", found)
    judge.close()
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
