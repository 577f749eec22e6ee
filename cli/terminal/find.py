"""``papernudge drill``: positions from a book, a file of lines or our own puzzles, on paper."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.base.paths import BOOK_FILES, MOST_LINES, Named, keep_apart, open_regular, why
from papernudge.cli.base.say import say, short, visible, warn
from papernudge.cli.sheets.code import Task
from papernudge.hints.drilling import Drill, Reason

_BOOK = b"SQLite format 3\0"
_LONGEST = 10_000
"""More characters than a line of 81 and its blanks are taken for another line: a file without line
breaks is never held whole."""


@dataclass(frozen=True, slots=True)
class DrillWishes:
    """What was asked for. ``source`` None: our own puzzles. ``scan``: minutes, 0 for drills."""

    source: Path | None
    out: Path
    reasons: Sequence[str]
    positions: int
    each: int
    paper: str
    seed: int
    scan: int


def run_drill(wishes: DrillWishes) -> int:
    """Finds, draws and writes a sheet. Stop (2) where words are off or nothing is found, (4) where
    no puzzle has one solution, (5) for files.
    """
    from papernudge.cli.base.files import write_whole
    from papernudge.cli.sheets.sheet import drawn, pages_of

    if wishes.out.suffix.lower() != ".pdf":
        raise bad_words(f"--out SHEET ends in .pdf; got {short(str(wishes.out))}.")
    if wishes.source is not None:
        source = Named("SOURCE itself", wishes.source)
        keep_apart([source, *source.beside(*BOOK_FILES)], [Named("--out SHEET", wishes.out)])
    if wishes.scan:
        if wishes.reasons:
            raise bad_words("--scan asks for any digits: leave --reason out.")
        tasks = _scans(wishes)
        title = "Scan"
    else:
        reasons = _reasons(wishes.reasons)
        tasks = _drills(wishes, reasons)
        title = "Practice: " + ", ".join(map(str, reasons))
    each = 1 if wishes.scan else wishes.each
    pages = pages_of(tasks, each, wishes.paper, wishes.scan)
    write_whole(wishes.out, drawn(pages, title if len(title) <= 52 else "Practice"))
    many = "1 position" if len(tasks) == 1 else f"{len(tasks)} positions"
    say(f"{wishes.out}: {many}, sheet {pages[0].name.split('-')[0]}, answers on the last page.")
    return int(Exit.DONE)


def _reasons(texts: Sequence[str]) -> list[Reason]:
    if not texts:
        raise bad_words(
            "Say what to practise, as --reason 'hidden single in a block'; or --scan 5."
        )
    try:
        return [Reason.parse(text) for text in texts]
    except ValueError as error:
        raise bad_words(f"--reason: {error}.") from error


def _drills(wishes: DrillWishes, reasons: Sequence[Reason]) -> list[Task]:
    from papernudge.hints.drilling import find_drills

    drills: list[Drill] = []
    if wishes.source is None:
        _must_come_first(reasons)
    for reason in reasons:
        # Of our own puzzles there are plenty: one that was asked about already is left out.
        used = {drill.puzzle for drill in drills} if wishes.source is None else set()
        puzzles = (line for line in _puzzles(wishes, str(reason)) if line not in used)
        found = find_drills(puzzles, reason, wishes.positions, wishes.seed)
        if len(found) < wishes.positions:
            warn(_too_few(reason, len(found), wishes))
        shared = sum(not drill.alone for drill in found)
        if shared:
            warn(
                f"{reason}: in {shared} of {len(found)} positions another step is as easy, and"
                " counts as an answer too."
            )
        drills += found
    if not drills:
        raise bad_words(
            f"No position asks for {' or '.join(map(str, reasons))} here: take more puzzles, or"
            " another reason."
        )
    return [
        Task(
            number,
            drill.digits,
            drill.solution,
            drill.reason,
            drill.looks,
            drill.answers,
            tuple(told.said() for told in drill.why),
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
                f"{reason} hardly ever comes first: in none of {FIRST_OF} of our own puzzles was it"
                " among the easiest next steps, for others get there sooner. Name a SOURCE that"
                f" holds such puzzles, or practise one that does: {', '.join(others)}."
            )


def _too_few(reason: Reason, found: int, wishes: DrillWishes) -> str:
    where = "our own puzzles" if wishes.source is None else str(wishes.source)
    return (
        f"{reason}: {found} of {wishes.positions} positions found in {where}; more puzzles hold"
        " more."
    )


def _scans(wishes: DrillWishes) -> list[Task]:
    from papernudge.hints.canonical import canonical
    from papernudge.hints.solver import solve

    tasks: dict[str, Task] = {}
    for line in _puzzles(wishes, "positions"):
        solution = solve(line)
        if solution is not None and solution != line:
            task = Task(len(tasks) + 1, line, solution, None, 0, ())
            tasks.setdefault(canonical(line), task)
        if len(tasks) == wishes.positions:
            break
    if len(tasks) < wishes.positions:
        warn(f"{len(tasks)} of {wishes.positions} positions found; more puzzles hold more.")
    if not tasks:
        raise bad_words("No puzzle with a blank cell is here: name a SOURCE that holds some.")
    return list(tasks.values())


def _puzzles(wishes: DrillWishes, what: str) -> Iterator[str]:
    if wishes.source is not None:
        return _seen(_sound(wishes.source), what, 0)
    from papernudge.hints.generate import puzzle

    # A rare reason turns up once in a hundred puzzles or less: there must be an end to it.
    most = 200 + 30 * wishes.positions
    seeds = range(wishes.seed * most, (wishes.seed + 1) * most)
    givens = 30 if wishes.scan else 0
    return _seen((puzzle(seed, givens=givens) for seed in seeds), what, most)


def _seen(puzzles: Iterable[str], what: str, most: int) -> Iterator[str]:
    """Says at a terminal how far it is."""
    from papernudge.cli.books.progress import Looking

    of = f" of at most {most}" if most else ""
    with Looking(sys.stderr, f"{visible(what)}: puzzle ", of) as looking:
        for puzzle in puzzles:
            looking.add()
            yield puzzle


def _sound(source: Path) -> Iterator[str]:
    """The puzzles of a source that have one solution; Stop (4) if none of its first ones has."""
    from papernudge.hints.solver import count_solutions

    bad = good = 0
    for line in source_lines(source):
        if count_solutions(line) == 1:
            good += 1
            yield line
        else:
            bad += 1
    if bad:
        many = "1 puzzle" if bad == 1 else f"{bad} puzzles"
        if not good:
            raise Stop(
                Exit.NOT_ONE_SOLUTION,
                f"{source}: {many}, none with exactly one solution: look for a misread digit.",
                stage="drill",
                reason="not one solution",
            )
        warn(f"{source}: {many} left out that {'has' if bad == 1 else 'have'} not one solution.")


def source_lines(source: Path) -> Iterator[str]:
    """The lines of a file of 81-character lines, or the clean puzzles of a book, once each.

    Stop (5) if it can't be read or is neither.
    """
    try:
        with open_regular(source) as file:
            head = file.read(len(_BOOK))
    except OSError as error:
        raise _unreadable(source, error) from error
    return _from_book(source) if head == _BOOK else _from_text(source)


def _from_book(source: Path) -> Iterator[str]:
    from papernudge.cli.books.book import Book
    from papernudge.cli.books.summary import health

    query = (
        "SELECT givens FROM puzzle WHERE status = 'clean' AND solutions = 'one'"
        " GROUP BY canonical ORDER BY hash, page, number"
    )
    with Book.to_read(source) as book:
        for sentence in health(book)[0]:
            warn(sentence)
        for row in book.rows(query):
            yield str(row["givens"])


def _from_text(source: Path) -> Iterator[str]:
    try:
        with io.TextIOWrapper(open_regular(source, MOST_LINES), encoding="utf-8-sig") as file:
            number = 0
            while text := file.readline(_LONGEST):
                number += 1
                line = text.strip().replace("0", ".")
                if line:
                    yield _checked(line, f"{source}, line {number}")
    except UnicodeDecodeError as error:
        raise Stop(
            Exit.FILE,
            f"{source} is neither a book nor text: expected a book that digitise wrote, or lines"
            " of 81 characters.",
            stage="open",
            reason="format",
        ) from error
    except OSError as error:
        raise _unreadable(source, error) from error


def _checked(line: str, where: str) -> str:
    odd = next((mark for mark in line if mark not in "123456789."), None)
    if odd is not None or len(line) != 81:
        got = f"{len(line)} characters" if odd is None else f"{odd!r}"
        raise Stop(
            Exit.FILE,
            f"{where}: expected 81 characters, 1 to 9 or . for nothing, got {got}: mend or take out"
            " that line.",
            stage="open",
            reason="format",
        )
    return line


def _unreadable(source: Path, error: OSError) -> Stop:
    return Stop(
        Exit.FILE,
        f"{source} can't be read ({why(error)}): name a book or a file of 81-character lines.",
        stage="open",
        reason="unreadable",
    )
