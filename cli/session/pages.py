"""From the command's words to grids: photos, standard input, or lines of text."""

from __future__ import annotations

import errno
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from papernudge.cli.base.exits import Exit, Stop, bad_words, from_failure
from papernudge.cli.base.paths import ask, why
from papernudge.cli.session.assume import Assumption, assumed

if TYPE_CHECKING:
    from papernudge.cli.base.opening import Opening
    from papernudge.hints import Position
    from papernudge.vision.photo import Photo
    from papernudge.vision.reading import GridReading, PageReading

NOTES_SURE = 0.95
"""Chance from which a cell's notes are believed: a hint built on a misread note misleads."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where grids come from: a photo's name (``-`` for standard input), or lines."""

    photo: str | None
    givens: str = ""
    entries: str = ""


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


@dataclass(frozen=True, eq=False)
class Sheet:
    """One grid of a page, ``number`` counting from 1. ``latest``: cells that the user said to have
    written in this conversation, in order.
    """

    page: Page
    number: int
    latest: tuple[int, ...] = ()

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
        """Which grid this is, said only where there is more than one."""
        many = len(self.page.grids)
        return f"Grid {self.number} of {many} on the page. " if many > 1 else ""

    def assuming(self, assumptions: Sequence[Assumption]) -> Sheet:
        """The same grid with the user's words laid over the reading."""
        grids = assumed(self.page.grids, assumptions, self.number)
        page = replace(self.page, reading=replace(self.page.reading, grids=grids))
        return Sheet(page, self.number, self.latest)


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
    return Position.of(grid.givens, grid.entries, notes)


def sources(
    photos: Sequence[str], given_line: str | None, entry_line: str | None
) -> tuple[Source, ...]:
    """Photos, or one pair of lines; Stop (2) if neither or both were named."""
    if given_line is None and entry_line is not None:
        raise bad_words("--entry-line says what was written in a puzzle: add its --given-line.")
    if given_line is None:
        if not photos:
            raise bad_words("Name a photo, or - for standard input, or give a --given-line.")
        if photos.count("-") > 1:
            raise bad_words("Standard input can be read once: name - only once.")
        return tuple(Source(photo) for photo in photos)
    if photos:
        raise bad_words("Name a photo or give a --given-line, not both.")
    givens = _line(given_line, "--given-line")
    entries = _line(entry_line or "." * 81, "--entry-line")
    for cell, (given, entry) in enumerate(zip(givens, entries, strict=True)):
        if given != "." and entry not in (".", given):
            raise bad_words(
                f"R{cell // 9 + 1}C{cell % 9 + 1} holds {given} in --given-line and {entry} in"
                " --entry-line: a cell with a given has no entry."
            )
    entries = "".join("." if g != "." else e for g, e in zip(givens, entries, strict=True))
    return (Source(None, givens, entries),)


def _line(text: str, option: str) -> str:
    line = "".join(text.split()).replace("0", ".")
    odd = next((c for c in line if c not in "123456789."), None)
    if odd is not None:
        raise bad_words(f"{option} holds digits, and . for nothing; it can't hold {odd!r}.")
    if len(line) != 81:
        raise bad_words(f"{option} holds 81 characters, row by row; this one has {len(line)}.")
    return line


def open_page(source: Source) -> Page:
    """Reads a source; Stop (5) for a file that can't be read, (3) for one without a grid."""
    if source.photo is None:
        return _page_of_lines(source.givens, source.entries)
    opened = _begun(source.photo)
    with _looks_loading():  # while the photo is being opened
        import papernudge.hints
        import papernudge.vision.read  # noqa: F401 - what reads it
    return read_opened(source.photo, _opened(opened))


@contextmanager
def _looks_loading() -> Iterator[None]:
    """Has the looks loaded beside something else: most of that is not Python's work."""
    loading = Thread(target=_looks_loaded, daemon=True)
    loading.start()
    yield
    loading.join()


def _looks_loaded() -> None:
    from papernudge.digits_model import scores, seen

    with suppress(Exception):  # it is said where they are first wanted
        scores.shipped()
        seen.shipped()


def read_opened(called: str | None, photo: Photo) -> Page:
    """Reads a decoded photo; Stop (3) for one without a grid."""
    from papernudge.hints import solve
    from papernudge.vision.failure import Failure
    from papernudge.vision.read import read_page

    reading = read_page(photo.pixels, solve=solve)
    if isinstance(reading, Failure):
        raise from_failure(reading, photo.name)
    return Page(called, photo, reading)


