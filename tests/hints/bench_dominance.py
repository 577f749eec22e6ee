"""Is a first nudge ever plainly beaten by another step that is there?

    python tests/hints/bench_dominance.py [--positions N] [--seed N]

Positions of all sources (``positions.py``); what each step demands is counted plainly
(``easier.py``), without the engine's own relation. A nudge that needs a pattern is beaten where any
step stands that needs none. Printed: how many are beaten, by source, and the share of first nudges
by kind. ``--kinds`` prints the shares alone, and runs on an older engine too.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from itertools import islice
from pathlib import Path

from positions import tried

from papernudge.hints import next_nudge
from papernudge.hints.geometry import HOUSES
from papernudge.hints.line import Line
from papernudge.hints.looks import Scan
from papernudge.hints.notes import board_of


def kind(line: Line) -> str:
    if len(line.steps) > 1:
        return "a pattern first"
    if len(line.places) > 1:
        return "blanks that settle each other"
    read = line.last.deduction.reads[0]
    if not isinstance(read, Scan):
        return "a cell's one digit"
    if HOUSES[read.house] & line.last.board.blank == read.places:
        return "last blank"
    return "one place in a block" if read.house >= 18 else "one place in a line"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--positions", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", action="store_true")
    options = parser.parse_args()
    began = time.process_time()
    kinds: Counter[str] = Counter()
    sources: Counter[str] = Counter()
    beaten: Counter[str] = Counter()
    for source, position, last in islice(tried(random.Random(options.seed)), options.positions):
        nudge = next_nudge(position, last=last)
        if nudge is None:
            continue
        sources[source] += 1
        kinds[kind(nudge.line)] += 1
        if not options.kinds and _is_beaten(nudge.line, position):
            beaten[source] += 1
            if beaten.total() <= 5:
                print(f"beaten: {kind(nudge.line)} in {position.digits} {position.notes or ''}")
    if not options.kinds:
        for source, many in sources.items():
            print(f"  {source:24} {beaten[source]:4} of {many}")
    for name, many in kinds.most_common():
        print(f"  {name:30} {many / kinds.total():6.1%}")
    told = "" if options.kinds else f", {beaten.total()} beaten"
    print(f"{kinds.total()} first nudges{told}; {time.process_time() - began:.0f} s")


def _is_beaten(line: Line, position: object) -> bool:
    import easier

    from papernudge.hints import Position

    assert isinstance(position, Position)
    board = board_of(position)
    there = list(easier.steps(board))
    if len(line.steps) > 1:
        return bool(there)
    asked = easier.of(line)
    return any(easier.beats(other, asked) for other in there)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
