"""What a book must hold, measured: ``python tests/cli/books/bench_books.py WHAT...``, see --help.

``real``: all photos of ``printed`` and ``mixed`` as one book: distinct puzzles against the truth
files, clean rows right, errors outside review, the share to review. The shipped digit model has
seen these photos in training, so this shows that the book is kept right, not how well a stranger's
page is read. ``drawn``: a drawn book, as photos and as one PDF. ``speed``: two workers against one.
``kills``: a run killed at random times. ``memory``: a worker's peak at 12 megapixels, and growth
over many pages. ``many``: memory and file along a run of, say, 5,000 pages. Prints a table; exit
code 1 if a limit is missed.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from small_pages import small_pages

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

Rows = list[dict[str, Any]]
missed: list[str] = []


def tell(what: str, value: object, limit: str = "", ok: bool = True) -> None:
    print(f"{what:<58}{value!s:>12}  {limit}{'' if ok else '  MISSED'}", flush=True)
    if not ok:
        missed.append(what)


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "papernudge.cli", *map(str, words)]


def digitised(book: Path, *words: object) -> float:
    """Seconds that a run took, the start of its process included."""
    began = time.perf_counter()
    done = subprocess.run(
        command("digitise", "--book", book, *words), capture_output=True, text=True, check=False
    )
    if done.returncode not in (0, 5):
        raise SystemExit(done.stderr)
    return time.perf_counter() - began


def processor() -> float:
    """Processor seconds of all processes that were started here and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def exported(book: Path) -> bytes:
    out = book.with_suffix(".jsonl")
    subprocess.run(command("export", book, "--to", out, "--force"), check=True, capture_output=True)
    return out.read_bytes()


def rows_of(book: Path) -> Rows:
    return [json.loads(line) for line in exported(book).decode("utf-8").splitlines()]


# ---------------------------------------------------------------- the real photos


def dat(path: Path) -> str:
    lines = path.read_text("utf-8").split("\n")[2:11]
    return "".join(digit for line in lines for digit in line.split()).replace("0", ".")


def merged(row: dict[str, Any]) -> str:
    return "".join(e if g == "." else g for g, e in zip(row["givens"], row["entries"], strict=True))


def real(data: Path, desk: Path) -> None:
    from papernudge.hints.canonical import canonical
    from papernudge.hints.solver import solve

    photos = data / "photos"
    printed = {p.stem: dat(p) for p in sorted((photos / "printed").glob("*.dat"))}
    mixed = {p.stem: dat(p) for p in sorted((photos / "mixed").glob("*.dat"))}
    # A mixed photo's file tells the solution alone, which names the puzzle just as well.
    truth = {solve(givens) or "" for givens in printed.values()} | set(mixed.values())
    forms = {canonical(givens) for givens in printed.values()}
    book = desk / "real.book"
    spent = digitised(book, photos / "printed", photos / "mixed")
    files = {}
    import hashlib

    for folder, told in (("printed", printed), ("mixed", mixed)):
        for stem in told:
            content = (photos / folder / f"{stem}.jpg").read_bytes()
            files[hashlib.sha256(content).hexdigest()[:16]] = (folder, stem)
    found = [row for row in rows_of(book) if row["status"] != "left out"]
    wrong_clean, wrong_review, beside, review = [], 0, 0, 0
    clean_forms, solutions = set(), set()
    seen = set()
    for row in found:
        folder, stem = files[row["id"][:16]]
        right = is_right(row, folder, stem, printed, mixed)
        review += row["status"] == "review"
        if right is None:
            beside += 1
            continue
        seen.add((folder, stem))
        solutions.add(row["solution"])
        if row["status"] == "clean":
            if folder == "printed":
                clean_forms.add(canonical(row["givens"]))
            if not right:
                wrong_clean.append((folder, stem))
        elif not right:
            wrong_review += 1
    print(f"photos {len(printed)} printed + {len(mixed)} mixed; the digit model has seen them")
    tell("puzzles found, of so many photos", len(found), f"{len(files)}")
    tell("photos whose puzzle has no row", len(files) - len(seen), "0", len(files) == len(seen))
    tell("rows of other puzzles in the frame", beside)
    alike = solutions == truth
    tell("distinct puzzles, by solution", len(solutions), f"{len(truth)}", alike)
    same = clean_forms == forms
    tell("  up to symmetry, printed ones", len(clean_forms), f"{len(forms)}", same)
    tell("clean rows that are wrong", len(wrong_clean), "0", not wrong_clean)
    for folder, stem in wrong_clean:
        print(f"    {folder}/{stem}")
    tell("rows to review", review)
    share = 100 * review / len(found)
    tell("  share, %", f"{share:.1f}", "<= 5", share <= 5)
    tell("  of them wrong", wrong_review)
    tell("seconds, all", f"{spent:.1f}")


