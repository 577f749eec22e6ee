"""Drilled positions over many reasons, each checked anew by the engine and by a SAT solver.

    python tests/hints/bench_drilling.py [POSITIONS] [MOST PUZZLES]
    python tests/hints/bench_drilling.py first [PUZZLES]

1,000 positions if unsaid, at most a tenth of them for one reason, at most two of a puzzle for one
reason, from puzzles of our own and (where the data folder is at hand) of 17 givens in turn. Checked
of each:

* SAT: the position has one solution, and each digit of every answer is forced by what is written;
* the engine, on a picture of the position with rows and columns exchanged and digits relabelled:
  its cheapest lines all rest on this reason, and cost as many looks;
* plainly, without the engine's search: no other step in sight beats it; where none is in sight, of
  all eliminations with the singles that they open none costs less, and no other reason is as cheap.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from itertools import islice, zip_longest
from pathlib import Path
from random import Random

import easier
from plainly import cheapest
from sat import Judge, variable
from shared_puzzles import clues17, folder

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.canonical import canonical
from papernudge.hints.drilling import Drill, Reason, drills_in
from papernudge.hints.generate import puzzle
from papernudge.hints.registry import PRACTISED
from papernudge.hints.search import cheapest_lines

A_PUZZLE = 2


def sources(most: int) -> Iterator[str]:
    """Our own puzzles and those of 17 givens, in turn."""
    own = (puzzle(seed) for seed in range(most))
    others = clues17() if folder().is_dir() else []
    Random(1).shuffle(others)
    for pair in zip_longest(own, others):
        yield from (line.replace("0", ".") for line in pair if line)


def gathered(wanted: int, most: int) -> list[Drill]:
    """None alike, for each reason at most its share, until there are so many."""
    reasons = [Reason.parse(name) for name in PRACTISED]
    share = -(-wanted // 10)
    kept: dict[str, list[Drill]] = {name: [] for name in PRACTISED}
    seen: set[str] = set()
    looked = 0
    for looked, line in enumerate(islice(sources(most), most), start=1):
        left = [reason for reason in reasons if len(kept[reason.technique]) < share]
        here = list(drills_in(line, left, looked))
        Random(looked).shuffle(here)
        taken: Counter[str] = Counter()
        for drill in here:
            name = drill.reason.technique
            if len(kept[name]) >= share or taken[name] >= A_PUZZLE:
                continue
            form = canonical(drill.digits)
            if form not in seen:
                seen.add(form)
                taken[name] += 1
                kept[name].append(drill)
        if sum(map(len, kept.values())) >= wanted:
            break
    print(f"{looked} puzzles looked through")
    return [drill for group in kept.values() for drill in group][:wanted]


def pictured(digits: str, dice: Random) -> str:
    """Transposed and relabelled."""
    names = list("123456789")
    dice.shuffle(names)
    turned = "".join(digits[9 * (k % 9) + k // 9] for k in range(81))
    return "".join("." if mark == "." else names[int(mark) - 1] for mark in turned)


def judged_by_sat(judge: Judge, drill: Drill) -> bool:
    written = [variable(c, int(d)) for c, d in enumerate(drill.digits) if d != "."]
    solution = [variable(c, int(d)) for c, d in enumerate(drill.solution)]
    return judge.forces(written, solution) and all(
        judge.forces(written, [variable(c, d) for c, d in places]) for places in drill.answers
    )


def judged_anew(drill: Drill, dice: Random) -> bool:
    lines = cheapest_lines(Board.of(Position.of(pictured(drill.digits, dice))))
    same = {line.technique for line in lines} == {drill.reason.technique}
    return same and min(line.looks for line in lines) == drill.looks


def judged_plainly(drill: Drill) -> bool:
    """A step that needs no pattern must not be beaten by another, by plain counting; where none
    stands, no pattern with the single that it opens may be as cheap under another name.
    """
    board = Board.of(Position.of(drill.digits))
    lines = cheapest_lines(board)
    there = list(easier.steps(board))
    if len(lines[0].steps) == 1:
        asked = {easier.of(line) for line in lines}
        return not any(easier.beats(other, one) for other in there for one in asked)
    least, names = cheapest(board, lines[0].price)
    # A line of several eliminations is not tried here: none of fewer may be as cheap.
    return not there and names <= {drill.reason.technique} and least == lines[0].price


def first(most: int) -> None:
    """In how many of our own puzzles each reason comes first: FIRST in ``drilling.py``."""
    alone: Counter[str] = Counter()
    among: Counter[str] = Counter()
    reasons = [Reason.parse(name) for name in PRACTISED]
    for seed in range(5000, 5000 + most):
        here = list(drills_in(puzzle(seed), reasons, seed, shared=True))
        among.update({drill.reason.technique for drill in here})
        alone.update({drill.reason.technique for drill in here if drill.alone})
    print(f"{'reason, in ' + str(most) + ' puzzles':30}{'alone':>7}{'among':>7}")
    for name in PRACTISED:
        print(f"{name:30}{alone[name]:>7}{among[name]:>7}")


def main() -> None:
    if sys.argv[1:2] == ["first"]:
        first(int(sys.argv[2]) if len(sys.argv) > 2 else 484)
        return
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    most = int(sys.argv[2]) if len(sys.argv) > 2 else 20000
    judge, dice = Judge(), Random(1)
    counts: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    looks: dict[str, list[int]] = {}
    began = time.process_time()
    found = gathered(wanted, most)
    middle = time.process_time()
    puzzles = len({drill.puzzle for drill in found})
    for drill in found:
        name = drill.reason.technique
        counts[name] += 1
        looks.setdefault(name, []).append(drill.looks)
        verdicts = {
            "SAT": judged_by_sat(judge, drill),
            "engine": judged_anew(drill, dice),
            "plainly": judged_plainly(drill),
        }
        for who, fine in verdicts.items():
            if not fine:
                faults[who] += 1
                print(f"{who}: {drill.reason} {drill.digits}")
    judge.close()
    print(f"{'reason':28}{'positions':>9}  looks")
    for name, many in counts.items():
        print(f"{name:28}{many:9}  {min(looks[name])} to {max(looks[name])}")
    print(f"{counts.total()} positions of {puzzles} puzzles over {len(counts)} reasons")
    print("faults: " + ", ".join(f"{who} {faults[who]}" for who in ("SAT", "engine", "plainly")))
    end = time.process_time()
    print(f"processor time: {middle - began:.0f} s to find, {end - middle:.0f} s to check")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
