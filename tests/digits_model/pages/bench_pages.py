"""Pages drawn a second on one core. Run as ``python tests/digits_model/pages/bench_pages.py``.

The peer of the same run is a plain JPEG round trip of the same photos, so that a busy or slow
machine shows in both numbers.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import cv2

from papernudge.digits_model.training.pages import draw, preset

FRAMES = {"1 megapixel": (1152, 868), "0.3 megapixels": (640, 480)}


def seconds_and_peer(name: str, wide: int, high: int, count: int) -> tuple[float, float]:
    """Processor seconds for ``count`` pages of one grid, and for their JPEG round trips."""
    frame = {"width": wide, "height": high, "grids": 1}
    specs = [preset(name, seed, **frame) for seed in range(count)]
    pages = [draw(spec) for spec in specs]  # fills the caches: tiles, glyphs, puzzles
    start = time.process_time()
    for spec in specs:
        draw(spec)
    mine = time.process_time() - start
    start = time.process_time()
    for page in pages:
        cv2.imdecode(cv2.imencode(".jpg", page.image)[1], cv2.IMREAD_COLOR)
    return mine, time.process_time() - start


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    count = parser.parse_args().count
    cv2.setNumThreads(1)
    print(f"{'preset':12} {'frame':16} pages/s   x JPEG round trip   (N = {count}, one thread)")
    for name in ("easy", "newspaper", "hard", "cruel"):
        for frame, (wide, high) in FRAMES.items():
            mine, peer = seconds_and_peer(name, wide, high, count)
            print(f"{name:12} {frame:16} {count / mine:7.1f}   {mine / peer:5.2f}")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        main()
