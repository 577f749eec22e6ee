"""What a newspaper archive costs to digitise: ``python tests/cli/books/bench_cost.py``.

Measures here what each part takes for a page, then says for 1 to 1,000 machines of this kind how
many hours ``--pages`` pages take by Dask, what stays on the disk, and what each part could carry:

- a machine reads cores / (processor seconds a page) pages a second;
- the scheduler hands out so many tasks a second, measured with ``--tasks`` empty pages, through
  the code that ``digitise --cluster`` runs, on a scheduler and two workers of many threads on
  loopback;
- the writer, one process, puts so many pages a second into a book, those that come back at once as
  one transaction, each transaction on the disk before the next;
- the line out of the machine that holds the photos carries ``--line`` gigabits a second.

What carries least is what breaks first. What was done about it: what comes back at once is fetched
and written at one go (beside it the table says what each alone would come to, of ``--alone``
pages); and several runs, each on a part of the archive with a book and a scheduler of its own
(``--runs``), share nothing.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
os.environ.setdefault("OMP_NUM_THREADS", "1")
THREADS = 32
"""Of each worker on loopback: empty pages wait, they don't work."""


def empty_page(task: Any) -> Any:
    """What the cluster does with a page here: nothing."""
    from papernudge.cli.books.rows import PageDone

    return PageDone(task.hash, task.number, "", "no grid")


def reading(folder: Path, many: int, fonts: bool) -> tuple[float, list[Any], int]:
    """Processor seconds a page of six grids, 3 megapixels; the pages as read; bytes a photo."""
    from bench_books import draw_book

    from papernudge.cli.books.rows import PageTask
    from papernudge.cli.books.work import one_thread, read_task

    one_thread()
    draw_book(folder, many, 0.0, fonts)
    photos = sorted(folder.glob("*.jpg"))
    tasks = [PageTask("0" * 64, 1, "photo", path.name, str(path)) for path in photos]
    read_task(tasks[0])  # loads the looks
    spent, done = [], []
    for task in tasks:
        began = time.process_time()
        done.append(read_task(task))
        spent.append(time.process_time() - began)
    size = sum(path.stat().st_size for path in photos) // many
    return statistics.mean(spent), done, size


def writing(path: Path, done: list[Any], many: int, at_once: int) -> tuple[float, float]:
    """Pages a second that the writer puts into a book, so many ``at_once``, and the bytes that each
    leaves there.
    """
    from papernudge.cli.books.book import Book
    from papernudge.cli.books.sources import Surveyed

    named = [hashlib.sha256(str(n).encode()).hexdigest() for n in range(many)]
    with Book.to_write(path) as book:
        book.note_sources([Surveyed(Path(n), n, "photo", 1, 1) for n in named])
        began = time.perf_counter()
        for start in range(0, many, at_once):
            with book.together():
                for number in range(start, min(start + at_once, many)):
                    book.write(replace(done[number % len(done)], hash=named[number]))
        rate = many / (time.perf_counter() - began)
    return rate, path.stat().st_size / many


