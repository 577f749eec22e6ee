"""Carry every puzzle to its end by named reasons, and see that none contradicts the solution.

    python tests/hints/bench_completeness.py [--every N] [--jobs N]

Prints, for each set of puzzles: how many were finished, by singles alone and with nets, how
often each reason was used, and deductions that contradict the solution (there must be none).
``--every N`` takes each N-th puzzle of clues17 only.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable
from multiprocessing import Pool
from pathlib import Path

import shared_puzzles as data

from papernudge.hints import Position, walk
from papernudge.hints.geometry import candidate_pairs
from papernudge.hints.techniques.singles import ALL_SINGLES

Outcome = tuple[bool, bool, bool, int, Counter[str], float]


def outcome(line: str) -> Outcome:
    """Finished, by singles alone, with a net; contradictions; steps by reason; seconds."""
    start = time.perf_counter()
    position = Position.of(line)
    solution = position.solution
    assert solution is not None
    walked = walk(position)
    seconds = time.perf_counter() - start
    steps = [step for one in walked.lines for step in one.steps]
    wrong = sum(solution[c] != str(d) for step in steps for c, d in step.places)
    wrong += sum(solution[c] == str(d) for s in steps for c, d in candidate_pairs(s.ruled_out))
    used = Counter(step.technique for step in steps)
    return walked.solved, set(used) <= ALL_SINGLES, "net" in used, wrong, used, seconds


def report(name: str, outcomes: Iterable[Outcome]) -> None:
    count, finished, singles, nets, wrong = 0, 0, 0, 0, 0
    used: Counter[str] = Counter()
    times = []
    for solved, by_singles, with_net, contradictions, steps, seconds in outcomes:
        count += 1
        finished += solved
        singles += solved and by_singles
        nets += with_net
        wrong += contradictions
        used += steps
        times.append(seconds)
        if count % 1000 == 0:
            print(f"  {count} done", file=sys.stderr, flush=True)
    times.sort()
    print(f"\n{name}: {count} puzzles, {finished} finished ({finished / count:.3%})")
    print(f"  by singles alone {singles}, with a net {nets} ({nets / count:.2%})")
    print(f"  contradicting the solution: {wrong} of {sum(used.values())} steps")
    print(f"  a walk: median {times[count // 2] * 1e3:.1f} ms, sum {sum(times):.0f} s")
    for reason, times_used in used.most_common():
        print(f"  {times_used:9d}  {reason}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    sets = {
        "hard ones": data.hard_ones(),
        "euler96": [line for line, _ in data.euler96()],
        "human_times": data.human_times(),
        "clues17": data.clues17()[:: options.every],
    }
    with Pool(options.jobs) as pool:
        for name, lines in sets.items():
            report(name, pool.imap_unordered(outcome, lines, chunksize=8))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
