"""The phone page, measured: ``python tests/cli/phone/bench_phone.py times|load|shrink|kills ...``.

``times PHOTO``: from the photo sent over loopback to the nudge and its picture received, at 12
megapixels, beside decoding the same bytes, in turns. ``load``: 30 phones that send 10 photos each;
answers, "busy", seconds, memory of the server and its workers. ``shrink FOLDER...``: photos with a
.dat beside them, read at several longest sides, compressed as the page's script does: what the
reader minds.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np
from shared_phone import FIXTURES, Phone, children, killed, running

SIDES = (4000, 3200, 2400, 1800, 1200)
QUALITY = 92


def grown(path: Path, pixels: int) -> bytes:
    """The photo brought to so many pixels, as a JPEG of a phone's quality."""
    photo = cv2.imread(str(path))
    scale = (pixels / (photo.shape[0] * photo.shape[1])) ** 0.5
    how = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    sized = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=how)
    return cv2.imencode(".jpg", sized, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()


def decoded(data: bytes) -> float:
    """Seconds that decoding takes here."""
    began = time.perf_counter()
    cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    return time.perf_counter() - began


def shown(phone: Phone, data: bytes) -> float:
    """Seconds until page and picture are here."""
    began = time.perf_counter()
    at = phone.send_bytes(data)
    assert at.status == 200, at.status
    assert phone.ask(f"{at.url}/picture.jpg").status == 200
    return time.perf_counter() - began


def times(photo: Path, turns: int) -> int:
    """The table of ``times``."""
    with running() as home:
        phone = home.phone()
        shown(phone, grown(photo, 1_000_000))  # the worker is warm
        print(f"{'megapixels':>10} {'decoding ms':>12} {'shown ms':>10} {'ratio':>6}")
        worst = 0.0
        for pixels in (3, 8, 12):
            data = grown(photo, pixels * 1_000_000)
            pairs = [(decoded(data), shown(phone, data + bytes([n]))) for n in range(turns)]
            alone, whole = (1000 * median(one) for one in zip(*pairs, strict=True))
            ratio = median(b / a for a, b in pairs)
            print(f"{pixels:>10} {alone:>12.0f} {whole:>10.0f} {ratio:>6.2f}")
            worst = ratio
    return int(worst > 2.5)


def memory(process: int) -> float:
    """Resident megabytes."""
    for line in Path(f"/proc/{process}/status").read_text("utf-8").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def load(phones: int, each: int) -> int:
    """The table of ``load``."""
    names = ("kitchen-table.jpg", "one-mistake.jpg", "clean.jpg", "two-grids.jpg", "no-grid.jpg")
    photos = [(FIXTURES / name).read_bytes() for name in names]
    took: list[float] = []
    statuses: list[int] = []
    grew: list[tuple[int, float, float]] = []

    with running() as home:

        def one(number: int) -> None:
            phone = home.phone()
            for turn in range(each):
                data = photos[(number + turn) % len(photos)] + bytes([number, turn])
                began = time.perf_counter()
                status = phone.send_bytes(data).status
                took.append(time.perf_counter() - began)
                statuses.append(status)
                if len(statuses) % 50 == 0:
                    workers = sum(memory(pid) for pid in children())
                    grew.append((len(statuses), memory(os.getpid()), workers))

        with ThreadPoolExecutor(phones) as pool:
            list(pool.map(one, range(phones)))
        alive = home.phone().ask("/").status == 200
    ordered = sorted(t for t, status in zip(took, statuses, strict=True) if status == 200)
    good, busy = statuses.count(200), statuses.count(503)
    print(f"{phones} phones, {each} photos each, {os.cpu_count()} cores")
    print(f"answered {good}, told to wait {busy}, neither {phones * each - good - busy}")
    print(f"seconds: median {median(ordered):.2f}, p95 {ordered[int(0.95 * len(ordered))]:.2f}")
    for count, server, workers in grew:
        print(f"after {count:>4} photos: server {server:.0f} MB, workers {workers:.0f} MB")
    return int(good + busy != phones * each or not alive)


def shrink(folders: list[Path]) -> int:
    """The table of ``shrink``."""
    from papernudge.hints import solve
    from papernudge.vision.read import read_page
    from papernudge.vision.reading import PageReading

    found = [p for folder in folders for p in sorted(folder.glob("*.jpg"))]
    print(f"{'longest side':>12} {'photos':>7} {'right':>6} {'silent':>7} {'doubts':>7}")
    for side in SIDES:
        right = silent = doubts = count = 0
        for path in found:
            photo = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
            scale = min(1.0, side / max(photo.shape[:2]))
            if scale == 1.0 and side != SIDES[0]:
                continue
            small = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1]
            page = read_page(cv2.imdecode(data, cv2.IMREAD_COLOR), solve=solve)
            rows = path.with_suffix(".dat").read_text("utf-8").split("\n")[2:11]
            truth = "".join(d if d != "0" else "." for row in rows for d in row.split())
            count += 1
            grids = page.grids if isinstance(page, PageReading) else ()
            best = max(
                (g for g in grids if g.cells),
                key=lambda g: sum(
                    str(c.digit or ".") == t for c, t in zip(g.cells, truth, strict=True)
                ),
                default=None,
            )
            if best is None:
                continue
            wrong = {k for k in range(81) if str(best.cells[k].digit or ".") != truth[k]}
            right += not wrong
            silent += len(wrong - {d.cell for d in best.doubts})
            doubts += len(best.doubts)
        print(f"{side:>12} {count:>7} {right:>6} {silent:>7} {doubts:>7}")
    return 0


def kills(times: int) -> int:
    """The table of ``kills``: one book, a server after the other."""
    import sqlite3
    import tempfile

    faults = pages = 0
    chance = np.random.default_rng(7)
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "killed.book"
        shown: set[str] = set()
        for salt in range(times):
            shown |= killed(book, float(chance.uniform(0.0, 1.5)), salt)
            sql = sqlite3.connect(book)
            whole = sql.execute("PRAGMA integrity_check").fetchone()[0]
            names = [n for (n,) in sql.execute("SELECT name FROM place JOIN page USING (hash)")]
            pages = len(names)
            sql.close()
            faults += whole != "ok" or not shown <= set(names) or len(names) != len(set(names))
    print(
        f"{times} kills, {pages} pages in the book, {len(shown)} shown as done, {faults} at fault"
    )
    return int(faults > 0)


def nearest(grids: list[Any], truth: str) -> Any:
    """The grid that shows most of the digits, None for none."""

    def like(grid: Any) -> int:
        return sum(str(cell.digit or ".") == t for cell, t in zip(grid.cells, truth, strict=True))

    return max(grids, key=like, default=None)


def main() -> int:
    """One of the tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("times")
    one.add_argument("photo", type=Path)
    one.add_argument("--turns", type=int, default=7)
    one = commands.add_parser("load")
    one.add_argument("--phones", type=int, default=30)
    one.add_argument("--each", type=int, default=10)
    one = commands.add_parser("kills")
    one.add_argument("--times", type=int, default=20)
    one = commands.add_parser("shrink")
    one.add_argument("folders", type=Path, nargs="+")
    words = parser.parse_args()
    if words.command == "times":
        return times(words.photo, words.turns)
    if words.command == "kills":
        return kills(words.times)
    if words.command == "load":
        return load(words.phones, words.each)
    return shrink(words.folders)


if __name__ == "__main__":
    sys.exit(main())
