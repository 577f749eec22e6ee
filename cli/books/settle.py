"""What a grid came to: clean, to be reviewed by a person, or left out, and why."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from math import prod

from papernudge.cli.books.rows import Doubt, GridRow, PuzzleRow
from papernudge.hints.geometry import cell_of
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS, VALUES
from papernudge.hints.shapes import in_options
from papernudge.vision.typeface import NO_PAGE, Page, PrintedGrid

SURE = 0.98
"""A grid less likely than this to be right in every given is looked at by a person."""

ODD_ONES = 0.1
"""Most digits of a page without handwriting, as a share, that may look written."""
NOT_PRINTED = 0.01
"""A cell that is printed with no more than this chance is handwriting or blank: the same as for a
digit that is sure (``SAFE`` in ``vision/doubts.py``)."""
MOST_ANSWERS, _MOST_OF_LARGE = 128, 8
"""Ways to answer a grid's doubts that are tried before a person is asked; of a board of more than
nine rows, of which each may take a second."""


@dataclass(frozen=True, slots=True)
class Words:
    """A person's corrections of one grid: ``cells`` by name, ``whole`` on the grid itself."""

    cells: Mapping[str, str]
    whole: str | None = None

    def __len__(self) -> int:
        return len(self.cells) + (self.whole is not None)


NOTHING_SAID = Words({})


def unwritten(page: Sequence[PrintedGrid]) -> bool:
    """Whether nobody has written on a page, as far as was read: then a digit that alone looks a
    little like handwriting is print. Of a person who writes, more is seen than that.
    """
    printed = doubted = 0
    for grid in page:
        if grid.kind != "puzzle" or grid.givens is None:
            continue
        if (grid.entries or "").strip("."):
            return False
        printed += 81 - grid.givens.count(".")
        doubted += sum(doubt["about"] == "hand" for doubt in grid.doubts)
    return doubted <= ODD_ONES * printed


def print_of(grids: Sequence[GridRow]) -> Page:
    """What is compared of a page's print: its grids like the newspaper's."""
    return Page([grid for grid in grids if grid.layout is None])


def settle(grid: GridRow, words: Words = NOTHING_SAID, page: Page = NO_PAGE) -> PuzzleRow:
    """The puzzle that follows from a reading and a person's corrections of it.

    Clean is a claim that every digit without a doubt is right, that every given is, and that the
    givens have exactly one solution. Doubts about small notes don't count, since no export holds
    notes, nor do those that touch handwriting alone where the givens are beyond doubt: in a solved
    book the puzzle is what counts, and the row's doubts say which entries may be others. ``page``:
    the page that the grid is on. Where nobody wrote on it, a doubtful cell that shows a copy of its
    sure threes is a printed three, and a doubt whether a digit was printed is decided. What is left
    of the doubts about printed digits is decided where every other answer would leave no solution
    or several: a book's puzzles have one. Of other boards than the newspaper's the print is not
    compared.
    """
    return replace(_settled(grid, words, NO_PAGE if grid.layout else page), layout=grid.layout)


def _settled(grid: GridRow, words: Words, page: Page) -> PuzzleRow:
    layout = grid.board
    if words.whole == "left out":
        return PuzzleRow("left out", "by hand", corrected=len(words))
    if grid.givens is None or grid.entries is None:
        return PuzzleRow("left out", grid.quality or grid.kind, corrected=len(words))
    if grid.kind != "puzzle" and not words:
        kind = "a printed solution" if grid.kind == "full" else grid.kind
        return PuzzleRow("left out", kind, grid.givens, grid.entries)
    doubts = [d for d in grid.doubts if d["cell"] not in words.cells or is_of_lines(d)]
    copies = _copies(grid, doubts, page)
    says = {**{cell: f"given:{digit}" for cell, digit in copies.items()}, **words.cells}
    givens, entries = _corrected(grid.givens, grid.entries, says, layout)
    doubts = [d for d in doubts if d["cell"] not in copies or not _is_of_a_cell(d)]
    if page.grids and unwritten(page.grids):
        doubts = [d for d in doubts if d["about"] != "hand"]
    decided = _decided(givens, doubts, layout)
    doubts = [d for d in doubts if d["cell"] not in decided or not _is_of_a_cell(d)]
    decided = sorted([*copies, *decided])
    row = PuzzleRow("clean", None, givens, entries, doubts, decided, len(words))
    row = _solved(row, layout)
    reason = None if words.whole == "ok" else _why_review(row, grid, words, page)
    return row if reason is None else replace(row, status="review", reason=reason)


