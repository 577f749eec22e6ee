"""Printed, filled by unseen hands, photographed, marked: how often the mark is as truth says.

    python tests/cli/drills/bench_mark.py [SHEETS] [PRESET]

200 photos of preset newspaper if unsaid. Needs pdftoppm, the page maker's typefaces and pen strokes
(writers and puzzles that no model was trained on).
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

from photos import Written, photographed, printed, sheet_spec

from papernudge.cli.drills.code import SheetPage, Task
from papernudge.cli.drills.mark import mark_photo, result_of
from papernudge.cli.drills.sheet import drawn, pages_of
from papernudge.cli.exits import Stop
from papernudge.digits_model.training.pages.fonts import supplies
from papernudge.hints.drilling import Reason, find_drills
from papernudge.hints.generate import puzzle

REASONS = ("hidden single in a block", "several cells in a row with 3 blanks", "naked single")
LAYOUTS = (("a4", 4), ("letter", 4), ("a4", 6), ("a4", 2))


def sheets() -> list[SheetPage]:
    """A page for each reason and layout."""
    found: list[SheetPage] = []
    for number, name in enumerate(REASONS):
        puzzles = (puzzle(seed) for seed in range(200 * number, 200 * number + 60))
        drills = find_drills(puzzles, Reason.parse(name), 6)
        tasks = [
            Task(n, d.digits, d.solution, d.reason, d.looks, d.answers)
            for n, d in enumerate(drills, start=1)
        ]
        for paper, each in LAYOUTS:
            found.append(pages_of(tasks[:each], each, paper)[0])
    return found


def answers(page: SheetPage, dice: random.Random) -> Written:
    """Right, wrong, valid but not asked for, or nothing."""
    written: Written = {}
    for task in page.tasks:
        places = dict(dice.choice(task.answers))
        kind = dice.choice(("right", "right", "wrong", "also valid", "blank"))
        if kind == "wrong":
            cell = dice.choice(sorted(places))
            places[cell] = (places[cell] + dice.randrange(8)) % 9 + 1
        elif kind == "also valid":
            asked = {cell for line in task.answers for cell, _ in line}
            free = [c for c, m in enumerate(task.digits) if m == "." and c not in asked]
            cell = dice.choice(free or [0])
            places = {cell: int(task.solution[cell])} if free else {}
        written[task.number] = {} if kind == "blank" else places
    return written


def main() -> None:
    import cv2

    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    name = sys.argv[2] if len(sys.argv) > 2 else "newspaper"
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        pages = sheets()
        rasters = []
        for n, page in enumerate(pages):
            pdf = Path(folder) / f"{n}.pdf"
            pdf.write_bytes(drawn([page], "Practice"))
            rasters.append(printed(pdf, 1))
        for seed in range(many):
            page, raster = pages[seed % len(pages)], rasters[seed % len(pages)]
            written = answers(page, random.Random(seed))
            photo = Path(folder) / "photo.png"
            spec = sheet_spec(name, seed, "test")
            cv2.imwrite(str(photo), photographed(page, raster, written, spec, supplies()))
            counts["sheets"] += 1
            try:
                marked = mark_photo(str(photo))
            except Stop as stop:
                print(f"seed {seed}: {stop.reason}", flush=True)
                continue
            counts["recognised"] += marked.page == page
            for answer in marked.answers:
                truth = result_of(answer.task, tuple(written[answer.task.number].items()))
                counts["answers"] += 1
                counts["unsure"] += answer.result == "unsure"
                counts["as truth says"] += answer.result == truth
                if answer.result not in ("unsure", truth):
                    counts["wrong in silence"] += 1
                    print(f"seed {seed}, number {answer.task.number}: {truth} as {answer.result}")
    print(f"{name}: {counts['recognised']} of {counts['sheets']} sheets recognised")
    for what in ("as truth says", "unsure", "wrong in silence"):
        print(f"{what}: {counts[what]} of {counts['answers']}")


if __name__ == "__main__":
    main()
