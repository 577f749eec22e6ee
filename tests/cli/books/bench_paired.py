"""Two checkouts read the same pages in turn:
``python tests/cli/books/bench_paired.py OLD/bin/python NEW/bin/python [--pages 12]``.

Drawn pages of six grids, 3 megapixels, or the photos that ``--photos`` names, go to a process of
either interpreter that has read another page beforehand: each page to both, one right after the
other, whichever was second last time first. That is done ``--turns`` times, each time by new
processes, so that none meets a puzzle again. A page's time is the least processor time it took:
what else goes on in the machine adds to it and takes nothing away. Prints each page, the ratio of
all pages together and the middle one of the pages' own, and in which columns the rows of the two
differ.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

READER = """
import dataclasses, json, sys, time
from papernudge.cli.books.rows import PageTask
from papernudge.cli.books.work import one_thread, read_task
one_thread()
for line in sys.stdin:
    task = PageTask("0" * 64, 1, "photo", "page.jpg", line.strip())
    began = time.process_time()
    done = read_task(task)
    spent = time.process_time() - began
    print(json.dumps([spent, [dataclasses.asdict(row) for row in done.puzzles]]), flush=True)
"""


class Reader:
    """A process that reads one page after the other."""

    def __init__(self, python: str) -> None:
        pipe = subprocess.PIPE
        quiet = os.environ | {"OMP_NUM_THREADS": "1", "ORT_DISABLE_TELEMETRY": "1"}
        words = [python, "-c", READER]
        self.process = subprocess.Popen(words, stdin=pipe, stdout=pipe, text=True, env=quiet)

    def read(self, photo: Path) -> tuple[float, list[dict[str, Any]]]:
        """Processor seconds, and the rows of its puzzles."""
        assert self.process.stdin
        assert self.process.stdout
        print(photo.resolve(), file=self.process.stdin, flush=True)
        spent, rows = json.loads(self.process.stdout.readline())
        return spent, rows

    def end(self) -> None:
        """Lets it go."""
        self.process.communicate()


def differing(one: list[dict[str, Any]], other: list[dict[str, Any]]) -> set[str]:
    """The columns in which the rows of a page differ; ``rows`` if there are more of them."""
    if len(one) != len(other):
        return {"rows"}
    pairs = list(zip(one, other, strict=True))
    return {name for a, b in pairs for name in a.keys() & b.keys() if a[name] != b[name]}


def main() -> int:
    """Prints the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("old")
    words.add_argument("new")
    words.add_argument("--pages", type=int, default=12)
    words.add_argument(
        "--photos", type=Path, nargs="*", help="the first of them is only read beforehand"
    )
    words.add_argument("--turns", type=int, default=3)
    words.add_argument("--own", action="store_true", help="draw without typefaces")
    told = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        photos = told.photos
        if not photos:
            from bench_books import draw_book

            draw_book(Path(name), told.pages + 1, 0.0, not told.own)
            first, *photos = sorted(Path(name).glob("*.jpg"))
        else:
            first = photos.pop(0)
        spent, differ = [[1e9, 1e9] for _ in photos], [set[str]() for _ in photos]
        for turn in range(told.turns):
            read_all([told.old, told.new], first, photos, turn, spent, differ)
    print(f"\n{'page':<24}{'old, s':>8}{'new, s':>8}{'ratio':>7}  differing columns")
    for photo, (old, new), columns in zip(photos, spent, differ, strict=True):
        what = ", ".join(sorted(columns))
        print(f"{photo.name:<24}{old:>8.3f}{new:>8.3f}{old / new:>7.2f}  {what}")
    old, new = (sum(each) for each in zip(*spent, strict=True))
    middle = statistics.median(old / new for old, new in spent)
    least = min(old / new for old, new in spent)
    print(f"\nall pages: {old:.2f} and {new:.2f} s, ratio {old / new:.2f}")
    print(f"a page's own ratio: the middle one {middle:.2f}, the least {least:.2f}")
    print(f"load of the machine {os.getloadavg()[0]:.1f} of {os.cpu_count()} cores")
    return 0


def read_all(
    pythons: list[str],
    first: Path,
    photos: list[Path],
    turn: int,
    spent: list[list[float]],
    differ: list[set[str]],
) -> None:
    """Reads each photo in new processes of both, notes the least seconds and what differs.
    ``first``: the page that is read beforehand.
    """
    readers = [Reader(python) for python in pythons]
    for reader in readers:
        reader.read(first)
    for number, photo in enumerate(photos):
        rows: list[Any] = [None, None]
        for k in (0, 1) if (turn + number) % 2 else (1, 0):
            seconds, rows[k] = readers[k].read(photo)
            spent[number][k] = min(spent[number][k], seconds)
        differ[number] |= differing(*rows)
    for reader in readers:
        reader.end()


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