def _copies(grid: GridRow, doubts: Sequence[Doubt], page: Page) -> dict[str, str]:
    """The doubtful cells that show a copy of one of the page's sure digits, and which, or ``.``
    where they were read as empty and are. Only a digit that the reader thought of counts, and
    only where nobody wrote on the page.
    """
    open_ = [doubt for doubt in doubts if _is_of_a_cell(doubt)]
    if not open_ or not page.untouched:
        return {}
    found = {}
    for doubt in open_:
        if doubt["about"] == "seen":  # what light washes out looks as empty as paper does
            continue
        cell = _at(doubt["cell"], grid.board)
        if doubt["read"] is None and page.is_empty(grid.number, cell):
            found[doubt["cell"]] = "."
            continue
        digit = page.copy_of(grid.number, cell)
        thought_of = {doubt["read"], *(other["digit"] for other in doubt["instead"])}
        if digit is not None and int(digit) in thought_of:
            found[doubt["cell"]] = digit
    return found


def _why_review(row: PuzzleRow, grid: GridRow, words: Words, page: Page) -> str | None:
    open_ = [doubt for doubt in row.doubts if needs_a_person(doubt)]
    written = [doubt for doubt in open_ if _is_about_handwriting(doubt, grid)]
    if len(written) < len(open_):
        return "doubts"
    if row.solutions == "none":
        return "no solution"
    if row.solutions == "many":
        return "several solutions"
    if row.solutions is None:
        return "not sure enough"
    if written:
        return None if _givens_right(grid, {*words.cells, *row.decided}) >= SURE else "doubts"
    if words or grid.doubts or grid.chance_all_right >= SURE:
        return None
    return None if _seen_right(grid, page) >= SURE else "not sure enough"


def _is_about_handwriting(doubt: Doubt, grid: GridRow) -> bool:
    """Whether only what was written by hand, or is blank, hangs on a doubt: whatever is there is
    not printed. Where nothing can be seen, something printed may be.
    """
    cell, side = _at(doubt["cell"], grid.board), grid.board.side
    if doubt["about"] != "digit" or grid.chances is None or grid.givens is None:
        return False
    return grid.givens[cell] == "." and bool(_given_chance(grid.chances, cell, side) <= NOT_PRINTED)


def _given_chance(chances: bytes, cell: int, side: int) -> float:
    """The chance that a cell holds a printed digit; 1 where the reader did not say."""
    import struct

    each = side + 2
    blank, *_, printed = struct.unpack_from(f"<{each}e", chances, 2 * each * cell)
    chance = (1 - blank) * printed
    return 1.0 if chance != chance else chance


def _givens_right(grid: GridRow, settled: Collection[str]) -> float:
    """The chance that the givens are right: all that were read, and that no others are there.
    ``settled``: cells that a person, the page or the rules have decided.
    """
    import struct

    chance, known = 1.0, {_at(name, grid.board) for name in settled}
    side = grid.board.side
    for cell, mark in enumerate(grid.givens or ""):
        if cell in known or grid.chances is None:
            continue
        if mark == ".":
            chance *= 1 - _given_chance(grid.chances, cell, side)
        else:
            each = side + 2
            *digits, printed = struct.unpack_from(f"<{each}e", grid.chances, 2 * each * cell)
            chance *= digits[VALUES[mark]] * printed
    return chance if chance == chance else 0.0


def _seen_right(grid: GridRow, page: Page) -> float:
    """The chance that a grid without doubts is right, if its cells that show plain copies of the
    page's sure digits are.
    """
    import struct

    if grid.chances is None or not page.untouched:
        return grid.chance_all_right
    chance = grid.chance_all_right
    for cell, (*digits, printed) in enumerate(struct.iter_unpack("<11e", grid.chances)):
        mark = (grid.givens or "." * 81)[cell]
        right = 1.0 if mark == "." else digits[int(mark)] * printed
        if 0 < right < 1 and page.copy_of(grid.number, cell) == mark:
            chance /= right
    return min(1.0, chance)


