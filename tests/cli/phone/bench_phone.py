"""The phone page, measured: ``python tests/cli/phone/bench_phone.py times|load|shrink|kills ...``.

``times PHOTO``: from the photo sent over loopback to the nudge and its picture received, at 12
megapixels, beside decoding the same bytes, in turns. ``load``: 30 phones that send 10 photos each;
answers, "busy", seconds, memory of the server and its workers. ``memory PHOTO``: a worker's peak at
12 megapixels. ``kills``: one book, a server after the other killed in the middle. ``shrink
FOLDER...``: photos with a .dat beside them, and drawn pages, read as they are, as the worker does,
and brought down to several longest sides as the page's script does: what the reader minds.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[2]))
from figures import note
from shared_phone import FIXTURES, Phone, Served, children, killed, served

from papernudge.cli.base.exits import Stop
from papernudge.cli.phone import work
from papernudge.hints import solve
from papernudge.vision.read import read_page

SIDES = (2400, 1800, 1200)
AS_IT_IS = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
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
    cv2.imdecode(np.frombuffer(data, np.uint8), AS_IT_IS)
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


def memory(process: int, what: str = "VmRSS") -> float:
    """Resident megabytes, or their peak (VmHWM)."""
    for line in Path(f"/proc/{process}/status").read_text("utf-8").splitlines():
        if line.startswith(what):
            return int(line.split()[1]) / 1024
    return 0.0


def peaks(photo: Path) -> int:
    """The table of ``memory``: each of the worker's ways with a photo, none of them seen before."""
    data = grown(photo, 12_000_000)
    plain = cv2.imencode(".png", cv2.imdecode(np.frombuffer(data, np.uint8), AS_IT_IS))[1]
    worst = 0.0
    with served() as server:
        phone = server.phone()
        for name, bytes_ in (("JPEG", data), ("PNG, the other decoder", plain.tobytes())):
            for turn in range(8):
                at = phone.send_bytes(bytes_ + bytes([turn]))
                phone.press(at, do="more")
                phone.press(at, do="check")
                phone.ask(f"{at.url}/grids")
                phone.ask(f"{at.url}/block/5")
            peak = max(memory(pid, "VmHWM") for pid in children(server.process.pid))
            print(f"after 8 photos of 12 megapixels, {name}: a worker's peak {peak:.0f} MB")
            worst = max(worst, peak)
    return int(worst > 400)


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
            # The last two answers are still there, word for word; of those before only what all
            # phones together may keep.
            return sum(phone.ask(reply.url).text != reply.text for reply in shown[-2:])

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


@dataclass(frozen=True)
class Meant:
    """What a grid of a photo shows. ``corners``: (4, 2), pixels, None where nobody measured."""

    digits: str
    corners: Any = None
    cell: float = 0.0

    def found(self, grids: list[Any], scale: float) -> Any:
        """The grid that is meant, of those read on the photo brought down by ``scale``."""
        if self.corners is None:
            return max(grids, key=self._likeness, default=None)
        near = 0.5 * self.cell * scale
        corners = (self.corners + 0.5) * scale - 0.5
        return next(
            (g for g in grids if np.linalg.norm(g.corners - corners, axis=1).max() < near), None
        )

    def _likeness(self, grid: Any) -> int:
        return sum(str(c.digit or ".") == t for c, t in zip(grid.cells, self.digits, strict=True))


Taken = Iterator[tuple[bytes, list[Meant]]]


def given(folder: Path) -> Taken:
    """Photos with a .dat beside them, as they are."""
    for path in sorted(folder.glob("*.jpg")):
        rows = path.with_suffix(".dat").read_text("utf-8").split("\n")[2:11]
        digits = "".join(d if d != "0" else "." for row in rows for d in row.split())
        yield path.read_bytes(), [Meant(digits)]


def drawn(name: str, pages: int, start: int = 88_000_000) -> Taken:
    """Drawn pages of twelve megapixels, by typefaces and writers that no model saw."""
    from papernudge.digits_model.training.pages import draw, preset

    for seed in range(start, start + pages):
        spec = preset(name, seed, split="test", grids=(1, 1, 2, 6)[seed % 4])
        grow = (12_000_000 / (spec.width * spec.height)) ** 0.5
        spec = replace(spec, width=round(spec.width * grow), height=round(spec.height * grow))
        page = draw(spec)
        how = [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
        data = cv2.imencode(".jpg", page.image, how)[1].tobytes()
        meant = [
            Meant("".join(str(c.digit or ".") for c in g.cells), g.corners, g.cell_px)
            for g in page.truth.grids
            if g.kind == "puzzle"
        ]
        yield data, meant


def brought(data: bytes, side: int) -> tuple[Any, float]:
    """Read as the page's script sends it: brought down to a longest side, and by how much."""
    photo = cv2.imdecode(np.frombuffer(data, np.uint8), AS_IT_IS)
    scale = min(1.0, side / max(photo.shape[:2]))
    if scale < 1:
        photo = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        data = cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
        photo = cv2.imdecode(np.frombuffer(data, np.uint8), AS_IT_IS)
    return read_page(photo, solve=solve), scale


def looked(data: bytes, _: int) -> tuple[Any, float]:
    """Read as the page's worker does."""
    try:
        page = work._read(data)
    except Stop:
        return None, 1.0
    assert page.photo is not None
    return page.reading, 1 / page.photo.reduced


def shrink(folders: list[Path], pages: int) -> int:
    """The table of ``shrink``."""
    ways = [("as it is", brought, 99_999), ("half first", looked, 0)]
    ways += [(f"to {side}", brought, side) for side in SIDES]
    sources = [(folder.name, lambda folder=folder: given(folder)) for folder in folders]
    sources += [
        (f"drawn {name}", lambda name=name: drawn(name, pages))
        for name in ("newspaper", "hard")
        if pages
    ]
    print(f"{'':16} {'':10} {'grids':>6} {'right':>6} {'unread':>7} {'silent':>7} {'doubts':>7}")
    for name, photos in sources:
        sums = {way: [0] * 5 for way, _, _ in ways}
        for data, meant in photos():
            for way, read, side in ways:
                page, scale = read(data, side)
                grids = [g for g in page.grids if g.cells] if page else []
                for one in meant:
                    grid = one.found(grids, scale)
                    tally = sums[way]
                    tally[0] += 1
                    if grid is None:
                        tally[2] += 1
                        continue
                    wrong = {
                        c for c in range(81) if str(grid.cells[c].digit or ".") != one.digits[c]
                    }
                    tally[1] += not wrong
                    tally[3] += len(wrong - {d.cell for d in grid.doubts})
                    tally[4] += len(grid.doubts)
        for way, tally in sums.items():
            told = "".join(f" {n:>{w}}" for n, w in zip(tally, (6, 6, 7, 7, 7), strict=True))
            print(f"{name:16} {way:>10}{told}", flush=True)
            keys = ("grids", "right", "unread", "silent", "doubts")
            note("shrink", set=name, way=way, **dict(zip(keys, tally, strict=True)))
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
    one.add_argument("folders", type=Path, nargs="*")
    one.add_argument("--pages", type=int, default=0, help="drawn ones of each preset")
    one = commands.add_parser("memory")
    one.add_argument("photo", type=Path)
    words = parser.parse_args()
    if words.command == "times":
        return times(words.photo, words.turns)
    if words.command == "kills":
        return kills(words.times)
    if words.command == "load":
        return load(words.phones, words.each)
    if words.command == "memory":
        return peaks(words.photo)
    return shrink(words.folders, words.pages)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
