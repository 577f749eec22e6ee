"""Pages a second into a book, by size: ``python tests/cli/books/bench_speed.py [--pages 6]``.

Drawn pages of 1 and 6 grids at 1, 3 and 12 megapixels, three of each, read by one and by two
workers, beside decoding alone. A run of ``--pages`` pages a worker is set against one of a single
page, so that the start of the processes falls out. The clock tells what a machine that others use
too left over; processor seconds tell what the work itself costs, so they stand beside it, and what
as many free cores would make of them.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from bench_books import copies, digitised, processor

SIZES = {1: (866, 1155), 3: (1500, 2000), 12: (3000, 4000)}
"""Megapixels: width and height."""


PHOTOS = 3
"""Of each size and number of grids."""


def drawn(grids: int, width: int, height: int, path: Path, seed: int, fonts: bool) -> Path:
    """A page as a camera of that size would see it."""
    import cv2

    from papernudge.digits_model.training.pages import draw, preset
    from papernudge.digits_model.training.pages.own import OwnSupplies

    spec = preset(
        "easy", seed, split="test", width=1500, height=2000, focus="page", grids=grids, share=0.92,
        off_x=0.0, off_y=0.0, cut="", neighbours=0.0, fill=0.0, givens=30,
    )  # fmt: skip
    image = (draw(spec) if fonts else draw(spec, OwnSupplies())).image
    page = cv2.resize(image, (width, height), interpolation=cv2.INTER_CUBIC)
    cv2.imwrite(str(path), page, [cv2.IMWRITE_JPEG_QUALITY, 90])
    return path


def decoding(path: Path, times: int = 5) -> float:
    """Processor seconds that opening the photo takes."""
    from papernudge.vision.photo import open_photo

    open_photo(path)
    began = time.process_time()
    for _ in range(times):
        open_photo(path)
    return (time.process_time() - began) / times


def main() -> int:
    """Prints the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pages", type=int, default=7)
    words.add_argument("--own", action="store_true", help="draw without typefaces")
    words.add_argument("--sizes", type=int, nargs="+", default=list(SIZES), choices=list(SIZES))
    told = words.parse_args()
    many = told.pages
    print("                       pages/s by     processor    pages/s on   decoding")
    print("  Mpx  grids  workers   the clock      s a page    free cores   alone, s")
    with tempfile.TemporaryDirectory() as name:
        desk = Path(name)
        for size in told.sizes:
            for grids in (1, 6):
                at = desk / f"page-{size}-{grids}"
                photos = [
                    drawn(grids, *SIZES[size], Path(f"{at}-{n}.jpg"), n, not told.own)
                    for n in range(PHOTOS)
                ]
                alone = sum(map(decoding, photos)) / PHOTOS
                for workers in (1, 2):
                    spent: dict[int, tuple[float, float]] = {}
                    for length in (workers, many * workers):  # each worker loads the looks once
                        folder = desk / f"{size}-{grids}-{workers}-{length}"
                        copies(photos, length, folder)
                        used = processor()
                        clock = digitised(Path(f"{folder}.book"), folder, "--workers", workers)
                        spent[length] = clock, processor() - used
                    pages = (many - 1) * workers
                    (short, less), (long, more) = spent[workers], spent[many * workers]
                    clock, cost = long - short, (more - less) / pages
                    rate = f"{pages / clock:.2f}" if clock > 0 else "-"
                    row = f"{size:>5}{grids:>7}{workers:>9}{rate:>12}{cost:>14.3f}"
                    print(f"{row}{workers / cost:>14.2f}{alone:>11.3f}", flush=True)
    print(f"load of the machine meanwhile: {os.getloadavg()[0]:.1f} of {os.cpu_count()} cores")
    return 0


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
