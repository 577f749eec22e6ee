"""A page as read, and one of its grids."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from papernudge.cli.base.trouble import GridError, WordsError, from_failure
from papernudge.cli.said import ENGLISH, spoken
from papernudge.cli.session.assume import Assumption, assumed
from papernudge.hints.catalogue import Message, Words, counted, message
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS, VALUES

if TYPE_CHECKING:
    from papernudge.hints import Position
    from papernudge.vision.photo import Photo
    from papernudge.vision.reading import GridReading, PageReading

NOTES_SURE = 0.95
"""Chance from which a cell's notes are believed: a hint built on a misread note misleads."""


@dataclass(frozen=True, eq=False)
class Page:
    """A page as read. ``called``: the photo as the command named it, None for lines."""

    called: str | None
    photo: Photo | None
    reading: PageReading

    @property
    def grids(self) -> tuple[GridReading, ...]:
        """All grids, in reading order."""
        return self.reading.grids

    def sheet(self, number: int | None = None) -> Sheet:
        """The grid of this number, from 1; None: the first puzzle. WordsError where there is none
        of that number, GridError where none can be read.
        """
        if number is not None and number not in range(1, len(self.grids) + 1):
            raise WordsError(
                message("no grid of that number", number=number, found=len(self.grids))
            )
        return choose(self, number)


@dataclass(frozen=True, eq=False)
class Sheet:
    """One grid of a page, ``number`` counting from 1. ``latest``: cells that the user said to have
    written in this conversation, in order; ``answers``: all that the user said of this grid.
    """

    page: Page
    number: int
    latest: tuple[int, ...] = ()
    answers: tuple[Assumption, ...] = ()

    @property
    def grid(self) -> GridReading:
        """The reading of this grid."""
        return self.page.grids[self.number - 1]

    @property
    def position(self) -> Position:
        """The grid as the hint engine takes it."""
        return position_of(self.grid)

    @property
    def lead(self) -> str:
        """Which grid this is, in the language that is spoken; only where there is more than one."""
        return spoken().paragraph(self.leads(spoken()))

    def leads(self, words: Words = ENGLISH) -> list[str]:
        """The same as a sentence or none."""
        many = len(self.page.grids)
        return [words.say("grid of", number=self.number, many=many)] if many > 1 else []

    def assuming(self, assumptions: Sequence[Assumption]) -> Sheet:
        """The same grid with the user's words laid over the reading."""
        grids = assumed(self.page.grids, assumptions, self.number)
        page = replace(self.page, reading=replace(self.page.reading, grids=grids))
        mine = (one for one in assumptions if one.grid in (None, self.number))
        return Sheet(page, self.number, self.latest, (*self.answers, *mine))

    def wrote(self, cell: int, digit: int) -> Sheet:
        """The same grid with what the user says to have written: cell from 0, digit from 1."""
        written = self.assuming([Assumption(None, cell, "entry", digit)])
        return replace(written, latest=(*self.latest, cell))


def position_of(grid: GridReading) -> Position:
    """Givens, entries and the surely read notes of a grid that was read.

    Notes left standing beside an entry say nothing any more.
    """
    from papernudge.hints import Position

    notes = {
        c: sorted(cell.notes)
        for c, cell in enumerate(grid.cells)
        if cell.notes and cell.digit is None and cell.notes_chance >= NOTES_SURE
    }
    return Position.of(grid.givens, grid.entries, notes, grid.layout)


def read_opened(called: str | None, photo: Photo) -> Page:
    """Reads a decoded photo; GridError for one without a grid."""
    from papernudge.hints.solver import solve_soon
    from papernudge.vision.failure import Failure
    from papernudge.vision.read import read_page

    reading = read_page(photo.pixels, solve=solve_soon)
    if isinstance(reading, Failure):
        raise from_failure(reading, photo.name)
    return Page(called, photo, reading)


def on_board(page: Page, layout: Layout, number: int | None = None) -> tuple[Page, int | None]:
    """The page with a grid read as of this board, and its number: that of ``number``, else the
    first that was read so by itself, else the first puzzle of as many rows, else the first grid.
    GridError where none of so many was read.
    Where nothing could be read at all, the page as it is: ``choose`` says why.
    """
    from papernudge.hints.solver import solve_soon
    from papernudge.vision.reread import reread

    read = {
        n: grid.evidence
        for n, grid in enumerate(page.grids, start=1)
        if grid.evidence is not None and number in (None, n)
    }
    if not read:
        return page, number
    fitting = [n for n, evidence in read.items() if evidence.layout.side == layout.side]
    if not fitting:
        code = "no grid of that board" if number is None else "grid is of another board"
        told = message(code, number=number, side=layout.side)
        raise GridError(told, stage="find", reason="board")
    puzzles = [n for n in fitting if page.grids[n - 1].kind == "puzzle"] or fitting
    at = next((n for n in puzzles if read[n].layout is layout), puzzles[0])
    evidence = read[at]
    if layout is evidence.layout and evidence.other_layout is None:
        return page, at
    laid = replace(evidence, layout=layout, layout_doubts=(), other_layout=None)
    grids = list(page.grids)
    grids[at - 1] = marked_full(reread(laid, (), solve_soon))
    return replace(page, reading=replace(page.reading, grids=tuple(grids))), at