def same_print(wanted: str, givens: str) -> bool:
    """Whether two photos show the same printed digits, 81 characters each.

    A misread digit or two must not part them: 85 in 100 printed ones must agree.
    """
    pairs = list(zip(wanted, givens, strict=True))
    printed = sum(pair != (".", ".") for pair in pairs)
    return sum(one == other != "." for one, other in pairs) >= 0.85 * printed


def open_named(called: str) -> Photo:
    """Decodes the photo that the command named."""
    return _opened(_begun(called))


def _begun(called: str) -> Opening:
    """Has a photo opened while this process does something else. Stop (5) for what is no file."""
    from papernudge.cli.base import opening
    from papernudge.vision.photo import MAX_BYTES

    if called != "-" and (stop := _no_file(called, MAX_BYTES)) is not None:
        raise stop
    return opening.begin(called)


def _opened(opening: Opening) -> Photo:
    """Waits for a photo. Stop (5) where it can't be opened."""
    from papernudge.vision.failure import Failure

    photo = opening.photo()
    if isinstance(photo, Failure):
        raise from_failure(photo, "")
    return photo


def _no_file(called: str, most: int) -> Stop | None:
    """Why a photo's name leads to something that is no file to read, so that nothing waits for a
    pipe or drinks from a device without end. Folders, and names without a file, are told by whoever
    opens them.
    """
    try:
        if not ask(Path(called), most).st_size:  # some of the system's own say so and never end
            said = f"{called} is empty: expected a photo file, got 0 bytes."
            return Stop(Exit.FILE, said, stage="open", reason="empty")
    except (FileNotFoundError, IsADirectoryError):
        return None
    except (OSError, ValueError) as error:
        pipe = getattr(error, "errno", None) == errno.ESPIPE
        what = "send it to standard input and name -" if pipe else "name a photo file"
        sentence = f"{called} can't be read ({why(error)}): {what}."
        return Stop(Exit.FILE, sentence, stage="open", reason="unreadable")
    return None


def _page_of_lines(givens: str, entries: str) -> Page:
    import numpy as np

    from papernudge.vision.grid import GridKind, Quality
    from papernudge.vision.reading import CellKind, CellReading, GridReading, PageReading

    def cell(given: str, entry: str) -> CellReading:
        digit = given if given != "." else entry
        kind = CellKind.GIVEN if given != "." else CellKind.ENTRY
        if digit == ".":
            return CellReading(CellKind.BLANK, None, 1.0)
        return CellReading(kind, int(digit), 1.0, given_chance=float(kind is CellKind.GIVEN))

    cells = tuple(cell(g, e) for g, e in zip(givens, entries, strict=True))
    grid = GridReading(
        GridKind.PUZZLE, np.zeros((4, 2)), Quality(True), cells=cells, chance_all_right=1.0
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
    """The grid that was asked for, or the first puzzle; Stop (2) or (3) if there is none."""
    many = len(page.grids)
    if wanted is not None and wanted > many:
        found = "just 1 grid was" if many == 1 else f"{many} grids were"
        raise bad_words(f"--grid {wanted} was asked for, but {found} found.")
    number = wanted or first_puzzle(page) or nearest_miss(page)
    if page.grids and page.grids[number - 1].cells:
        return Sheet(page, number)
    raise unreadable(page, number)


def unreadable(page: Page, number: int) -> Stop:
    """Why this grid can't be read, and what to do about it."""
    called = page.called if page.called not in (None, "-") else "the photo"
    if not page.grids:
        return _no_grid(
            f"No grid was found in {called}: lay the page flat and fill the frame.", "none"
        )
    grid = page.grids[number - 1]
    which = f"grid {number} in {called}" if len(page.grids) > 1 else f"the grid in {called}"
    if grid.kind == "cut off":
        # The sentence names a side of the raster: only the person's own where no tag turns it.
        upright = page.photo is None or page.photo.tag == 1
        words = f"{which} is cut off: take it again with all four corners in view."
        if upright and grid.quality.reason == "cut off" and grid.quality.sentence:
            words = f"{which} can't be read. {grid.quality.sentence}"
    elif grid.kind == "too poor":
        advice = grid.quality.sentence or "Take it again, closer and in better light."
        words = f"{which} can't be read well enough. {advice}"
    else:
        words = (
            f"{which} is not a 9×9 sudoku that can be read: expected nine rows of nine cells, all"
            " in clear view."
        )
    return _no_grid(words[0].upper() + words[1:], str(grid.kind))


def _no_grid(sentence: str, reason: str) -> Stop:
    return Stop(Exit.NO_GRID, sentence, stage="find", reason=reason)