def _decided(givens: str, doubts: Sequence[Doubt], layout: Layout) -> list[str]:
    """The doubtful cells whose given is the same in every answer to all the doubts that makes a
    puzzle with one solution. None where there are too many answers to try, or where what was read
    is no such puzzle. A doubt about what was written by hand is never decided: any digit may be.
    """
    options: dict[str, set[str]] = {}
    silent = set()
    for doubt in filter(_is_of_a_cell, doubts):
        cell, read = doubt["cell"], givens[_at(doubt["cell"], layout)]
        others = _other_givens(doubt, read)
        if read in others:
            silent.add(cell)
        options.setdefault(cell, {read}).update(others)
    most = MOST_ANSWERS if layout.many <= NEWSPAPER.many else _MOST_OF_LARGE
    if not options or prod(map(len, options.values())) > most:
        return []
    proper = []
    for answer in product(*options.values()):
        marks = list(givens)
        for cell, mark in zip(options, answer, strict=True):
            marks[_at(cell, layout)] = mark
        line = "".join(marks)
        if _solutions(line, layout) == "one":
            proper.append(line)
    if givens not in proper:
        return []
    return [
        cell
        for cell in options
        if cell not in silent and len({line[_at(cell, layout)] for line in proper}) == 1
    ]


def _other_givens(doubt: Doubt, read: str) -> set[str]:
    """What else the cell's given may be, ``.`` for none; ``read``: what it was read as."""
    if doubt["about"] == "hand":
        return {_mark(doubt["read"])} if read == "." else {"."}
    others = {_mark(other["digit"]) for other in doubt["instead"]}
    # In a cell without a given another digit may be printed, or written: then no given changes.
    return others | {"."} if read == "." else others


def _mark(digit: int | None) -> str:
    """How a digit stands in a line."""
    return "." if digit is None else SYMBOLS[digit - 1]


def _at(name: str, layout: Layout) -> int:
    return cell_of(name, layout)


def _corrected(
    givens: str, entries: str, says: Mapping[str, str], layout: Layout
) -> tuple[str, str]:
    printed, written = list(givens), list(entries)
    for name, said in says.items():
        cell = _at(name, layout)
        kind, _, told = said.rpartition(":")
        digit = _mark(None if told == "." else int(told))
        kind = kind or ("given" if printed[cell] != "." else "entry")
        printed[cell] = digit if kind == "given" else "."
        written[cell] = digit if kind == "entry" else "."
    return "".join(printed), "".join(written)


def _solutions(givens: str, layout: Layout) -> str | None:
    """Whether one, none or many; None where that takes too long, as on a large board of which most
    was misread.
    """
    from papernudge.hints.solver import OutOfPatience, solutions

    try:
        found = list(islice(solutions(givens, layout, _patience(layout)), 2))
    except OutOfPatience:
        return None
    return ("none", "one", "many")[len(found)]


def _patience(layout: Layout) -> int:
    """Branches that a question may open."""
    return 1 << 60 if layout is NEWSPAPER else 3000


def _solved(row: PuzzleRow, layout: Layout) -> PuzzleRow:
    """With solutions, grade and canonical form, the last two where there is one solution."""
    from papernudge.hints.canonical import canonical
    from papernudge.hints.grade import effort, grade
    from papernudge.hints.solver import solve

    givens = row.givens or ""
    found = _solutions(givens, layout)
    if found != "one":
        return replace(row, solutions=found)
    if layout is not NEWSPAPER:  # people's times are known of newspaper grids only
        taken = effort(givens, layout)
        return replace(
            row,
            solutions=found,
            solution=solve(givens, layout),
            looks=taken.looks,
            hardest=taken.hardest,
            needs=list(taken.needs),
            steps=taken.steps,
            canonical=f"{canonical(givens, layout)} {in_options(layout)}",
        )
    graded = grade(givens)
    low, high = graded.minutes_range
    return replace(
        row,
        solutions=found,
        solution=solve(givens),
        minutes=round(graded.minutes, 1),
        minutes_low=round(low, 1),
        minutes_high=round(high, 1),
        looks=graded.looks,
        hardest=graded.hardest,
        needs=list(graded.needs),
        steps=graded.steps,
        canonical=canonical(givens),
    )


def is_of_lines(doubt: Doubt) -> bool:
    """Whether a doubt is about where block lines run: no digit and no word on a cell ends it."""
    return bool(doubt["about"] == "layout")


def _is_of_a_cell(doubt: Doubt) -> bool:
    """Whether a doubt keeps a grid from being clean, and what stands in its cell would end it."""
    return needs_a_person(doubt) and not is_of_lines(doubt)


def needs_a_person(doubt: Doubt) -> bool:
    """Whether a doubt keeps a grid from being clean."""
    return bool(doubt["about"] != "notes")