def is_right(
    row: dict[str, Any], folder: str, stem: str, printed: dict[str, str], mixed: dict[str, str]
) -> bool | None:
    """Whether a row says what its photo shows; None for a row of another puzzle in the frame."""
    if folder == "printed":
        told = printed[stem]
        if row["givens"] == told and row["entries"] == "." * 81:
            return True
        agree = sum(a == b != "." for a, b in zip(row["givens"], told, strict=True))
        return False if agree >= 0.5 * (81 - told.count(".")) else None
    full = merged(row)
    agree = sum(a == b for a, b in zip(full, mixed[stem], strict=True))
    if agree < 40:
        return None
    givens = printed.get(stem)
    return full == mixed[stem] and (givens is None or row["givens"] == givens)


# ---------------------------------------------------------------- a drawn book


def draw_book(folder: Path, pages: int, fill: float, fonts: bool) -> dict[str, list[str]]:
    """Pages of six grids with curl towards a gutter and its shade; name to its givens in order."""
    import cv2

    from papernudge.digits_model.training.pages import draw, preset
    from papernudge.digits_model.training.pages.own import OwnSupplies

    truth = {}
    for seed in range(pages):
        spec = preset(
            "easy", seed, split="test", width=1500, height=2000, focus="page", grids=6,
            share=0.92, off_x=0.0, off_y=0.0, cut="", neighbours=0.0, fill=fill, curl=0.25,
            curl_kind="gutter", curl_axis=0.0, gradient=0.3, gradient_to=0.0, vignette=0.1,
        )  # fmt: skip
        page = draw(spec) if fonts else draw(spec, OwnSupplies())
        name = f"page-{seed + 1:03}.jpg"
        cv2.imwrite(str(folder / name), page.image, [cv2.IMWRITE_JPEG_QUALITY, 90])
        truth[name] = [
            "".join(str(c.digit) if c.kind == "given" else "." for c in g.cells)
            for g in page.truth.grids
            if g.kind == "puzzle"
        ]
    return truth


def judge_drawn(what: str, found: Rows, truth: list[list[str]], page_of: Any) -> None:
    many = sum(map(len, truth))
    right = wrong = review = strange = 0
    for row in found:
        if row["status"] == "left out":
            continue
        lines = truth[page_of(row)]
        if row["status"] == "review":
            review += 1
        elif row["givens"] in lines:
            right += 1
        elif row["solutions"] == "one":
            wrong += 1
            print(f"    wrong: {row['source']} page {row['page']} grid {row['grid']}")
        else:
            strange += 1
    share = 100 * right / many
    tell(f"{what}: grids drawn", many)
    tell(f"{what}: clean and right, %", f"{share:.2f}", ">= 99.5", share >= 99.5)
    tell(f"{what}: clean and wrong", wrong + strange, "0", wrong + strange == 0)
    tell(f"{what}: to review", review)
    tell(f"{what}: no row", many - right - wrong - review - strange)


