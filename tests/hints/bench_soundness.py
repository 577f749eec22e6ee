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
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import shared_puzzles as data
from judging import (
    is_forced,
    lines_along,
    sent_right,
    sparse_boards_of,
    verdict,
)
from patterns import fault
from sat import Judge

from papernudge.hints.generate import puzzle
from papernudge.hints.line import Step
from papernudge.hints.nudge import first_told
from papernudge.hints.search import TECHNIQUES, UNIQUENESS

Table = dict[str, Counter[str]]


def mixed(rng: random.Random) -> Iterator[str]:
    hard, easy = data.clues17(), data.human_times() + [line for line, _ in data.euler96()]
    while True:
        yield rng.choice(hard)
        yield rng.choice(easy)
        yield puzzle(rng.randrange(1 << 30))


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
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