def marked_full(grid: GridReading) -> GridReading:
    """A grid that was read, called full where all its cells are given."""
    from papernudge.vision.grid import GridKind

    return replace(grid, kind=GridKind.PUZZLE if "." in grid.givens else GridKind.FULL)


def written_before(sheet: Sheet, page: Page) -> str | None:
    """What was written in an earlier photo of the same puzzle, a line, ``.`` for nothing and
    for what is printed; None where the page shows other puzzles.
    """
    wanted = sheet.grid.givens
    for grid in page.grids:
        if len(grid.cells) == len(wanted) and same_print(wanted, grid.givens):
            digits = [SYMBOLS[cell.digit - 1] if cell.digit else "." for cell in grid.cells]
            return "".join(d if w == "." else "." for d, w in zip(digits, wanted, strict=True))
    return None


def same_print(wanted: str, givens: str) -> bool:
    """Whether two photos show the same printed digits.

    A misread digit or two must not part them: 85 in 100 printed ones must agree.
    """
    pairs = list(zip(wanted, givens, strict=True))
    printed = sum(pair != (".", ".") for pair in pairs)
    return sum(one == other != "." for one, other in pairs) >= 0.85 * printed


def page_of_lines(givens: str, entries: str, layout: Layout = NEWSPAPER) -> Page:
    """A page without a photo, of lines of a character for each cell of a board, row by row, ``.``
    for nothing.
    """
    import numpy as np

    from papernudge.vision.grid import GridKind, Quality
    from papernudge.vision.reading import CellKind, CellReading, GridReading, PageReading

    def cell(given: str, entry: str) -> CellReading:
        digit = given if given != "." else entry
        kind = CellKind.GIVEN if given != "." else CellKind.ENTRY
        if digit == ".":
            return CellReading(CellKind.BLANK, None, 1.0)
        given_chance = float(kind is CellKind.GIVEN)
        return CellReading(kind, VALUES[digit], 1.0, given_chance=given_chance)

    cells = tuple(cell(g, e) for g, e in zip(givens, entries, strict=True))
    grid = GridReading(
        GridKind.PUZZLE,
        np.zeros((4, 2)),
        Quality(True),
        cells=cells,
        chance_all_right=1.0,
        layout=layout,
    )
    return Page(None, None, PageReading((0, 0), (grid,)))


def first_puzzle(page: Page) -> int | None:
    """The number of the first grid that is a puzzle and was read."""
    for number, grid in enumerate(page.grids, start=1):
        if grid.kind == "puzzle" and grid.cells:
            return number
    return None


def nearest_miss(page: Page) -> int:
    """The number of the grid most worth talking about where none is a puzzle that was read."""
    worth = ["full", "puzzle", "too poor", "cut off", "other"]
    kinds = [str(grid.kind) for grid in page.grids]
    return min(range(len(kinds)), key=lambda n: worth.index(kinds[n]), default=0) + 1


def choose(page: Page, wanted: int | None) -> Sheet:
    """The grid that was asked for, or the first puzzle. WordsError where there is none of that
    number, GridError where none can be read.
    """
    many = len(page.grids)
    if wanted is not None and wanted > many:
        raise WordsError(counted("grid asked for", many, wanted=wanted))
    number = wanted or first_puzzle(page) or nearest_miss(page)
    if page.grids and page.grids[number - 1].cells:
        return Sheet(page, number)
    raise unreadable(page, number)


NO_ROOM = "board"
"""Why a grid is not taken that could be read elsewhere: the quality says where."""


def _of_another_kind(grid: GridReading) -> bool:
    """Whether marks of another kind of puzzle were seen in it."""
    says = grid.quality.says
    return isinstance(says, Message) and says.code.startswith("marks, ")


def unreadable(page: Page, number: int) -> GridError:
    """Why this grid can't be read, and what to do about it."""
    named = page.called not in (None, "-")
    called = page.called if named else message("the photo")
    if not page.grids:
        return GridError(message("no grid in", called=called), stage="find", reason="none")
    grid = page.grids[number - 1]
    data: dict[str, Any] = {"called": called}
    if grid.kind == "cut off":
        # The sentence names a side of the raster: only the person's own where no tag turns it.
        upright = page.photo is None or page.photo.tag == 1
        told = upright and grid.quality.reason == "cut off" and grid.quality.says
        code = "grid can't be read" if told else "grid is cut off"
        data["advice"] = grid.quality.says
    elif grid.kind == "too poor":
        code = "grid can't be read well"
        data["advice"] = grid.quality.says or message("closer and in better light")
    elif grid.quality.reason == NO_ROOM or _of_another_kind(grid):
        code = "grid can't be read"
        data["advice"] = grid.quality.says
    else:
        code = "grid is another"
    if len(page.grids) > 1:
        code, data["number"] = f"{code}, numbered", number
    return GridError(message(code, **data), stage="find", reason=str(grid.kind))
