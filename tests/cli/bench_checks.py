"""Checks drawn pages with known mistakes: ``python tests/cli/bench_checks.py [COUNT] [SEED]``;
what came first among mistakes, without photos: ``python tests/cli/bench_checks.py roots [COUNT]``.

Two pages in three carry a slip with digits that singles force from it, the third none to four
lonely mistakes; the photos are drawn by the page maker with typefaces, writers and puzzles of its
test split. Prints how many pages were checked exactly right where no question was asked, the
questions a page, and in how many the planted slip is among the roots, with how many roots are named
at the median. ``roots`` plants a slip and lets singles follow from it on puzzles of our own; a slip
is a digit that the cell could still take, and what follows is written by singles alone: people slip
otherwise, too.
"""

from __future__ import annotations

import importlib
import os
import random
import sys
from collections import Counter
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy

from papernudge.digits_model.training.pages import preset
from papernudge.digits_model.training.pages.truth import CellTruth
from papernudge.hints.geometry import HOUSE_CELLS, HOUSES_OF

Digits = list[int]
# The package also has a function of this name.
draw_module: Any = importlib.import_module("papernudge.digits_model.training.pages.draw")


def candidates(digits: Digits, cell: int) -> set[int]:
    """What no house of the cell holds."""
    return set(range(1, 10)) - {digits[x] for h in HOUSES_OF[cell] for x in HOUSE_CELLS[h]}


def singles(digits: Digits) -> list[tuple[int, int]]:
    """Every digit that a naked or hidden single writes."""
    left = {c: candidates(digits, c) for c in range(81) if not digits[c]}
    found = {(c, min(d)) for c, d in left.items() if len(d) == 1}
    for house in HOUSE_CELLS:
        for digit in set(range(1, 10)) - {digits[c] for c in house}:
            places = [c for c in house if digit in left.get(c, ())]
            if len(places) == 1:
                found.add((places[0], digit))
    return sorted(found)


def written(givens: Digits, solution: Digits, dice: random.Random) -> tuple[Digits, int | None]:
    """Entries as a solver may have left them, and the cell of the planted slip, if any."""
    digits = list(givens)
    blanks = [c for c in range(81) if not digits[c]]
    chained = dice.random() < 2 / 3
    right = dice.sample(blanks, dice.randrange(0, len(blanks) - 12))
    for cell in right:
        digits[cell] = solution[cell]
    if not chained:
        for cell in dice.sample(right, min(len(right), dice.randrange(0, 5))):
            digits[cell] = (solution[cell] - 1 + dice.randrange(1, 9)) % 9 + 1
        return digits, None
    slips = [(c, d) for c in blanks for d in candidates(digits, c) if not digits[c]]
    slips = [(c, d) for c, d in slips if d != solution[c]]
    if not slips:
        return digits, None
    root, digit = dice.choice(slips)
    digits[root] = digit
    for _ in range(dice.randrange(2, 10)):
        steps = singles(digits)
        bad = [(c, d) for c, d in steps if d != solution[c]]
        if not bad:
            break
        cell, digit = dice.choice(bad)
        digits[cell] = digit
    return digits, root


def drawn(seed: int) -> tuple[Any, int | None]:
    """A page whose first grid was filled by :func:`written`."""
    dice = random.Random(seed)
    planted: list[int | None] = [None]
    usual = draw_module.fill_cells

    def filled(spec: Any, number: int, givens: Digits, solution: Digits) -> list[CellTruth]:
        if number:
            return usual(spec, number, givens, solution)
        digits, planted[0] = written(givens, solution, dice)
        return [
            CellTruth("given", g) if g else CellTruth("entry", d) if d else CellTruth()
            for g, d in zip(givens, digits, strict=True)
        ]

    spec = preset("easy", seed, split="test", grids=1, note_share=0.0)
    draw_module.fill_cells = filled
    try:
        return draw_module.draw(spec), planted[0]
    finally:
        draw_module.fill_cells = usual