def drawn(pages: int, fill: float, fonts: bool, desk: Path) -> None:
    folder = desk / "drawn"
    folder.mkdir()
    truth = draw_book(folder, pages, fill, fonts)
    names = sorted(truth)
    lines = [truth[name] for name in names]
    spent = digitised(desk / "photos.book", folder)
    judge_drawn(
        "photos", rows_of(desk / "photos.book"), lines, lambda row: names.index(row["source"])
    )
    tell("photos: pages a second at 3.0 megapixels", f"{pages / spent:.1f}")
    pdf_of(folder, names, desk / "one.pdf")
    digitised(desk / "pdf.book", desk / "one.pdf")
    judge_drawn("one PDF", rows_of(desk / "pdf.book"), lines, lambda row: row["page"] - 1)
    left, right = (
        sorted((row["givens"] or "") for row in rows_of(desk / name))
        for name in ("photos.book", "pdf.book")
    )
    tell("photos and PDF say the same", left == right, "True", left == right)


def pdf_of(folder: Path, names: list[str], path: Path) -> None:
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(str(path), pagesize=(450, 600), invariant=1)
    for name in names:
        canvas.drawImage(str(folder / name), 0, 0, 450, 600)
        canvas.showPage()
    canvas.save()


# ---------------------------------------------------------------- speed, kills, memory


def copies(photos: list[Path], many: int, folder: Path) -> None:
    """So many files of different content that show these photos."""
    folder.mkdir()
    for number in range(many):
        target = folder / f"{number:05}.jpg"
        shutil.copy(photos[number % len(photos)], target)
        with target.open("ab") as file:
            file.write(number.to_bytes(4, "little"))


def some_pages(desk: Path, many: int = 8) -> list[Path]:
    folder = desk / "some"
    folder.mkdir(exist_ok=True)
    draw_book(folder, many, 0.0, False)
    return sorted(folder.glob("*.jpg"))


def speed(pages: int, turns: int, desk: Path) -> None:
    """Work alone, without the start of the processes: each worker's own clock would hide waiting,
    so the best of ``turns`` long runs is timed against the best of as many short ones. Say
    --pages 24 or more: the difference must be far longer than the machine's noise.

    On a machine that others use too the clock tells what they left over. Processor time is what
    the work itself costs: as many times more of it with two workers is what they lose to each
    other and to the writer. And a worker that waits gives the processor up of its own will.
    """
    photos = some_pages(desk, 4)
    copies(photos, pages, desk / "long")
    copies(photos, 4, desk / "short")
    clock: dict[tuple[int, str], float] = {}
    cost: dict[tuple[int, str], float] = {}
    for turn in range(turns):
        for workers in (1, 2):
            for length in ("long", "short"):
                book = desk / f"{length}-{workers}-{turn}.book"
                used = processor()
                spent = digitised(book, desk / length, "--workers", workers)
                used = processor() - used
                at = (workers, length)
                clock[at] = min(clock.get(at, 1e9), spent)
                cost[at] = min(cost.get(at, 1e9), used)
    rate = {n: (pages - 4) / (clock[n, "long"] - clock[n, "short"]) for n in (1, 2)}
    each = {n: (cost[n, "long"] - cost[n, "short"]) / (pages - 4) for n in (1, 2)}
    ratio = rate[2] / rate[1]
    tell("pages a second, 3.0 megapixels, six grids, 1 worker", f"{rate[1]:.2f}")
    tell("  2 workers", f"{rate[2]:.2f}")
    tell("  ratio", f"{ratio:.2f}", ">= 1.8", ratio >= 1.8)
    tell("processor seconds a page, 1 worker", f"{each[1]:.3f}")
    tell("  2 workers, writer and all", f"{each[2]:.3f}")
    tell("  so two free cores would give a ratio of", f"{2 * each[1] / each[2]:.2f}", ">= 1.8")
    words = ["digitise", "--book", desk / "share.book", desk / "long", "--workers", 2]
    done = subprocess.run(
        [sys.executable, "-c", _SHARE, *map(str, words)], capture_output=True, text=True, check=True
    )
    parent, workers_took, waits = map(float, done.stdout.split()[-3:])
    tell("the writer's share of the processor, %", f"{100 * parent / (parent + workers_took):.1f}")
    tell("times that a worker gave the processor up, a page", f"{waits / pages:.1f}")
    load = os.getloadavg()[0]
    tell("load of the machine meanwhile (cores)", f"{load:.1f}", f"({os.cpu_count()})")


