"""Canonical forms in bulk: ``python tests/hints/bench_canonical.py DATA [PUZZLES]``.

1,000 puzzles × 20 random symmetries must collapse to 1,000 forms, and all 49,151 puzzles of
clues17 must stay distinct. Prints a table; exit code 1 if anything is wrong or too slow.
"""

from __future__ import annotations

import gzip
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from test_canonical import shuffled

from papernudge.hints.canonical import canonical

LIMIT_MS = 20.0


def main(data: Path, many: int) -> int:
    """Prints the table."""
    text = gzip.decompress((data / "puzzles" / "clues17.txt.gz").read_bytes()).decode()
    puzzles = text.split()
    rng = random.Random(17)
    forms: set[str] = set()
    spent: list[float] = []
    split = 0
    for line in rng.sample(puzzles, min(many, len(puzzles))):
        own = set()
        for _ in range(20):
            picture = shuffled(line.replace("0", "."), rng)
            began = time.perf_counter()
            own.add(canonical(picture))
            spent.append(1000 * (time.perf_counter() - began))
        split += len(own) > 1
        forms |= own
    spent.sort()
    distinct = len({canonical(line) for line in puzzles})
    print(f"puzzles × 20 symmetries          {many:>8}")
    print(f"  forms                          {len(forms):>8}")
    print(f"  puzzles with several forms     {split:>8}")
    print(f"  ms a form: mean, 99 %, most    {sum(spent) / len(spent):.2f}", end="")
    print(f"  {spent[int(0.99 * len(spent))]:.2f}  {spent[-1]:.2f}")
    print(f"clues17: puzzles, distinct forms {len(puzzles):>8} {distinct:>8}")
    wrong = split or len(forms) != many or distinct != len(puzzles) or spent[-1] > LIMIT_MS
    return int(bool(wrong))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        sys.exit(main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1000))
