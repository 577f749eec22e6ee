"""``papernudge drill``: positions from a book, a file of lines or our own puzzles, on paper."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isqrt
from pathlib import Path

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import BOOK_FILES, MOST_LINES, Named, keep_apart, open_regular
from papernudge.cli.base.say import say, short, visible, warn
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.sheets.code import Task
from papernudge.cli.terminal.sources import boards_of
from papernudge.hints.catalogue import Run, counted, message
from papernudge.hints.drilling import Drill, Reason
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS
from papernudge.hints.registry import PRACTISED
from papernudge.hints.shapes import ShapeError, of_options
from papernudge.vision.failure import said_by_system

_BOOK = b"SQLite format 3\0"
_LONGEST = 10_000
"""More characters than a line of 81 and its blanks are taken for another line: a file without line
breaks is never held whole."""


@dataclass(frozen=True)
class DrillWishes:
    """What was asked for. ``source`` None: our own puzzles. ``scan``: minutes, 0 for drills.
    ``named``: the board that was asked for, None where none was.
    """

    source: Path | None
    out: Path
    reasons: Sequence[str]
    positions: int
    each: int
    paper: str
    seed: int
    scan: int
    named: Layout | None = None

    @cached_property
    def layout(self) -> Layout:
        """The board that is drilled: the one that was named, else that of the first puzzle in a
        file of lines, else the newspaper's.
        """
        if self.named is None and self.source is not None and not _is_book(self.source):
            return next((layout for _, layout in _from_text(self.source, NEWSPAPER)), NEWSPAPER)
        return self.named or NEWSPAPER


def run_drill(wishes: DrillWishes) -> int:
    """Finds, draws and writes a sheet. Stop (2) where words are off or nothing is found, (4) where
    no puzzle has one solution, (5) for files.
    """
    from papernudge.cli.base.files import write_whole
    from papernudge.cli.sheets.sheet import drawn, pages_of

    if wishes.out.suffix.lower() != ".pdf":
        raise bad_words("out ends in pdf", got=short(str(wishes.out)))
    if wishes.source is not None:
        source = Named(message("the source itself"), wishes.source)
        keep_apart([source, *source.beside(*BOOK_FILES)], [Named("--out SHEET", wishes.out)])
    if wishes.scan:
        if wishes.reasons:
            raise bad_words("scan asks for any")
        tasks = _scans(wishes)
        title = in_words("scan")
    else:
        reasons = _reasons(wishes.reasons)
        tasks = _drills(wishes, reasons)
        listed = spoken().chained("listed", [one.said(spoken()) for one in reasons])
        title = in_words("practice of", reasons=listed)
    each = 1 if wishes.scan else wishes.each
    pages = pages_of(tasks, each, wishes.paper, wishes.scan, wishes.layout)
    write_whole(wishes.out, drawn(pages, title if len(title) <= 52 else in_words("practice")))
    sheet = pages[0].name.split("-")[0]
    say(in_words_of("sheet written", len(tasks), path=wishes.out, sheet=sheet))
    if wishes.layout is not NEWSPAPER:
        warn(in_words("sheet without a code"))
    return int(Exit.DONE)


def _reasons(texts: Sequence[str]) -> list[Reason]:
    if not texts:
        raise bad_words("say what to practise")
    return [_reason(text) for text in texts]


def _reason(text: str) -> Reason:
    try:
        return Reason.parse(text)
    except ValueError as error:
        raise bad_words("no such reason", names=Run(PRACTISED), got=repr(text)) from error


def _drills(wishes: DrillWishes, reasons: Sequence[Reason]) -> list[Task]:
    from papernudge.hints.drilling import find_drills

    drills: list[Drill] = []
    if wishes.source is None and wishes.layout is NEWSPAPER:
        _must_come_first(reasons)
    for reason in reasons:
        # Of our own puzzles there are plenty: one that was asked about already is left out.
        used = {drill.puzzle for drill in drills} if wishes.source is None else set()
        puzzles = (line for line in _puzzles(wishes, reason) if line not in used)
        found = find_drills(puzzles, reason, wishes.positions, wishes.seed, wishes.layout)
        if len(found) < wishes.positions:
            warn(_too_few(reason, len(found), wishes))
        shared = sum(not drill.alone for drill in found)
        if shared:
            of = {"reason": reason.said(spoken()), "shared": shared, "found": len(found)}
            warn(in_words("another step is as easy", **of))
        drills += found
    if not drills:
        asked = [reason.said(spoken()) for reason in reasons]
        raise bad_words("no position asks for", reasons=spoken().chained("or else", asked))
    return [
        Task(
            number,
            drill.digits,
            drill.solution,
            drill.reason,
            drill.looks,
            drill.answers,
            tuple(told.said(spoken()) for told in drill.why),
        )
        for number, drill in enumerate(drills, start=1)
    ]


def _must_come_first(reasons: Sequence[Reason]) -> None:
    """Stop (2), at once, where nobody would find a position in an hour: other reasons get there
    sooner. It says which ones do come first.
    """
    from papernudge.hints.drilling import FIRST, FIRST_OF

    for reason in reasons:
        if not FIRST[reason.technique][1]:
            easiest = sorted(FIRST, key=lambda name: -FIRST[name][1])
            others = [name for name in easiest if 10 <= FIRST[name][1] < FIRST_OF / 2]
            raise bad_words(
                "hardly ever first",
                reason=reason.said(spoken()),
                tried=FIRST_OF,
                others=Run(others),  # as they are typed
            )


def _too_few(reason: Reason, found: int, wishes: DrillWishes) -> str:
    code = "too few of our own" if wishes.source is None else "too few positions"
    named = reason.said(spoken())
    return in_words(code, reason=named, found=found, wanted=wishes.positions, source=wishes.source)


def _scans(wishes: DrillWishes) -> list[Task]:
    from papernudge.hints.canonical import canonical
    from papernudge.hints.solver import solve

    tasks: dict[str, Task] = {}
    for line in _puzzles(wishes, None):
        solution = solve(line, wishes.layout)
        if solution is not None and solution != line:
            task = Task(len(tasks) + 1, line, solution, None, 0, ())
            tasks.setdefault(canonical(line, wishes.layout), task)
        if len(tasks) == wishes.positions:
            break
    if len(tasks) < wishes.positions:
        warn(in_words("too few scans", found=len(tasks), wanted=wishes.positions))
    if not tasks:
        raise bad_words("no puzzle with a blank")
    return list(tasks.values())


def _puzzles(wishes: DrillWishes, what: Reason | None) -> Iterator[str]:
    if wishes.source is not None:
        return _seen(_sound(wishes.source, wishes.layout), what, 0)
    # A rare reason turns up once in a hundred puzzles or less: there must be an end to it.
    most = 200 + 30 * wishes.positions
    seeds = range(wishes.seed * most, (wishes.seed + 1) * most)
    return _seen(_of_our_own(seeds, wishes), what, most)


def _of_our_own(seeds: Iterable[int], wishes: DrillWishes) -> Iterator[str]:
    """Our own puzzles. On boards of more than ten rows not every given is needed: to see to that
    takes long, and such puzzles are hard.
    """
    from papernudge.hints.generate import puzzle

    layout = wishes.layout
    givens = 30 * layout.many // 81 if wishes.scan else 0
    if layout.side > 10:
        givens = layout.many * 9 // 20
    for seed in seeds:
        try:
            line = puzzle(seed, givens=givens, layout=layout)
        except ValueError as error:
            raise bad_words("no grid of this board") from error
        yield line


def _seen(puzzles: Iterable[str], what: Reason | None, most: int) -> Iterator[str]:
    """Says at a terminal how far it is."""
    from papernudge.cli.books.progress import Looking

    code = "looking at positions" if what is None else "looking for"
    named = "" if what is None else visible(what.said(spoken()))
    code += ", at most" if most else ""
    with Looking(sys.stderr, code, what=named, most=most) as looking:
        for puzzle in puzzles:
            looking.add()
            yield puzzle


def _sound(source: Path, layout: Layout) -> Iterator[str]:
    """The puzzles of a source and a board that have one solution; Stop (4) if none of its first
    ones has.
    """
    from papernudge.hints.solver import count_solutions

    bad, good, others = 0, 0, False
    for line, of in source_lines(source, layout):
        if of is not layout:
            if not others:
                warn(in_words("other boards left out", source=source))
            others = True
        elif count_solutions(line, layout=layout) == 1:
            good += 1
            yield line
        else:
            bad += 1
    if bad:
        if not good:
            raise Stop(
                Exit.NOT_ONE_SOLUTION,
                counted("none sound", bad, source=source),
                stage="drill",
                reason="not one solution",
            )
        warn(in_words_of("some unsound", bad, source=source))


def source_lines(source: Path, layout: Layout = NEWSPAPER) -> Iterator[tuple[str, Layout]]:
    """The lines of a file, or the clean puzzles of a book, once each, and the board of each.

    ``layout``: of lines with no remark before them that names another board, as ``export`` writes
    it. Stop (5) if the source can't be read or is neither.
    """
    return _from_book(source) if _is_book(source) else _from_text(source, layout)


def _is_book(source: Path) -> bool:
    try:
        with open_regular(source) as file:
            return file.read(len(_BOOK)) == _BOOK
    except OSError as error:
        raise _unreadable(source, error) from error


def _from_book(source: Path) -> Iterator[tuple[str, Layout]]:
    from papernudge.cli.books.book import Book
    from papernudge.cli.books.rows import layout_of_row
    from papernudge.cli.books.summary import health

    query = (
        "SELECT * FROM puzzle WHERE status = 'clean' AND solutions = 'one'"
        " GROUP BY canonical ORDER BY hash, page, number"
    )
    with Book.to_read(source) as book:
        for sentence in health(book)[0]:
            warn(sentence)
        for row in book.rows(query):
            yield str(row["givens"]), layout_of_row(row)


def _from_text(source: Path, layout: Layout) -> Iterator[tuple[str, Layout]]:
    try:
        with io.TextIOWrapper(open_regular(source, MOST_LINES), encoding="utf-8-sig") as file:
            number = 0
            while text := file.readline(_LONGEST):
                number += 1
                line = text.strip()
                if line.startswith("#"):
                    layout = _remarked(line, source, number) or layout
                elif line:
                    yield _checked(line, layout, source, number), layout
    except UnicodeDecodeError as error:
        raise Stop(
            Exit.FILE,
            message("neither book nor text", source=source),
            stage="open",
            reason="format",
        ) from error
    except OSError as error:
        raise _unreadable(source, error) from error


def _remarked(line: str, source: Path, number: int) -> Layout | None:
    """The board that a remark names, if it names one."""
    try:
        return of_options(line.lstrip("#"))
    except ShapeError as error:
        raise Stop(
            Exit.FILE,
            message("in a line", path=source, line=number, said=error.says),
            stage="open",
            reason="format",
        ) from error


def _checked(text: str, layout: Layout, source: Path, number: int) -> str:
    line = text.replace("0", ".").upper()
    odd = next((mark for mark in line if mark not in f"{layout.symbols}."), None)
    if odd is not None or len(line) != layout.many:
        its = {*SYMBOLS[: isqrt(len(line))], "."}
        fits = boards_of(len(line)) if len(line) != layout.many and its >= {*line} else None
        code = "line is of another board" if fits else "line is odd" if odd else "line is short"
        data = {"source": source, "line": number, "many": layout.many, "last": layout.symbols[-1]}
        raise Stop(
            Exit.FILE,
            message(code, length=len(line), got=repr(odd), blocks=fits, **data),
            stage="open",
            reason="format",
        )
    return line


def _unreadable(source: Path, error: OSError) -> Stop:
    return Stop(
        Exit.FILE,
        message("lines can't be read", source=source, why=said_by_system(error)),
        stage="open",
        reason="unreadable",
    )
