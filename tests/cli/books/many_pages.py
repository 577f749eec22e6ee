"""A run over very many pages, watched: ``python many_pages.py FOLDER BOOK EVERY``.

The whole road of ``digitise`` with two workers, only that a worker reads a picture once and then
remembers what it said: opening, cropping, settling, grading, travelling and writing are done for
each page. Prints a line each EVERY pages: pages done, megabytes resident in the parent, in its
largest worker, and megabytes of the book and its log. Workers are forked from this process, and so
the reader is replaced in them.
"""

from __future__ import annotations

import hashlib
import os
import resource
import sys
from pathlib import Path
from typing import Any

from papernudge.vision import read

_real = read.read_page
_known: dict[bytes, Any] = {}


def _remembered(raster: Any, **how: Any) -> Any:
    key = hashlib.sha256(raster.tobytes()).digest()
    if key not in _known:
        _known[key] = _real(raster, **how)
    return _known[key]


read.read_page = _remembered


def _resident(process: str) -> float:
    text = Path("/proc", process, "statm").read_text("ascii")
    return int(text.split()[1]) * resource.getpagesize() / 1e6


def _workers() -> list[float]:
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            if f"PPid:\t{os.getpid()}\n" in (place / "status").read_text("utf-8"):
                found.append(_resident(place.name))
        except (OSError, IndexError):  # it has just ended
            continue
    return found


def main(folder: str, book: Path, every: int) -> int:
    """Runs it; the exit code of ``digitise``."""
    from papernudge.cli.app import run
    from papernudge.cli.books import digitise

    taken = digitise.take
    done = 0

    def watched(held: Any, page: Any) -> None:
        nonlocal done
        taken(held, page)
        done += 1
        if done % every == 0:
            size = sum(p.stat().st_size for p in book.parent.glob(book.name + "*")) / 1e6
            workers = max(_workers(), default=0.0)
            print(done, f"{_resident('self'):.1f} {workers:.1f} {size:.1f}", flush=True)

    digitise.take = watched
    return run(["digitise", folder, "--book", str(book), "--workers", "2"])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])))
