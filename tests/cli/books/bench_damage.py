"""Damaged books: ``python tests/cli/books/bench_damage.py [BOOKS] [SEED]``; 200 books if unsaid.

A book of eight drawn pages, a misprint and a correction among them, is damaged in one way each
time: bits, bytes and digits flipped, in lines too, pages zeroed, swapped, or taken from an earlier
state, the file cut or grown; the same in the log that a killed run leaves beside it, with two pages
and a correction in it. Every export is then the same as before, or the command says what is
damaged; what it writes holds no row that the whole book, or the one before the killed run, does not
hold. Afterwards ``digitise`` with the pages must bring the same export back, or say what it can't.
``drill`` is given the damaged book too. Prints a table; exit code 1 if a row was wrong in silence,
or anything ended with 70.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

from small_pages import small_pages

from papernudge.cli.app import run
from papernudge.cli.books.book import Book

PAGE = 4096
Damage = Callable[[bytearray, random.Random], str]


def _at(data: bytearray, dice: random.Random) -> int:
    return dice.randrange(len(data))


def bit(data: bytearray, dice: random.Random) -> str:
    data[_at(data, dice)] ^= 1 << dice.randrange(8)
    return "one bit"


def some_bytes(data: bytearray, dice: random.Random) -> str:
    for _ in range(dice.choice((1, 1, 4, 32))):
        data[_at(data, dice)] = dice.randrange(256)
    return "1 to 32 bytes"


def head(data: bytearray, dice: random.Random) -> str:
    data[dice.randrange(min(len(data), 100))] ^= 1 << dice.randrange(8)
    return "one bit of the head"


def text_byte(data: bytearray, dice: random.Random) -> str:
    """In a digit line, a name, a word, a list: where it reads as well as before."""
    found = [m.span() for m in re.finditer(rb'[1-9.]{60,}|[a-z-]{4,}|"[a-z]+"|R\dC\d', bytes(data))]
    start, end = dice.choice(found)
    at = dice.randrange(start, end)
    data[at] = ord(dice.choice("123456789.")) if data[at : at + 1].isdigit() else data[at] ^ 1
    return "a letter or digit of text"


def line_digit(data: bytearray, dice: random.Random) -> str:
    found = [m.start() for m in re.finditer(rb"[1-9.]{81}", bytes(data))]
    at = dice.choice(found) + dice.randrange(81)
    data[at] = ord(dice.choice("123456789."))
    return "a digit in a line"


def zeroed(data: bytearray, dice: random.Random) -> str:
    at = dice.randrange(max(1, len(data) // PAGE)) * PAGE
    size = dice.choice((PAGE, PAGE, 512))
    data[at : at + size] = bytes(len(data[at : at + size]))
    return "a page or sector of zeros"


def swapped(data: bytearray, dice: random.Random) -> str:
    pages = max(2, len(data) // PAGE)
    one, two = (dice.randrange(pages) * PAGE for _ in range(2))
    first, second = data[one : one + PAGE], data[two : two + PAGE]
    data[one : one + PAGE], data[two : two + PAGE] = second, first
    return "two pages swapped"


def doubled(data: bytearray, dice: random.Random) -> str:
    pages = max(2, len(data) // PAGE)
    one, two = (dice.randrange(pages) * PAGE for _ in range(2))
    data[one : one + PAGE] = data[two : two + PAGE]
    return "a page over another"


def cut(data: bytearray, dice: random.Random) -> str:
    del data[dice.choice((_at(data, dice), _at(data, dice) // PAGE * PAGE)) :]
    return "cut off"


def grown(data: bytearray, dice: random.Random) -> str:
    data += dice.randbytes(dice.choice((1, 100, PAGE, 3 * PAGE)))
    return "grown"


WAYS: tuple[Damage, ...] = (
    bit, some_bytes, head, text_byte, text_byte, line_digit, line_digit, zeroed, swapped, doubled,
    cut, grown,
)  # fmt: skip


def stale(earlier: bytes) -> Damage:
    def taken(data: bytearray, dice: random.Random) -> str:
        at = dice.randrange(1, min(len(data), len(earlier)) // PAGE) * PAGE
        data[at : at + PAGE] = earlier[at : at + PAGE]
        return "a page of an earlier state"

    return taken


class Ran:
    """One command in this process: its exit code and what it printed on standard error."""

    def __init__(self, *words: object) -> None:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            self.code = run([str(word) for word in words])
        self.out, self.err = out.getvalue(), err.getvalue()


def made(desk: Path) -> tuple[Path, Path, bytes]:
    """The folder of pages, the book, and its bytes at an earlier time. The last run, with two pages
    and a correction, is also kept as it lies in the log: ``logged.book``.
    """
    pages = desk / "small"
    small_pages(desk, 8)
    fixtures = Path(__file__).resolve().parents[3] / "fixtures"
    shutil.copy(fixtures / "misprint.jpg", pages)
    book = desk / "whole.book"
    files = sorted(pages.iterdir())
    assert Ran("digitise", *files[:-2], "--book", book).code == 0
    earlier = book.read_bytes()
    rows = _exported(book, desk)[1]
    row = next(json.loads(line) for line in rows.splitlines() if b'"clean"' in line)
    cell = row["givens"].index(".")
    said = f"{row['id']}:R{cell // 9 + 1}C{cell % 9 + 1}={row['solution'][cell]}"
    close = Book.close

    def copied(self: Book) -> None:
        for ending in ("", "-wal"):
            shutil.copy(f"{book}{ending}", f"{desk / 'logged.book'}{ending}")
        close(self)

    Book.close = copied  # type: ignore[method-assign]
    try:
        assert Ran("digitise", pages, "--book", book, "--assume", said).code == 0
    finally:
        Book.close = close  # type: ignore[method-assign]
    return pages, book, earlier


def _exported(book: Path, desk: Path) -> tuple[Ran, bytes]:
    out = desk / "out.jsonl"
    out.unlink(missing_ok=True)
    ran = Ran("export", book, "--to", out)
    return ran, out.read_bytes() if out.exists() else b""


SAID = re.compile(r"damaged|cut short|not finished|no book|can't be|is not a book|newer")


def judge(ran: Ran, found: bytes, whole: bytes, before: bytes) -> str:
    """What an export of a damaged book came to."""
    if ran.code == 70 or "Traceback" in ran.err:
        return "FAULT"
    if found == whole:
        return "the same" if not SAID.search(ran.err) else "the same, and said"
    if not SAID.search(ran.err):
        return "WRONG IN SILENCE"
    rows = {_plain(line) for line in (whole + before).splitlines()}
    if all(_plain(line) in rows for line in found.splitlines()):
        return "said, rows left out" if found else "said, nothing written"
    return "SAID, BUT A ROW IS WRONG"


def _plain(line: bytes) -> str:
    """A row without the link to a twin, which may be among what is left out, and without the
    file's name where damage has cost it."""
    row = json.loads(line)
    return json.dumps({k: v for k, v in row.items() if k not in ("same_as", "source")})


