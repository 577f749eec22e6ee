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
from shared_phone import FIXTURES, Phone, Served, children, killed, served

SIDES = (4000, 3200, 2400, 1800, 1200)
QUALITY = 92


def grown(path: Path, pixels: int) -> bytes:
    """The photo brought to so many pixels, as a JPEG of a phone's quality."""
    photo = cv2.imread(str(path))
    scale = (pixels / (photo.shape[0] * photo.shape[1])) ** 0.5
    how = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    sized = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=how)
    return cv2.imencode(".jpg", sized, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()


Took = tuple[float, float]
"""Seconds by the clock, and of processor time of all processes."""


def worked(server: Served) -> float:
    """Processor seconds so far of the server and its workers."""
    tick = os.sysconf("SC_CLK_TCK")
    spent = 0.0
    for pid in (server.process.pid, *children(server.process.pid)):
        fields = Path(f"/proc/{pid}/stat").read_text("utf-8").rsplit(")", 1)[1].split()
        spent += (int(fields[11]) + int(fields[12])) / tick
    return spent


def decoded(data: bytes) -> Took:
    """What decoding takes here."""
    began, before = time.perf_counter(), time.process_time()
    cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    return time.perf_counter() - began, time.process_time() - before


def shown(server: Served, phone: Phone, data: bytes) -> Took:
    """What it takes until page and picture are here."""
    before = worked(server)
    began = time.perf_counter()
    at = phone.send_bytes(data)
    assert at.status == 200, at.status
    assert phone.ask(f"{at.url}/picture.jpg").status == 200
    return time.perf_counter() - began, worked(server) - before


def times(photo: Path, turns: int) -> int:
    """The table of ``times``."""
    with served() as server:
        phone = server.phone()
        shown(server, phone, grown(photo, 1_000_000))  # the worker is warm
        print(f"{'':10} {'by the clock, ms':^28}  {'of processor time, ms':^28}")
        print(f"{'megapixels':>10}" + 2 * f" {'decoding':>10} {'shown':>9} {'ratio':>8} ")
        ratio = 0.0
        for pixels in (3, 8, 12):
            data = grown(photo, pixels * 1_000_000)
            pairs = [(decoded(data), shown(server, phone, data + bytes([n]))) for n in range(turns)]
            line = f"{pixels:>10}"
            for kind in (1, 0):
                alone, whole = ([one[kind] for one in side] for side in zip(*pairs, strict=True))
                ratio = median(b / a for a, b in zip(alone, whole, strict=True))
                if kind:  # ticks of a hundredth: only the sum of many is a figure
                    ratio = sum(whole) / sum(alone)
                said = (
                    1000 * sum(one) / turns if kind else 1000 * median(one)
                    for one in (alone, whole)
                )
                part = "".join(f" {ms:>10.0f}" for ms in said) + f" {ratio:>8.2f}"
                line = line[:10] + part + line[10:]
            print(line)
    return int(ratio > 2.5)


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
    took: list[tuple[float, int]] = []
    grew: list[tuple[int, float, float]] = []
    lost = 0

    with served() as server:

        def one(number: int) -> int:
            phone, shown = server.phone(), []
            for turn in range(each):
                data = photos[(number + turn) % len(photos)] + bytes([number, turn])
                began = time.perf_counter()
                reply = phone.send_bytes(data)
                took.append((time.perf_counter() - began, reply.status))
                if reply.status == 200:
                    shown.append(reply)
                if len(took) % 50 == 0:
                    workers = [memory(pid) for pid in children(server.process.pid)]
                    grew.append((len(took), memory(server.process.pid), max(workers)))
            # What was answered is still there, word for word.
            return sum(phone.ask(reply.url).text != reply.text for reply in shown)

        with ThreadPoolExecutor(phones) as pool:
            lost = sum(pool.map(one, range(phones)))
        alive = server.phone().ask("/").status == 200
    ordered = sorted(seconds for seconds, status in took if status == 200)
    good, busy = (sum(status == code for _, status in took) for code in (200, 503))
    print(f"{phones} phones, {each} photos each, {os.cpu_count()} cores")
    print(f"answered {good}, told to wait {busy}, neither {phones * each - good - busy}")
    print(f"answers that were gone or another afterwards: {lost}")
    print(f"seconds: median {median(ordered):.2f}, p95 {ordered[int(0.95 * len(ordered))]:.2f}")
    for count, main, worker in grew:
        print(f"after {count:>4} photos: server {main:.0f} MB, largest worker {worker:.0f} MB")
    return int(good + busy != phones * each or lost > 0 or not alive)


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
