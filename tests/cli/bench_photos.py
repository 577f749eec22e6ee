"""Hints on the real photos: ``python tests/cli/bench_photos.py DATA [STEP]``.

For every STEP-th printed photo: how ``hint`` ended, whether depth 1 is one sentence made of its own
fields, the same each time, and whether depth 4's digits are the only ones possible, which a SAT
solver judges from the photo's own .dat file. Prints a table; exit code 1 if anything is wrong.
"""

from __future__ import annotations

import io
import json
import os
import re
import sys
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from itertools import combinations, product
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy


def ran(*words: object) -> tuple[int, Any]:
    """Exit code and document of a run with ``--json``."""
    from papernudge.cli.app import run

    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(io.StringIO()):
        code = run([*(str(word) for word in words), "--json"])
    return code, json.loads(out.getvalue())


def truth(photo: Path) -> list[int]:
    """The nine rows of a .dat, 81 digits, 0 for blank."""
    rows = photo.with_suffix(".dat").read_text("utf-8").split("\n")[2:11]
    return [int(digit) for row in rows for digit in row.split()]


def only_digit(givens: list[int], cell: int, digit: int) -> bool:
    """Whether a SAT solver finds no way to fill the grid with another digit in the cell."""
    from pysat.solvers import Solver

    def name(c: int, d: int) -> int:
        return 9 * c + d

    lines = [[9 * k + n for n in range(9)] for k in range(9)]
    lines += [[9 * n + k for n in range(9)] for k in range(9)]
    corners = product((0, 3, 6), (0, 3, 6))
    lines += [[9 * (r + i) + c + j for i in range(3) for j in range(3)] for r, c in corners]
    with Solver("minisat22") as solver:
        for c in range(81):
            solver.add_clause([name(c, d) for d in range(1, 10)])
        for line, d in product(lines, range(1, 10)):
            for a, b in combinations(line, 2):
                solver.add_clause([-name(a, d), -name(b, d)])
        for c, d in enumerate(givens):
            if d:
                solver.add_clause([name(c, d)])
        possible = solver.solve()
        return possible and not solver.solve(assumptions=[-name(cell, digit)])


def judge(photo: Path) -> tuple[str, str]:
    """How ``hint`` ended on a photo, and what was wrong with it ("" for nothing)."""
    code, first = ran("hint", photo)
    state = first.get("state", "error")
    if state != "open":
        return f"{state} (exit {code})", ""
    if ran("hint", photo)[1] != first:
        return state, "not the same twice"
    focus = first["nudge"]["focus"]
    number = str(focus.get("digit", str(focus.get("house", ""))[-1:]))
    sentence = re.sub(r"^Grid \d of \d on the page\. ", "", first["sentence"])
    if set(first["nudge"]) != {"focus", "sentence"} or set(re.findall(r"\d", sentence)) != {number}:
        return state, f"depth 1 tells more than its fields: {sentence}"
    givens = truth(photo)
    for place in ran("hint", photo, "--tell", 4)[1]["nudge"]["places"]:
        cell = 9 * int(place["cell"][1]) + int(place["cell"][3]) - 10
        if not only_digit(givens, cell, place["digit"]):
            return state, f"{place} is not the solution's"
    return state, ""


def main(data: Path, step: int) -> int:
    """Prints the table."""
    states: Counter[str] = Counter()
    wrong = 0
    for photo in sorted((data / "photos" / "printed").glob("*.jpg"))[::step]:
        state, fault = judge(photo)
        states[state] += 1
        if fault:
            wrong += 1
            print(photo.name, fault)
    for state, count in states.most_common():
        print(f"{state:<28}{count:>5}")
    print(f"{'at fault':<28}{wrong:>5}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        sys.exit(main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1))
