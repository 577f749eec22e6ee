"""Speed on one core, beside other solvers in the same run.

    python tests/hints/bench_speed.py [--every N] [--positions N] [--nudges N] [--hints]

Uniqueness: each N-th of clues17, by the exact solver here, by python-sat building its clauses for
each puzzle, by python-sat with the clauses built once and the givens as assumptions, and by
OR-tools CP-SAT (one worker; on each tenth of these). Hints: positions along walks of the puzzles of
human_times, without notes and with notes in any number of cells (of all candidates, or with some
wrong ones left out, so that they show what the solver has found). Walks: whole walk and grade of
each tenth of them; the hardest published ones; routes of each fortieth. Nudges: along walks of
clues17 and human_times in turn, the worst of so many. ``--hints``: nothing beside other solvers.
"""

from __future__ import annotations

import argparse
import gc
import random
import sys
import time
from collections.abc import Callable, Sequence
from importlib.util import find_spec
from pathlib import Path

import shared_puzzles as data
from sat import rules, variable

from papernudge.hints import Nudge, Position, count_solutions, grade, next_nudge, walk
from papernudge.hints.route import route


def timed(task: Callable[[str], object], lines: Sequence[str]) -> float:
    """Mean milliseconds."""
    start = time.perf_counter()
    for line in lines:
        assert task(line)
    return (time.perf_counter() - start) / len(lines) * 1e3


def ours(line: str) -> bool:
    return count_solutions(line) == 1


def _literals(line: str) -> list[int]:
    return [variable(c, int(m)) for c, m in enumerate(line) if m != "."]


def sat_fresh(line: str) -> bool:
    from pysat.solvers import Cadical153

    with Cadical153(bootstrap_with=rules()) as solver:
        for literal in _literals(line):
            solver.add_clause([literal])
        assert solver.solve()
        solver.add_clause([-x for x in solver.get_model() if x > 0])
        return not solver.solve()


class Incremental:
    """Clauses once; the givens and a switch for the clause that bars the first solution."""

    def __init__(self, name: str) -> None:
        from pysat.solvers import Solver

        self.solver = Solver(name=name, bootstrap_with=rules())
        self.switch = 1000

    def __call__(self, line: str) -> bool:
        literals = _literals(line)
        assert self.solver.solve(assumptions=literals)
        self.switch += 1
        model = [x for x in self.solver.get_model() if 0 < x <= 729]
        self.solver.add_clause([-self.switch, *(-x for x in model)])
        unique = not self.solver.solve(assumptions=[*literals, self.switch])
        self.solver.add_clause([-self.switch])
        return unique


