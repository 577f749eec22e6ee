"""Drilled positions over many reasons, each checked anew by the engine and by a SAT solver.

    python tests/hints/bench_drilling.py [POSITIONS] [MOST PUZZLES]

1,000 positions if unsaid, as evenly over the reasons as they turn up in our own puzzles. Checked of
each: every answer is forced by what is written (SAT); on a picture of the position with rows and
columns exchanged and digits relabelled, the engine finds lines of this reason only, at as many
looks.
"""

from __future__ import annotations

import sys
from collections import Counter
from random import Random

from sat import Judge, variable

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.canonical import canonical
from papernudge.hints.drilling import TECHNIQUES, Drill, Reason, drills_in
from papernudge.hints.generate import puzzle
from papernudge.hints.search import cheapest_lines


def gathered(wanted: int, most: int) -> list[Drill]:
    """Up to a fair share of each reason first, then what is over, none alike."""
    reasons = [Reason.parse(name) for name in TECHNIQUES]
    share = wanted // 12 + 1
    kept: dict[str, list[Drill]] = {name: [] for name in TECHNIQUES}
    seen: set[str] = set()
    for seed in range(most):
        here = list(drills_in(puzzle(seed), reasons, seed))
        Random(seed).shuffle(here)
        for drill in here:
            group = kept[drill.reason.technique]
            form = canonical(drill.digits)
            if len(group) < share and form not in seen:
                seen.add(form)
                group.append(drill)
        if sum(map(len, kept.values())) >= wanted and sum(map(bool, kept.values())) >= 12:
            break
    print(f"{seed + 1} puzzles looked through")
    return [drill for group in kept.values() for drill in group]


def pictured(digits: str, dice: Random) -> str:
    """Transposed and relabelled."""
    names = list("123456789")
    dice.shuffle(names)
    turned = "".join(digits[9 * (k % 9) + k // 9] for k in range(81))
    return "".join("." if mark == "." else names[int(mark) - 1] for mark in turned)


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    most = int(sys.argv[2]) if len(sys.argv) > 2 else 20000
    judge, dice = Judge(), Random(1)
    counts: Counter[str] = Counter()
    faults = 0
    for drill in gathered(wanted, most):
        counts[drill.reason.technique] += 1
        written = [variable(c, int(d)) for c, d in enumerate(drill.digits) if d != "."]
        forced = all(
            judge.forces(written, [variable(c, d) for c, d in places]) for places in drill.answers
        )
        lines = cheapest_lines(Board.of(Position.of(pictured(drill.digits, dice))))
        same = {line.technique for line in lines} == {drill.reason.technique}
        looks = min(line.looks for line in lines) == drill.looks
        if not (forced and same and looks):
            faults += 1
            print(drill.reason, drill.digits, forced, same, looks)
    judge.close()
    for name, many in counts.items():
        print(f"{name:28}{many:5}")
    print(f"{counts.total()} positions over {len(counts)} reasons, {faults} faults")


if __name__ == "__main__":
    main()