def main() -> int:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    came: dict[str, Counter[str]] = {}
    mended: Counter[str] = Counter()
    drilled: Counter[str] = Counter()
    slowest = 0.0
    with tempfile.TemporaryDirectory() as name:
        desk = Path(name)
        pages, book, earlier = made(desk)
        whole = _exported(book, desk)[1]
        logged = desk / "logged.book"
        (desk / "earlier.book").write_bytes(earlier)
        before = _exported(desk / "earlier.book", desk)[1]
        shutil.copy(logged, desk / "l.book")
        shutil.copy(f"{logged}-wal", desk / "l.book-wal")
        assert _exported(desk / "l.book", desk)[1] == whole != before
        print(f"{len(whole.splitlines())} rows, {book.stat().st_size} bytes; seed {seed}")
        ways = (*WAYS, stale(earlier))
        for number in range(many):
            dice = random.Random(1000 * seed + number)
            in_log = number % 5 == 4
            spoilt = desk / f"spoilt-{number}.book"
            shutil.copy(logged if in_log else book, spoilt)
            target = Path(f"{spoilt}-wal") if in_log else spoilt
            if in_log:
                shutil.copy(f"{logged}-wal", target)
            data = bytearray(target.read_bytes())
            way = ways[number % len(ways)] if not in_log else dice.choice(WAYS)
            told = ("log: " if in_log else "") + way(data, dice)
            target.write_bytes(data)
            began = time.perf_counter()
            ran, found = (
                _exported(Path(shutil.copy(spoilt, desk / "x.book")), desk)
                if (not in_log)
                else _export_with_log(spoilt, desk)
            )
            slowest = max(slowest, time.perf_counter() - began)
            verdict = judge(ran, found, whole, before if in_log else b"")
            came.setdefault(told, Counter())[verdict] += 1
            if verdict.isupper() or verdict.startswith("SAID"):
                print(f"  {number} {told}: {verdict} ({ran.code}) {ran.err.strip()[-200:]}")
            drill = Ran(
                "drill", spoilt, "--reason", "hidden single", "--positions", 1, "--out",
                desk / "d.pdf",
            )  # fmt: skip
            drilled["fault" if drill.code == 70 else "said" if drill.code else "made"] += 1
            mended[_mended(spoilt, pages, desk, whole)] += 1
            for left in desk.glob("spoilt-*"):
                left.unlink()
            for left in desk.glob("x.book*"):
                left.unlink()
    for told, verdicts in sorted(came.items()):
        print(f"{told:<32}{', '.join(f'{n} {what}' for what, n in sorted(verdicts.items()))}")
    total = sum(came.values(), Counter())
    print(f"all: {', '.join(f'{n} {what}' for what, n in sorted(total.items()))}")
    print(f"after digitise with the pages: {dict(sorted(mended.items()))}")
    print(f"drill: {dict(sorted(drilled.items()))}; slowest export {slowest:.2f} s")
    bad = [
        w
        for w in (*total, *mended, *drilled)
        if w.isupper() or w.startswith("SAID") or "fault" in w
    ]
    return int(bool(bad))


def _export_with_log(book: Path, desk: Path) -> tuple[Ran, bytes]:
    there = Path(shutil.copy(book, desk / "x.book"))
    shutil.copy(f"{book}-wal", f"{there}-wal")
    return _exported(there, desk)


def _mended(book: Path, pages: Path, desk: Path, whole: bytes) -> str:
    """What the next run makes of the damaged book."""
    ran = Ran("digitise", pages, "--book", book, "--workers", 1)
    if ran.code == 70:
        print(f"  fault: {ran.err}")
        return "fault"
    after, found = _exported(book, desk)
    if after.code == 0 and found == whole:
        return "the same again" if ran.code == 0 else "the same again, and said"
    if ran.code == 0 and not SAID.search(ran.err + ran.out):
        kept = {_plain(line) for line in whole.splitlines()}
        odd = [line for line in found.splitlines() if _plain(line) not in kept]
        return "NOT THE SAME" if odd else "fewer rows"
    return "refused or told"


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        sys.exit(main())