@contextlib.contextmanager
def scheduler(folder: Path) -> Iterator[str]:
    """A scheduler and two workers on loopback; its address."""
    told = folder / "scheduler.json"
    dask = [sys.executable, "-m", "dask"]
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    quiet["env"] = os.environ | {"PYTHONPATH": str(HERE)}
    words = ["scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    started = [subprocess.Popen([*dask, *words, "--scheduler-file", str(told)], **quiet)]
    try:
        while not told.exists() or not told.read_text("utf-8"):
            time.sleep(0.1)
        address = str(json.loads(told.read_text("utf-8"))["address"])
        for _ in range(2):
            words = ["worker", address, "--nthreads", str(THREADS), "--no-nanny"]
            words += ["--no-dashboard", "--local-directory", str(folder)]
            started.append(subprocess.Popen([*dask, *words], **quiet))
        _until_there(address, 2)
        yield address
    finally:
        for process in reversed(started):
            process.kill()
            process.wait()


def _until_there(address: str, workers: int) -> None:
    """Waits for them longer than a user would, for this machine may be busy."""
    from distributed import Client

    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(workers, timeout=120)


def handing_out(folder: Path, many: int, at_once: int) -> float:
    """Empty pages a second, there and back, by what ``digitise --cluster`` runs, so many
    ``at_once`` at most: from the first that is back to the last.
    """
    import bench_cost  # by its own name, so that a worker finds what it is sent

    from papernudge.cli.books import cluster
    from papernudge.cli.books.rows import PageTask

    cluster.far_read = bench_cost.empty_page
    cluster.bare_task = lambda task: task
    cluster.AT_ONCE = at_once
    tasks = (PageTask(f"{n:064x}", 1, "photo", "page.jpg", "") for n in range(many))
    with scheduler(folder) as address:
        pages = cluster.on_cluster(tasks, address)
        first = len(next(pages))
        began = time.perf_counter()
        back = sum(map(len, pages))
        spent = time.perf_counter() - began
    assert first + back == many
    return back / spent


def tell(what: str, value: str) -> None:
    print(f"{what:<62}{value:>14}", flush=True)


def main() -> int:
    """Prints the measured figures, then the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pages", type=int, default=10_000_000)
    words.add_argument("--tasks", type=int, default=100_000)
    words.add_argument("--alone", type=int, default=2_000)
    words.add_argument("--drawn", type=int, default=12, help="pages that are read here")
    words.add_argument("--own", action="store_true", help="draw without typefaces")
    words.add_argument("--written", type=int, default=500, help="pages that are written here")
    words.add_argument("--cores", type=int, default=os.cpu_count() or 1, help="of a machine")
    words.add_argument("--line", type=float, default=1.0, help="gigabits a second")
    words.add_argument("--runs", type=int, nargs="+", default=[1, 10])
    told = words.parse_args()
    from papernudge.cli.books.cluster import AT_ONCE

    with tempfile.TemporaryDirectory() as name:
        desk = Path(name)
        (desk / "drawn").mkdir()
        work, done, photo = reading(desk / "drawn", told.drawn, not told.own)
        written, kept = writing(desk / "b.book", done, told.written, AT_ONCE)
        written_alone, _ = writing(desk / "alone.book", done, told.written, 1)
        handed_alone = handing_out(desk, told.alone, 1)
        (desk / "scheduler.json").unlink()
        began = time.perf_counter()
        handed = handing_out(desk, told.tasks, AT_ONCE)
        spent = time.perf_counter() - began
    line = told.line * 1e9 / 8 / photo
    tell("processor seconds a page, 3 megapixels, six grids", f"{work:.2f}")
    tell("bytes of a photo, MB", f"{photo / 1e6:.2f}")
    tell("written into one book, pages a second", f"{written:.0f}")
    tell("  when each waits for the disk alone", f"{written_alone:.0f}")
    tell("left in the book, kB a page", f"{kept / 1e3:.1f}")
    tell(f"handed out and taken back, of {told.tasks:,} empty pages, a second", f"{handed:.0f}")
    tell("  seconds that this took", f"{spent:.0f}")
    tell(f"  when each is fetched alone, of {told.alone:,}", f"{handed_alone:.0f}")
    tell(f"sent over {told.line:g} Gbit/s, pages a second", f"{line:.0f}")
    tell("load of the machine meanwhile", f"{os.getloadavg()[0]:.1f}")
    tell(f"the book of {told.pages:,} pages, GB", f"{told.pages * kept / 1e9:.0f}")
    tell("their photos, GB", f"{told.pages * photo / 1e9:.0f}")
    limits = {"the writer": written, "the scheduler": handed, "the line": line}
    print(f"\n{'machines':>8} {'runs':>5} {'pages/s wanted':>15} {'pages/s had':>12} {'hours':>9}")
    for machines in (1, 3, 10, 30, 100, 300, 1000):
        for runs in told.runs:
            if runs <= machines:
                wanted = machines * told.cores / work
                weakest = min(limits, key=lambda part: limits[part])
                had = min(wanted, runs * limits[weakest])
                hours = told.pages / had / 3600
                broken = f"  {weakest} is what holds it up" if had < wanted else ""
                print(f"{machines:>8} {runs:>5} {wanted:>15.1f} {had:>12.1f} {hours:>9.1f}{broken}")
    return 0


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
