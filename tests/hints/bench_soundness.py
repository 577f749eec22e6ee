"""Ask a SAT solver whether each deduction's evidence alone forces its claim, with nothing idle.

    python tests/hints/bench_soundness.py [--deductions N] [--patterns N] [--seed N]

Two parts. *Lines*: all steps of the cheapest lines along walks of a mix of puzzles (clues17,
human_times, euler96, own ones), told as a nudge would tell them, of lines as cheap up to three a
position; plain singles are thinned out so that patterns make a good share. Evidence must force the
claim, and leaving out any one written cell or premise must not. *Patterns*: everything that each
technique finds on boards without easy singles, also those that no line uses: forced, that is.
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
from sat import Judge, premises_of, variable

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, Evidence, evidence_of
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import DIGITS_IN, candidate_pairs
from papernudge.hints.line import Step
from papernudge.hints.looks import Sight
from papernudge.hints.search import TECHNIQUES, UNIQUENESS, cheapest_lines, nearest

Table = dict[str, Counter[str]]


def mixed(rng: random.Random) -> Iterator[str]:
    hard, easy = data.clues17(), data.human_times() + [line for line, _ in data.euler96()]
    while True:
        yield rng.choice(hard)
        yield rng.choice(easy)
        yield puzzle(rng.randrange(1 << 30))


def steps_along(line: str, rng: random.Random) -> Iterator[Step]:
    position = Position.of(line)
    while position.blank:
        lines = cheapest_lines(Board.of(position))
        if not lines:
            return
        for one in rng.sample(lines, min(3, len(lines))):
            if len(one.steps) > 1 or rng.random() < 0.1:
                yield from one.settled().steps
        chosen = nearest(lines, ())
        assert chosen is not None
        for cell, digit in chosen.places:
            position = position.with_digit(cell, digit)


def lines_part(judge: Judge, wanted: int, rng: random.Random) -> Table:
    table: Table = defaultdict(Counter)
    count = 0
    for line in mixed(rng):
        for step in steps_along(line, rng):
            table[step.technique][judge.verdict(step.board, step.deduction, step.evidence)] += 1
            count += 1
        if count >= wanted:
            return table
    return table


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
                table[deduction.technique]["forced" if forced else "NOT FORCED"] += 1
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
    show("steps of lines: forced, and nothing idle", lines_part(judge, options.deductions, rng))
    show("all that the techniques find: forced", patterns_part(judge, options.patterns, rng))
    judge.close()
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