def cp_sat(line: str) -> bool:
    from ortools.sat.python import cp_model

    def model(barred: list[int] | None) -> list[int] | None:
        m = cp_model.CpModel()
        cells = [m.NewIntVar(1, 9, f"c{c}") for c in range(81)]
        for k in range(9):
            m.AddAllDifferent(cells[9 * k : 9 * k + 9])
            m.AddAllDifferent(cells[k::9])
            top = 27 * (k // 3) + 3 * (k % 3)
            m.AddAllDifferent([cells[top + 9 * (j // 3) + j % 3] for j in range(9)])
        for c, mark in enumerate(line):
            if mark != ".":
                m.Add(cells[c] == int(mark))
        if barred:
            differ = []
            for c, digit in enumerate(barred):
                same = m.NewBoolVar(f"d{c}")
                m.Add(cells[c] != digit).OnlyEnforceIf(same)
                differ.append(same)
            m.AddBoolOr(differ)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.Solve(m)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        return [solver.Value(c) for c in cells]

    first = model(None)
    return first is not None and model(first) is None


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def uniqueness(lines: list[str]) -> None:
    print(f"uniqueness of clues17, {len(lines)} puzzles, ms each (ratio to ours)")
    mine = timed(ours, lines)
    print(f"  {'papernudge, plain Python':42s} {mine:7.3f}")
    for name, task, some in (
        ("python-sat cadical153, clauses per puzzle", sat_fresh, lines),
        ("python-sat cadical153, incremental", Incremental("cadical153"), lines),
        ("python-sat minisat22, incremental", Incremental("minisat22"), lines),
        ("OR-tools CP-SAT, one worker", cp_sat, lines[::10]),
    ):
        if task is cp_sat and find_spec("ortools") is None:
            print(f"  {name:42s} is not installed: pip install -e '.[bench]'")
            continue
        other = timed(task, some)
        print(f"  {name:42s} {other:7.3f}  ({other / mine:6.2f} ×)")
    print(f"  {'papernudge again':42s} {timed(ours, lines):7.3f}")


def hints(lines: list[str], wanted: int) -> None:
    times: list[float] = []
    for line in lines:
        position, last = Position.of(line), ()
        while position.blank and len(times) < wanted:
            fresh = Position.of(position.givens, position.entries)
            start = time.perf_counter()
            nudge = next_nudge(fresh, last=last)
            times.append((time.perf_counter() - start) * 1e3)
            assert nudge is not None
            for cell, digit in nudge.line.places:
                position = position.with_digit(cell, digit)
            last = tuple(cell for cell, _ in nudge.line.places)
    middle, far = percentile(times, 0.5), percentile(times, 0.99)
    print(f"next hint, {len(times)} positions along walks: median {middle:.2f} ms, ", end="")
    print(f"p99 {far:.1f} ms, worst {max(times):.0f} ms")


def told(name: str, times: list[float]) -> None:
    middle, far = percentile(times, 0.5), percentile(times, 0.99)
    print(f"{name}, {len(times)}: median {middle:.2f} ms, ", end="")
    print(f"p99 {far:.1f} ms, worst {max(times):.0f} ms")


def nudged(position: Position, last: tuple[int, ...] = ()) -> tuple[float, Nudge]:
    """Milliseconds to a nudge from a position of which nothing is known yet, and the nudge."""
    start = time.perf_counter()
    nudge = next_nudge(position, last=last)
    spent = (time.perf_counter() - start) * 1e3
    assert nudge is not None
    return spent, nudge


def noted(position: Position, rng: random.Random) -> Position:
    """The position with notes in some of its blank cells: of all candidates, or less some wrong
    ones.
    """
    blanks = [c for c in range(81) if position.blank >> c & 1]
    kept = rng.choice((1.0, 0.9, 0.6))
    notes = {}
    for cell in rng.sample(blanks, rng.randint(1, len(blanks))):
        held = [d for d in range(1, 10) if position.candidates[d] >> cell & 1]
        right = int((position.solution or "")[cell])
        notes[cell] = [d for d in held if d == right or rng.random() < kept]
    return Position.of(position.givens, position.entries, notes)


def with_notes(lines: list[str], wanted: int) -> None:
    rng, times = random.Random(1), list[float]()
    for line in lines:
        position = Position.of(line)
        while position.blank and len(times) < wanted:
            spent, nudge = nudged(noted(position, rng))
            times.append(spent)
            for cell, digit in nudge.line.places:
                position = position.with_digit(cell, digit)
    told("next hint with notes in any number of cells", times)


def worst_nudge(wanted: int) -> None:
    rng, times = random.Random(2), list[float]()
    sets = [data.clues17(), data.human_times()]
    while len(times) < wanted:
        position, last = Position.of(rng.choice(sets[len(times) % 2])), ()
        while position.blank and len(times) < wanted:
            spent, nudge = nudged(Position.of(position.givens, position.entries), last)
            times.append(spent)
            for cell, digit in nudge.line.places:
                position = position.with_digit(cell, digit)
            last = tuple(cell for cell, _ in nudge.line.places)
    told("nudges along walks of clues17 and human_times", times)


def hardest() -> None:
    for name, line in zip(data.HARD, data.hard_ones(), strict=True):
        start = time.perf_counter()
        walked = walk(Position.of(line))
        spent = time.perf_counter() - start
        print(f"walk of {name}: {spent:.2f} s, {len(walked.lines)} lines")


def routes(lines: list[str]) -> None:
    times = []
    for line in lines:
        start = time.perf_counter()
        route(Position.of(line))
        times.append((time.perf_counter() - start) * 1e3)
    told("routes of newspaper puzzles", times)


def walks(lines: list[str]) -> None:
    times = []
    for line in lines:
        start = time.perf_counter()
        grade(line, walk(Position.of(line)))
        times.append((time.perf_counter() - start) * 1e3)
    print(f"walk and grade, {len(times)} puzzles: median {percentile(times, 0.5):.1f} ms, ", end="")
    print(f"p99 {percentile(times, 0.99):.0f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=50)
    parser.add_argument("--positions", type=int, default=5000)
    parser.add_argument("--nudges", type=int, default=50_000)
    parser.add_argument("--hints", action="store_true")
    options = parser.parse_args()
    gc.set_threshold(20_000, 20, 20)  # as the program does
    if not options.hints:
        uniqueness(data.clues17()[:: options.every])
    # Spread over the whole file, so that hard puzzles have their share.
    hints(data.human_times()[::6], options.positions)
    with_notes(data.human_times()[::6], options.positions)
    walks(data.human_times()[::10])
    hardest()
    routes(data.human_times()[::40])
    worst_nudge(options.nudges)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
