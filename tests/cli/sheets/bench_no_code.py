"""How soon ``mark`` is sure that a page shows no sheet code: ``bench_no_code.py [PHOTO]``.

Pages of 1, 3, 8 and 12 megapixels with a grid somewhere and no code: a newspaper photo (PHOTO, or
one of the fixtures enlarged), blank paper, pages of text in three faces, one of small boxes to be
ticked, noise. Seconds of processor time on one thread; the limit is 2. A page with a square code of
something else is told to show one. Exit code 1 if a page takes longer, or a code is seen where none
is.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from papernudge.cli.sheets.code import decode
from papernudge.cli.sheets.form import forms
from papernudge.vision.codes.recognise import look_for_code

LIMIT = 2.0
FIXTURE = Path(__file__).resolve().parents[3] / "fixtures" / "kitchen-table.jpg"
WORDS = "The Lantern reports that the bakery in Oak Lane opens an hour earlier from Monday on"


def pages(photo: Any) -> Iterator[tuple[str, Any]]:
    rng = np.random.default_rng(1)
    for megapixels in (1, 3, 8, 12):
        high = round((megapixels * 1e6 * 4 / 3) ** 0.5)
        wide = round(high * 3 / 4)
        yield f"newspaper {megapixels}", cv2.resize(photo, (wide, high))
        noise = rng.normal(0, 3, (high, wide, 3))
        yield f"blank {megapixels}", np.clip(230 + noise, 0, 255).astype(np.uint8)
        yield f"text {megapixels}", text(high, wide)
        yield f"bold {megapixels}", text(high, wide, cv2.FONT_HERSHEY_DUPLEX, 0.35, 2.6)
        yield f"serif {megapixels}", text(high, wide, cv2.FONT_HERSHEY_TRIPLEX, 0.55, 1.0)
        yield f"boxes {megapixels}", boxes(high, wide)
        yield f"noise {megapixels}", rng.integers(0, 256, (high, wide, 3), dtype=np.uint8)


def text(
    high: int,
    wide: int,
    face: int = cv2.FONT_HERSHEY_COMPLEX,
    size: float = 0.8,
    thick: float = 1.5,
) -> Any:
    """A page of text. ``size``, ``thick``: of letters and strokes where a page is 1,600 high."""
    page = np.full((high, wide, 3), 235, np.uint8)
    scale = high / 1600
    for y in range(int(60 * scale), high, max(4, int(42 * size * scale))):
        cv2.putText(
            page, f"{WORDS}, {WORDS.lower()}", (int(30 * scale), y), face, size * scale, (30,) * 3,
            max(1, int(thick * scale)), cv2.LINE_AA,
        )  # fmt: skip
    return page


def boxes(high: int, wide: int) -> Any:
    """A questionnaire: a box to be ticked beside the other."""
    page = np.full((high, wide, 3), 235, np.uint8)
    step = high // 80
    for y in range(step, high - step, step):
        for x in range(step, wide - step, step):
            at = (x + step // 5, y + step // 5)
            cv2.rectangle(page, at, (x + step * 4 // 5, y + step * 4 // 5), (40,) * 3, 1)
    return page


def main() -> int:
    cv2.setNumThreads(1)
    photo = cv2.imread(sys.argv[1] if len(sys.argv) > 1 else str(FIXTURE))
    bad = 0
    print(f"{'page, megapixels':<20}{'no grid':>10}{'one grid':>10}{'four':>10}   s")
    for name, page in pages(photo):
        high, wide = page.shape[:2]
        one = np.array([(0.2, 0.3), (0.8, 0.31), (0.79, 0.75), (0.21, 0.74)]) * (wide, high)
        small = np.array([(0, 0), (0.38, 0), (0.38, 0.29), (0, 0.29)])
        four = [
            (small + at) * (wide, high)
            for at in ((0.1, 0.2), (0.52, 0.2), (0.1, 0.55), (0.52, 0.55))
        ]
        spent = []
        for grids in ([], [one], four):
            began = time.process_time()
            seen = look_for_code(page, grids, decode, forms())
            spent.append(time.process_time() - began)
            bad += seen.page is not None or bool(seen.other) or spent[-1] > LIMIT
        print(f"{name:<20}" + "".join(f"{s:>10.2f}" for s in spent), flush=True)
    return int(bool(bad))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
