"""Boards of every kind: speed, and a SAT solver as judge.

    python tests/hints/bench_boards.py speed [--puzzles N] [--boards TEXT] [--givens N...]
    python tests/hints/bench_boards.py steps [--steps N]
    python tests/hints/bench_boards.py unique [--puzzles N] [--boards TEXT]

``speed``: of N puzzles a board, how much processor time one takes to be seen to have one solution,
and the next hint at a moment of its solve; 16×16 and 6×6, few givens and many. ``steps``: so many
steps of walks over all boards, each proven from its evidence alone. ``unique``: N generated puzzles
over all boards, or those whose names hold TEXT, and as many with a given rubbed out, whether they
have one solution, here and by python-sat.
"""

from __future__ import annotations

import argparse
import gc
import random
import sys
import time
from collections import Counter
from pathlib import Path
from statistics import median

from boards import boards
from sat import Judge, claims_of, premises_of

from papernudge.hints import Position, count_solutions, next_nudge, solve
from papernudge.hints.generate import puzzle
from papernudge.hints.layout import Layout
from papernudge.hints.walk import cheapest_solve

FEW = {"16x16": (0, 105, 120), "12x12, 3x4": (0,), "6x6, 2x3": (0, 12), "4x4": (0,)}
"""Boards that are timed, and of how many givens; 0: as few as one solution allows."""


def ms(start: float) -> float:
    return (time.process_time() - start) * 1e3


def far(times: list[float], share: float) -> float:
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


def speed(many: int, among: str, few: list[int] | None) -> None:
    print("board        givens  puzzles  uniqueness median / p90 / worst, ms   next hint, the same")
    for name, wanted in FEW.items():
        layout = boards()[name]
        for givens in few or wanted if among in name else ():
            ones, hints, counts = list[float](), list[float](), list[int]()
            for seed in range(many):
                line = puzzle(seed, givens, layout=layout)
                counts.append(sum(mark != "." for mark in line))
                start = time.process_time()
                assert count_solutions(line, layout=layout) == 1
                ones.append(ms(start))
                position = _mid_solve(layout, line, random.Random(seed))
                start = time.process_time()
                assert next_nudge(position) is not None
                hints.append(ms(start))
            told = [f"{median(t):.2f} / {far(t, 0.9):.1f} / {max(t):.0f}" for t in (ones, hints)]
            print(f"{name:12s} {median(counts):6.0f} {many:8d}  {told[0]:>37s} {told[1]:>21s}")


def _mid_solve(layout: Layout, line: str, rng: random.Random) -> Position:
    """The puzzle with any share of its blanks written, from none up to all but one."""
    solution = solve(line, layout)
    assert solution is not None
    blanks = [c for c, mark in enumerate(line) if mark == "."]
    written = {*rng.sample(blanks, rng.randrange(len(blanks)))}
    entries = "".join(solution[c] if c in written else "." for c in layout.cells)
    return Position.of(line, entries, layout=layout)


def steps(wanted: int) -> None:
    each = -(-wanted // len(boards()))
    total, named = 0, Counter[str]()
    for name, layout in boards().items():
        judge, done, seed, start = Judge(layout), 0, 0, time.process_time()
        while done < each:
            line = puzzle(1000 + seed, _givens(layout, seed), layout=layout)
            seed += 1
            for one in cheapest_solve(Position.of(line, layout=layout)):
                for step in one.steps:
                    premises = premises_of(step.board, step.evidence)
                    claims = claims_of(step.deduction, layout)
                    assert judge.forces(premises, claims), (name, line, step)
                    named[step.technique] += 1
                    done += 1
                if done >= each:
                    break
        judge.close()
        total += done
        print(
            f"{name:32s} {done:5d} steps of {seed:3d} puzzles, {ms(start) / 1e3:.0f} s", flush=True
        )
    print(f"{total} steps over {len(boards())} boards, each proven by python-sat")
    print(", ".join(f"{count} {name}" for name, count in named.most_common()))


def _givens(layout: Layout, seed: int) -> int:
    """Few givens in one of three puzzles, where hard reasons are; else some more."""
    few = layout.many * 9 // 20 if layout.side > 10 else layout.many // 3
    return (0 if layout.side <= 10 else few, few, few + layout.many // 16)[seed % 3]


def unique(wanted: int, among: str) -> None:
    some = {name: layout for name, layout in boards().items() if among in name}
    each = -(-wanted // len(some))
    proper = rubbed = several = 0
    for name, layout in some.items():
        judge, start = Judge(layout), time.process_time()
        for seed in range(each):
            line = puzzle(5000 + seed, _givens(layout, 1), layout=layout)
            solution = solve(line, layout)
            assert solution is not None, (name, line)
            assert solution == judge.solution(line), (name, line)
            assert judge.is_the_only_one(line, solution), (name, line)
            proper += 1
            given = [c for c, mark in enumerate(line) if mark != "."]
            cell = random.Random(seed).choice(given)
            less = line[:cell] + "." + line[cell + 1 :]
            one = count_solutions(less, layout=layout) == 1
            assert one == judge.is_the_only_one(less, solution), (name, less)
            rubbed += 1
            several += not one
        judge.close()
        print(f"{name:32s} {each:4d} puzzles, {ms(start) / 1e3:.0f} s", flush=True)
    print(
        f"{proper} generated puzzles have one solution, python-sat's; of {rubbed} with a given less"
        f" {several} have several, by both"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("speed", "steps", "unique"))
    parser.add_argument("--puzzles", type=int, default=100)
    parser.add_argument("--steps", type=int, default=5000)
    parser.add_argument("--givens", type=int, nargs="+", help="instead of those that are usual")
    parser.add_argument("--boards", default="", help="what the names of boards must hold")
    options = parser.parse_args()
    gc.set_threshold(20_000, 20, 20)  # as the program does
    if options.what == "speed":
        speed(options.puzzles, options.boards, options.givens)
    elif options.what == "steps":
        steps(options.steps)
    else:
        unique(options.puzzles, options.boards)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
