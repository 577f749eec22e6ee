"""Printed, filled by unseen hands, photographed, marked: how often the mark is as truth says.

    python tests/cli/sheets/bench_mark.py [SHEETS] [PRESET] [FOLDER] [FIRST]

200 photos of 8 megapixels, preset newspaper, of the seeds from 0 on, if unsaid. Three of ten
answers are planted wrong, half of those by a digit that looks alike in somebody's hand (1 and 7,
4 and 9, 3 and 5 ...).
Photos are kept in FOLDER, where one is named, and taken from there the next time. Needs pdftoppm,
the page maker's typefaces and pen strokes (writers that no model was trained on).
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from photos import Written, photographed, printed, sheet_spec

from papernudge.cli.base.exits import Stop
from papernudge.cli.sheets.code import SheetPage, Task
from papernudge.cli.sheets.mark import mark_photo, result_of
from papernudge.cli.sheets.sheet import drawn, pages_of
from papernudge.digits_model.training.pages.fonts import supplies
from papernudge.hints.drilling import Reason, find_drills
from papernudge.hints.generate import puzzle

REASONS = ("hidden single in a block", "several cells in a row with 2 blanks", "naked single")
LAYOUTS = (("a4", 4), ("letter", 4), ("a4", 6), ("a4", 2))
KINDS = ("right",) * 8 + ("wrong",) * 6 + ("also valid",) * 3 + ("blank",) * 3
ALIKE = {1: "74", 2: "7", 3: "58", 4: "916", 5: "368", 6: "584", 7: "129", 8: "369", 9: "478"}


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
        kind = dice.choice(KINDS)
        if kind == "wrong":
            cell = dice.choice(sorted(places))
            places[cell] = _another(places[cell], dice)
        elif kind == "also valid":
            asked = {cell for line in task.answers for cell, _ in line}
            free = [c for c, m in enumerate(task.digits) if m == "." and c not in asked]
            cell = dice.choice(free or [0])
            places = {cell: int(task.solution[cell])} if free else {}
        written[task.number] = {} if kind == "blank" else places
    return written


def _another(digit: int, dice: random.Random) -> int:
    if dice.random() < 0.5:
        return int(dice.choice(ALIKE[digit]))
    return (digit + dice.randrange(8)) % 9 + 1


def photos(seeds: range, name: str, folder: Path) -> Iterator[tuple[int, Path, SheetPage, Written]]:
    """Seed, photo, the page on it and what was written there."""
    import cv2

    pages = sheets()
    rasters = []
    for n, page in enumerate(pages):
        pdf = folder / f"sheet-{n}.pdf"
        pdf.write_bytes(drawn([page], "Practice"))
        rasters.append(printed(pdf, 1, 300))
    for seed in seeds:
        page, raster = pages[seed % len(pages)], rasters[seed % len(pages)]
        written = answers(page, random.Random(seed))
        photo = folder / f"{name}-{seed:04}.png"
        if not photo.exists():
            spec = sheet_spec(name, seed, "test", 3264)
            picture = photographed(page, raster, written, spec, supplies())
            cv2.imwrite(str(photo), picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
        yield seed, photo, page, written


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    name = sys.argv[2] if len(sys.argv) > 2 else "newspaper"
    first = int(sys.argv[4]) if len(sys.argv) > 4 else 0
    seeds = range(first, first + many)
    counts: Counter[str] = Counter()
    spent = 0.0
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(sys.argv[3]) if len(sys.argv) > 3 else Path(passing)
        folder.mkdir(parents=True, exist_ok=True)
        for seed, photo, page, written in photos(seeds, name, folder):
            counts["sheets"] += 1
            began = time.process_time()
            try:
                marked = mark_photo(str(photo))
            except Stop as stop:
                print(f"seed {seed}: {stop.reason}", flush=True)
                continue
            finally:
                spent += time.process_time() - began
                if len(sys.argv) <= 3:
                    photo.unlink()
            counts["recognised"] += marked.page == page
            for answer in marked.answers:
                truth = result_of(answer.task, tuple(written[answer.task.number].items()))
                counts["answers"] += 1
                counts[f"truly {truth}"] += 1
                counts["unsure"] += answer.result == "unsure"
                counts["as truth says"] += answer.result == truth
                if answer.result not in ("unsure", truth):
                    counts["wrong in silence"] += 1
                    print(f"seed {seed}, number {answer.task.number}: {truth} as {answer.result}")
    print(f"{name}: {counts['recognised']} of {counts['sheets']} sheets recognised")
    for what in ("as truth says", "unsure", "wrong in silence", "truly wrong", "truly blank"):
        share = 100 * counts[what] / max(1, counts["answers"])
        print(f"{what}: {counts[what]} of {counts['answers']} ({share:.1f} %)")
    print(f"{spent / max(1, counts['sheets']):.1f} s of processor time a photo to mark")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        main()