def kills(pages: int, times: int, desk: Path) -> None:
    photos = small_pages(desk)
    copies(photos, pages, desk / "shelf")
    spent = digitised(desk / "calm.book", desk / "shelf", "--workers", 2)
    calm = exported(desk / "calm.book")
    chance = random.Random(30)
    alike = whole = landed = 0
    for number in range(times):
        book = desk / f"killed-{number}.book"
        run = subprocess.Popen(
            command("digitise", "--book", book, desk / "shelf", "--workers", 2),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        with contextlib.suppress(subprocess.TimeoutExpired):
            run.wait(chance.uniform(0.3, 0.9 * spent))
        landed += run.poll() is None
        run.send_signal(signal.SIGKILL)
        run.wait()
        whole += not book.exists() or sound(book)
        digitised(book, desk / "shelf", "--workers", 2)
        alike += exported(book) == calm
    tell(f"runs of {pages} pages killed at random times", times)
    tell("  of them before their end", landed)
    tell("  book sound right after the kill", whole, f"{times}", whole == times)
    tell("  export the same after the next run", alike, f"{times}", alike == times)


def sound(book: Path) -> bool:
    import sqlite3

    with contextlib.closing(sqlite3.connect(book)) as sql:
        return bool(sql.execute("PRAGMA integrity_check").fetchone() == ("ok",))


def memory(pages: int, desk: Path) -> None:
    """Reads 12-megapixel pages in one worker's way, watching its resident memory."""
    import cv2
    import numpy as np

    folder = desk / "large"
    folder.mkdir()
    (photo,) = some_pages(desk, 1)
    large = cv2.resize(cv2.imread(str(photo)), (3024, 4032), interpolation=cv2.INTER_CUBIC)
    noisy = large + np.random.default_rng(1).normal(0, 3, large.shape)
    cv2.imwrite(str(folder / "large.jpg"), np.clip(noisy, 0, 255).astype(np.uint8))
    for name, path, many, limit in (
        ("12 megapixels", folder / "large.jpg", min(pages, 20), 400),
        ("3 megapixels", photo, pages, 400),
    ):
        done = subprocess.run(
            [sys.executable, "-c", _WATCH, str(path), str(many)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        *looks, peak = map(float, done.stdout.split())
        tell(f"{name}: worker's peak, MB", f"{peak:.0f}", f"<= {limit}", peak <= limit)
        # Two single looks differ by what one page happens to hold: a slope through many does not.
        settled = np.array(looks[max(1, many // 5) :])
        pages_read = np.arange(len(settled))
        rise = float(np.median(_slopes(pages_read, settled))) * max(1, len(settled) - 1)
        tell(f"{name}: looks at its memory, after each page", len(looks))
        tell("  least, middle, most after a fifth of them, MB", _three(settled))
        tell("  their rise from first to last (Theil-Sen), MB", f"{rise:.1f}", "< 20", rise < 20)


def _slopes(x: Any, y: Any) -> Any:
    """Of the lines through each two looks (Theil 1950, Sen 1968): their middle heeds no outlier."""
    import numpy as np

    i, j = np.triu_indices(len(x), 1)
    return (y[j] - y[i]) / (x[j] - x[i]) if len(i) else np.zeros(1)


def _three(looks: Any) -> str:
    import numpy as np

    return ", ".join(f"{value:.0f}" for value in np.percentile(looks, [0, 50, 100]))


def many(pages: int, desk: Path) -> None:
    """Fifty pictures as very many files, through the workers: memory and the book along the way."""
    photos = small_pages(desk, 50)
    copies(photos, pages, desk / "shelf")
    every = max(1, pages // 10)
    began, spent = time.perf_counter(), processor()
    script = Path(__file__).with_name("many_pages.py")
    print("     pages   parent MB   worker MB     book MB")
    seen: list[tuple[int, float, float, float]] = []
    words = [sys.executable, str(script), str(desk / "shelf"), str(desk / "b.book"), str(every)]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as run:
        for line in run.stdout or ():
            told = line.split()
            if len(told) == 4 and told[0].isdigit():
                parent, worker, size = map(float, told[1:])
                seen.append((int(told[0]), parent, worker, size))
                print("{:>10}{:>12.1f}{:>12.1f}{:>12.1f}".format(*seen[-1]), flush=True)
    if run.returncode:
        raise SystemExit(f"the run ended with {run.returncode}")
    second, last = seen[1], seen[-1]
    for what, at in (("parent", 1), ("largest worker", 2)):
        growth = max(row[at] for row in seen[2:]) - second[at]
        head = f"{what}: growth after page {second[0]}, MB"
        tell(head, f"{growth:.1f}", "< 20", growth < 20)
    early, late = (1000 * row[3] / row[0] for row in (second, last))
    tell("book: kB a page at the same two points", f"{early:.1f}, {late:.1f}")
    tell("rows", len(rows_of(desk / "b.book")), f"{pages}")
    tell("seconds", f"{time.perf_counter() - began:.0f}", f"load {os.getloadavg()[0]:.1f}")
    tell("  of processor", f"{processor() - spent:.0f}")


_SHARE = """
import resource, sys
from papernudge.cli.app import run
if __name__ == "__main__":
    assert run(sys.argv[1:]) == 0
    own, theirs = (resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(own.ru_utime + own.ru_stime, theirs.ru_utime + theirs.ru_stime, theirs.ru_nvcsw)
"""

_WATCH = """
import resource, sys
from papernudge.cli.books.rows import PageTask
from papernudge.cli.books.work import one_thread, read_task
one_thread()
path, many = sys.argv[1], int(sys.argv[2])
def now():
    return int(open("/proc/self/statm").read().split()[1]) * resource.getpagesize() / 1e6
looks = []
for number in range(many):
    done = read_task(PageTask("0" * 64, 1, "photo", "page.jpg", path))
    assert done.state == "read", done
    looks.append(now())
# Not ru_maxrss: that one starts with the parent's.
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(*looks, int(peak.split()[1]) * 1.024e-3)
"""


def main() -> int:
    """Prints the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument(
        "what", choices=("real", "drawn", "speed", "kills", "memory", "many"), nargs="+"
    )
    data = Path(os.environ.get("PAPERNUDGE_DATA", "../shared/data"))
    words.add_argument("--data", type=Path, default=data)
    words.add_argument("--pages", type=int, default=200)
    words.add_argument("--fill", type=float, default=0.0)
    words.add_argument("--times", type=int, default=30)
    words.add_argument("--turns", type=int, default=5, help="of speed")
    words.add_argument("--own", action="store_true", help="draw without typefaces")
    told = words.parse_args()
    for what in told.what:
        with tempfile.TemporaryDirectory() as name:
            desk = Path(name)
            print(f"--- {what}", flush=True)
            if what == "real":
                real(told.data, desk)
            elif what == "drawn":
                drawn(told.pages, told.fill, not told.own, desk)
            elif what == "speed":
                speed(told.pages, told.turns, desk)
            elif what == "kills":
                kills(told.pages, told.times, desk)
            elif what == "memory":
                memory(told.pages, desk)
            else:
                many(told.pages, desk)
    return int(bool(missed))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
