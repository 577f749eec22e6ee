"""From a photo to words, for programs: what ``import papernudge`` offers.

A page (:class:`Page`) has grids; a :class:`Sheet` is one of them with what the person has said of
it. Both are values: an answer gives a new sheet. Nothing here prints, asks, writes a file or ends
the process; what goes wrong raises a :class:`Trouble` with one sentence for the person.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from papernudge.cli.base.trouble import PhotoError, WordsError, from_failure
from papernudge.cli.said import ENGLISH, in_words
from papernudge.cli.session.answers import (
    DEEPEST,
    Answer,
    HintWishes,
    check_answer,
    hint_answer,
    walk_answer,
)
from papernudge.cli.session.assume import Assumption, parse_assumption
from papernudge.cli.session.doubting import Choice, asked, choices
from papernudge.cli.session.pages import (
    Page,
    Sheet,
    page_of_lines,
    read_opened,
    written_before,
)
from papernudge.hints.catalogue import Words, message
from papernudge.hints.layout import Layout
from papernudge.hints.shapes import ShapeError, board_of

if TYPE_CHECKING:
    from papernudge.vision.photo import Photo
    from papernudge.vision.reading import Doubt


@dataclass(frozen=True, slots=True)
class Question:
    """A doubt as a person is asked about it. ``cell``: 0 to 80 in row order, ``name``: ``R4C7``;
    ``asks``: the question; ``choices``: the likely answers, what was read first; ``doubt``: what
    lies behind it, with chances from 0 to 1.
    """

    cell: int
    name: str
    asks: str
    choices: tuple[Choice, ...]
    doubt: Doubt


def open_photo(photo: str | Path | bytes | Any, called: str | None = None) -> Page:
    """Reads every grid of a photo.

    ``photo``: a path, the bytes of a file (JPEG, PNG, HEIC, TIFF, WebP, ...), or pixels, a numpy
    array uint8 (H, W, 3), blue, green, red, as OpenCV decodes them. ``called``: its name in
    sentences and documents. The page's grids come in reading order, each with its ``kind``,
    ``corners`` (float64 (4, 2), x/y in pixels, from the reader's top left clockwise), ``givens``,
    ``entries`` (a character for each cell) and ``doubts``.

    Raises PhotoError for what is no photo, GridError where no grid is found. A file from a stranger
    is decoded in this process: where that is a risk, open it in one with limits.
    """
    name = called or (str(photo) if isinstance(photo, str | Path) else None)
    return read_opened(name, _decoded(photo, name or in_words("the photo")))


def _decoded(photo: object, called: str) -> Photo:
    import numpy as np

    from papernudge.vision.failure import Failure
    from papernudge.vision.photo import Photo
    from papernudge.vision.photo import open_photo as decoded

    if isinstance(photo, np.ndarray):
        if photo.dtype != np.uint8 or photo.ndim != 3 or photo.shape[2] != 3 or not photo.size:
            raise PhotoError(
                message("pixels come as", dtype=photo.dtype, shape=photo.shape),
                stage="open",
                reason="not an image",
            )
        return Photo(np.ascontiguousarray(photo), name=called)
    if not isinstance(photo, str | Path | bytes):
        raise TypeError(f"expected a path, bytes or an array, got {type(photo).__name__}")
    opened = decoded(photo if isinstance(photo, bytes) else Path(photo), called)
    if isinstance(opened, Failure):
        raise from_failure(opened, "")
    return opened


def read_lines(
    givens: str,
    entries: str | None = None,
    *,
    blocks: str | None = None,
    regions: str | None = None,
    diagonals: bool = False,
    extra: Sequence[str] = (),
) -> Page:
    """A page without a photo: lines of 81 characters, row by row, ``.`` for nothing.

    Of another board as many as it has cells, A for 10, B for 11 and so on: ``blocks`` are rows and
    columns of a block (``2x3``), ``regions`` in their place a letter for each cell, the same in a
    block; ``diagonals``: whether both hold each digit once; ``extra``: lines with a letter for each
    cell of an extra block and ``.`` for others.

    Raises WordsError where they are of another shape, a cell has both, or there is no such board.
    """
    try:
        layout = board_of(blocks, regions, diagonals, extra)
    except ShapeError as error:
        raise WordsError(error.says) from error
    entries = layout.blank if entries is None else entries
    for line, what in ((givens, "givens are"), (entries, "entries are")):
        if len(line) != layout.many or line.strip(f"{layout.symbols}."):
            code = what if layout.side < 10 else f"{what}, with letters"
            raise WordsError(message(code, many=layout.many, got=repr(line[:100])))
    if any(g != "." != e for g, e in zip(givens, entries, strict=True)):
        raise WordsError(message("given and entry"))
    return page_of_lines(givens, entries, layout)


def nudge(
    sheet: Sheet,
    depth: int = 1,
    *,
    since: Page | None = None,
    uniqueness: bool = False,
    words: Words = ENGLISH,
) -> Answer:
    """The next step: where to look (``depth`` 1), what to ask there, why, the digit (4).

    The answer's ``sentence`` says it, ``document()`` holds the same as JSON, ``state`` is ``open``,
    ``unsure``, ``mistaken``, ``solved``, ``no step`` or ``not one solution``. Where it is
    ``unsure``, :func:`questions` says what must be answered first. ``since``: an earlier photo of
    the same puzzle, so that the step goes on from what was written since; ``uniqueness``: also
    steps that lean on there being one solution; ``words``: the language of all that is said.

    Raises WordsError for another depth, and where ``since`` shows another puzzle.
    """
    return hint_answer(
        sheet, _depth(depth), HintWishes(_earlier(sheet, since), uniqueness, words=words)
    )


def check(
    sheet: Sheet, depth: int = 1, *, since: Page | None = None, words: Words = ENGLISH
) -> Answer:
    """Whether the paper is right so far: how many things are wrong (``depth`` 1), in which houses,
    which cells, the right digits (4). ``since`` and ``words`` as in :func:`nudge`,
    and the same errors.
    """
    return check_answer(sheet, _depth(depth), _earlier(sheet, since), words)


def walk(
    sheet: Sheet, depth: int = DEEPEST, *, route: bool = False, words: Words = ENGLISH
) -> Answer:
    """The whole solve from here, line by line, each as deep as asked; ``route``: at depth 4 in an
    order that keeps the eye's way short. Raises WordsError for another depth.
    """
    return walk_answer(sheet, _depth(depth), HintWishes(route=route, words=words))


def _depth(depth: int) -> int:
    if depth not in range(1, DEEPEST + 1):
        raise WordsError(message("a depth is", most=DEEPEST, got=repr(depth)))
    return depth


def _earlier(sheet: Sheet, since: Page | None) -> str | None:
    if since is None:
        return None
    written = written_before(sheet, since)
    if written is None:
        raise WordsError(message("earlier photo differs"))
    return written


def questions(answer: Answer, words: Words = ENGLISH) -> tuple[Question, ...]:
    """What must be answered before the answer can be given; empty unless it is ``unsure``."""
    return tuple(_question(answer.sheet, doubt, words) for doubt in answer.doubts)


def doubts(sheet: Sheet, words: Words = ENGLISH) -> tuple[Question, ...]:
    """All that a careful person would ask about this grid, whether or not it matters."""
    return tuple(_question(sheet, doubt, words) for doubt in sheet.grid.doubts)


def _question(sheet: Sheet, doubt: Doubt, words: Words) -> Question:
    grid = sheet.grid
    return Question(
        doubt.cell,
        grid.layout.name(doubt.cell),
        asked(grid, doubt, words),
        choices(grid, doubt, words),
        doubt,
    )


def answered(sheet: Sheet, *says: str | Choice | Assumption) -> Sheet:
    """The sheet with cells as the person says they are, in order; the last word on a cell counts.

    Each is a choice of a question, or text: ``R4C7=1``, ``R4C7=given:1``, ``R4C7=entry:1``,
    ``R4C7=.`` for nothing, ``R4C7=notes:14``. What an answer settles elsewhere is read anew.
    Raises WordsError for anything else.
    """
    return sheet.assuming([_assumption(one, sheet.grid.layout) for one in says])


def _assumption(says: str | Choice | Assumption, layout: Layout) -> Assumption:
    if isinstance(says, Assumption):
        return says
    return parse_assumption(says.says if isinstance(says, Choice) else says, layout)


def wrote(answer: Answer, cell: int | None = None, digit: int | None = None) -> Sheet:
    """The sheet once the person has written what a nudge asked for, at whatever depth it was told;
    ``cell`` (0 to 80) and ``digit`` (1 to 9) where it was something else. A :func:`nudge` of it is
    the next one.

    Raises WordsError where the answer asks for nothing and nothing else is said, or where the cell
    is printed.
    """
    places = dict(answer.nudge.line.places) if answer.nudge is not None else {}
    if cell is None:
        cell = next((at for at, asked_for in places.items() if digit in (None, asked_for)), None)
    digit = digit or places.get(-1 if cell is None else cell)
    layout = answer.sheet.grid.layout
    if cell not in layout.cells or digit not in layout.digits:
        raise WordsError(message("say cell and digit", last=layout.many - 1))
    assert cell is not None
    assert digit is not None
    if answer.sheet.grid.cells[cell].kind == "given":
        raise WordsError(message("that cell is printed"))
    return answer.sheet.wrote(cell, digit)