def judge(seed: int) -> Counter[str]:
    """One page: what was right about its check."""
    from papernudge.cli.session.answers import check_answer
    from papernudge.cli.session.pages import Page, Sheet, first_puzzle
    from papernudge.hints import solve
    from papernudge.hints.checking import Checked3
    from papernudge.vision.photo import Photo
    from papernudge.vision.read import read_page

    page, root = drawn(seed)
    truth = next((g for g in page.truth.grids if g.kind == "puzzle"), None)
    if truth is None:
        return Counter(no_puzzle=1)
    wrong = {
        c
        for c, (e, s) in enumerate(zip(truth.entries, truth.solution, strict=True))
        if e not in (".", s)
    }
    out: Counter[str] = Counter(pages=1)
    reading = read_page(page.image, solve=solve)
    number = first_puzzle(Page("", Photo(page.image), reading)) if reading else None
    if number is None:
        return out + Counter(unread=1)
    sheet = Sheet(Page("", Photo(page.image), reading), number)
    out["questions"] += len(sheet.grid.doubts)
    answer = check_answer(sheet, 3, None)
    if answer.doubts:
        return out + Counter(asked=1, asked_about=len(answer.doubts))
    told = answer.told
    assert isinstance(told, Checked3)
    out["answered"] += 1
    found = {m.cell for m in told.mistakes}
    out["exact"] += found == wrong and (answer.state == "mistaken") == bool(wrong)
    out["right called mistaken"] += bool(found) and not wrong
    if root is not None and len(wrong) > 1 and found == wrong:
        roots = [m.cell for m in told.mistakes if m.root]
        out["planted"] += 1
        out["planted among roots"] += root in roots
        out["planted named first"] += told.first_out == root
        out[f"roots named {len(roots)}"] += 1
    if found != wrong:
        print(f"page {seed}: wrong {sorted(wrong)}, found {sorted(found)}, state {answer.state}")
    return out


def middle_of(named: Counter[int]) -> int:
    """The median of counted numbers."""
    row = sorted(named.elements())
    return row[len(row) // 2] if row else 0


def roots(count: int) -> int:
    """Slips and what follows from them, from 1,000 seeds on: prints what is named."""
    from papernudge.hints import Position, solve
    from papernudge.hints.checking import check
    from papernudge.hints.generate import puzzle

    named: Counter[int] = Counter()
    among = alone = groups = wrongs = 0
    seed = 0
    while sum(named.values()) < count:
        seed += 1
        line = puzzle(1000 + seed % 200)
        givens = [0 if d == "." else int(d) for d in line]
        solution = [int(d) for d in solve(line) or ""]
        digits, root = written(givens, solution, random.Random(seed))
        wrong = [c for c in range(81) if digits[c] and digits[c] != solution[c]]
        if root is None or len(wrong) < 2:
            continue
        pairs = zip(digits, givens, strict=True)
        entries = "".join(str(d) if d and not g else "." for d, g in pairs)
        result = check(Position.of(line, entries))
        found = [m.cell for m in result.mistakes if m.root]
        named[len(found)] += 1
        wrongs += len(wrong)
        among += root in found
        alone += found == [root]
        groups += len(result.roots) > 1
    print(f"slips with digits that follow     {count}, {wrongs / count:.1f} wrong digits each")
    print(f"planted digit among the roots     {among}")
    print(f"planted digit the only root       {alone}")
    print(f"more than one group of roots      {groups}")
    print(f"roots named, median and most      {middle_of(named)}, {max(named)}")
    return int(among < count)


def main(count: int, seed: int) -> int:
    """Prints the table."""
    total: Counter[str] = Counter()
    for number in range(seed, seed + count):
        total += judge(number)
    for name in (
        "pages", "unread", "asked", "asked_about", "questions", "answered", "exact",
        "right called mistaken", "planted", "planted among roots", "planted named first",
    ):  # fmt: skip
        print(f"{name:<24}{total[name]:>6}")
    named = Counter({n: total[f"roots named {n}"] for n in range(1, 82)})
    print(f"{'roots named, median':<24}{middle_of(named):>6}")
    return int(total["exact"] < total["answered"])


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        if sys.argv[1:2] == ["roots"]:
            sys.exit(roots(int((sys.argv[2:3] or ["1000"])[0])))
        words = [int(word) for word in sys.argv[1:3]]
        sys.exit(main(*(words + [300, 1][len(words) :])))
