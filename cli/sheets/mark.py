"""``papernudge mark``: what was written on a photographed practice sheet, and whether it is right.

The code says what was printed and what was asked, so nothing is guessed about either: only blank
cells are read (``papernudge.cli.sheets.answers`` states the model).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.base.trouble import from_failure
from papernudge.cli.session.documents import FORMAT, doubt_document
from papernudge.cli.sheets.code import PREFIX, SheetPage, Task, decode
from papernudge.cli.sheets.log import Row
from papernudge.hints.catalogue import Message, message
from papernudge.hints.geometry import cell_name

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from papernudge.cli.session.assume import Assumption
    from papernudge.vision.photo import Photo
    from papernudge.vision.reading import Doubt
    from papernudge.vision.views import Glimpse

    Chances = npt.NDArray[np.float64]
    Points = npt.NDArray[np.float64]
    Raster = npt.NDArray[np.uint8]

RIGHT, WRONG, BLANK, ALSO_VALID, UNSURE = "right", "wrong", "blank", "also valid", "unsure"
SURE = 0.97
"""A result that is less probable than this, over all that the ink may say, is unsure."""
SAME = 0.8
"""Share of a position's printed digits that must be seen in a grid for it to be that position."""
_OTHER = 0.3
"""Share below which a grid is surely not a position: two unlike puzzles share a ninth of where both
print, and a grid turned or blurred keeps more."""
_WORTH_NAMING = 0.02
_NAMED, _MOST_OPEN = 0.002, 6
"""Readings of a cell less probable than this are left out; so many cells are weighed together."""

Written = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Marked:
    """One position: what was written there, cell and digit, and the result; where that is unsure,
    the cells to ask about. No cell to ask about: the grid itself could not be read.

    ``crossings``: where it lies, float64 (10, 10, 2), raster x/y; None where it was not found.
    """

    task: Task
    written: Written
    result: str
    doubts: tuple[Doubt, ...] = ()
    crossings: Points | None = field(default=None, compare=False, repr=False)

    @property
    def found(self) -> int:
        """How many of the digits written are right."""
        return sum(self.task.solution[cell] == str(digit) for cell, digit in self.written)

    def to_json(self) -> dict[str, Any]:
        """One entry of ``answers``."""
        out: dict[str, Any] = {
            "number": self.task.number,
            "written": [{"cell": cell_name(c), "digit": d} for c, d in self.written],
            "result": self.result,
        }
        if self.doubts:
            out["doubts"] = [doubt_document(doubt) for doubt in self.doubts]
        if self.task.reason is None:
            found = {"right": self.found, "wrong": len(self.written) - self.found}
            return {**out, "digits": found}
        return {**out, "reason": str(self.task.reason), "looks": self.task.looks}


@dataclass(frozen=True, slots=True)
class MarkedPage:
    """A photographed page of a sheet. ``pixels``: the photo's raster, uint8 (H, W, 3); ``turns``:
    the clockwise quarter turns that make it upright.
    """

    called: str
    page: SheetPage
    answers: tuple[Marked, ...]
    pixels: Raster = field(compare=False, repr=False)
    turns: int = 0

    def to_json(self) -> dict[str, Any]:
        """The document of ``mark``."""
        return {
            "format": FORMAT,
            "photo": self.called,
            "sheet": self.page.name,
            "answers": [answer.to_json() for answer in self.answers],
        }


def result_of(task: Task, written: Written) -> str:
    """What the digits written come to.

    Wrong: one of them can't stand there. Right: one of the lines asked for is written, on a scan
    sheet anything. Also valid: nothing is wrong, but nothing asked for is complete.
    """
    if not written:
        return BLANK
    if any(task.solution[cell] != str(digit) for cell, digit in written):
        return WRONG
    if task.reason is None or any(set(places) <= set(written) for places in task.answers):
        return RIGHT
    return ALSO_VALID


def judged(task: Task, chances: Chances) -> Marked:
    """Marks one position.

    ``chances``: float64 (81, 10), for each cell of its grid the chance that it holds nothing
    (index 0) or a digit. All readings of the uncertain cells are weighed; the result counts
    when nearly all of the chance speaks for it.
    """
    blank = [cell for cell, mark in enumerate(task.digits) if mark == "."]
    best = {cell: int(chances[cell].argmax()) for cell in blank}
    written = tuple((cell, digit) for cell, digit in best.items() if digit)
    open_ = [cell for cell in blank if chances[cell].max() < 1 - _NAMED]
    doubts = tuple(_doubt(chances, cell) for cell in open_)
    if len(open_) > _MOST_OPEN:
        return Marked(task, written, UNSURE, doubts)
    settled = {cell: digit for cell, digit in best.items() if cell not in open_}
    options = [
        [(d, float(chances[cell, d])) for d in range(10) if _counts(chances, cell, d)]
        for cell in open_
    ]
    weights: dict[str, float] = {}
    for choice in itertools.product(*options):
        read = {**settled, **dict(zip(open_, (digit for digit, _ in choice), strict=True))}
        here = result_of(task, tuple((c, d) for c, d in sorted(read.items()) if d))
        weights[here] = weights.get(here, 0.0) + math.prod(chance for _, chance in choice)
    result, weight = max(weights.items(), key=lambda pair: pair[1])
    if weight >= SURE:
        return Marked(task, written, result)
    return Marked(task, written, UNSURE, doubts)


def _doubt(chances: Chances, cell: int) -> Doubt:
    from papernudge.vision.reading import Doubt

    order = [int(d) for d in chances[cell].argsort()[::-1]]
    others = [d for d in order[1:] if d == order[1] or chances[cell, d] >= _WORTH_NAMING]
    instead = tuple((d or None, float(chances[cell, d])) for d in others)
    return Doubt(cell, "digit", order[0] or None, float(chances[cell, order[0]]), instead)


def _counts(chances: Chances, cell: int, digit: int) -> bool:
    return bool(chances[cell, digit] >= _NAMED)


def mark_photo(called: str, assumptions: Sequence[Assumption] = ()) -> MarkedPage:
    """Reads and marks a photo. Stop (5) for a file that can't be read, (3) where no sheet shows."""
    from papernudge.cli.base.opening import open_named

    return mark_opened(called, open_named(called), assumptions)


def mark_opened(called: str, photo: Photo, assumptions: Sequence[Assumption] = ()) -> MarkedPage:
    """The same for a photo that is decoded already."""
    from papernudge.cli.sheets.form import forms
    from papernudge.hints.solver import solve_soon
    from papernudge.vision.codes.recognise import look_for_code
    from papernudge.vision.failure import Failure
    from papernudge.vision.read import read_page
    from papernudge.vision.views import glimpse

    reading = read_page(photo.pixels, solve=solve_soon)
    if isinstance(reading, Failure):
        raise from_failure(reading, photo.name)
    corners = [grid.corners for grid in reading.grids if grid.mesh is not None]
    seen = look_for_code(photo.pixels, corners, decode, forms())
    page = seen.page
    if page is None:
        raise _no_code(photo.name, seen.other)
    glimpses = [glimpse(photo.pixels, g.mesh) for g in reading.grids if g.mesh is not None]
    if _is_elsewhere(page.tasks, glimpses):
        raise Stop(
            Exit.NO_GRID,
            message("another sheet's code", called=photo.name, sheet=page.name),
            stage="mark",
            reason="another sheet",
        )
    said = {(one.grid, one.cell): one.digit or 0 for one in assumptions}
    answers = marked(page.tasks, glimpses, said)
    return MarkedPage(called, page, answers, photo.pixels, reading.quarter_turns)


def _no_code(called: str | Message, other: str) -> Stop:
    """``other``: the text of a square code that is none of ours."""
    if other.startswith(PREFIX[:2]):
        return Stop(
            Exit.NO_GRID,
            message("another version's code", called=called),
            stage="mark",
            reason="another code",
        )
    if other:
        return Stop(
            Exit.NO_GRID,
            message("something else's code", called=called),
            stage="mark",
            reason="another code",
        )
    return Stop(
        Exit.NO_GRID,
        message("no sheet code", called=called),
        stage="mark",
        reason="no code",
    )


def _is_elsewhere(tasks: Sequence[Task], grids: Sequence[Glimpse]) -> bool:
    """Whether the photo shows grids well enough, and none of them is one of the positions."""
    readable = [grid for grid in grids if grid.chances.max(axis=1).mean() > SAME]
    return bool(readable) and all(_likeness(t, g) < _OTHER for t in tasks for g in grids)


def marked(
    tasks: Sequence[Task],
    grids: Sequence[Glimpse],
    said: Mapping[tuple[int | None, int], int],
) -> tuple[Marked, ...]:
    """Each position on the grid that shows its printed digits; unsure if none does.

    ``grids``: those of the photo. ``said``: what the user says stands in a cell of the position
    of a number, 0 for nothing.
    """
    from papernudge.cli.sheets.answers import by_hand, posterior
    from papernudge.vision.views import page_of, seen

    places = [(task, _place(task, grids)) for task in tasks]
    found = [(task, place) for task, place in places if place is not None]
    page = page_of([place for _, place in found])
    looks = [
        (task, seen(place, [c for c, mark in enumerate(task.digits) if mark == "."], page))
        for task, place in found
    ]
    answers = {task.number: Marked(task, (), UNSURE) for task in tasks}
    for (task, place), chances in zip(found, by_hand(looks), strict=True):
        sure = posterior(task, chances)
        for (number, cell), digit in said.items():
            if number == task.number:
                sure[cell] = 0.0
                sure[cell, digit] = 1.0
        answers[task.number] = replace(judged(task, sure), crossings=place.mesh.crossings)
    return tuple(answers[task.number] for task in tasks)


def _place(task: Task, grids: Sequence[Glimpse]) -> Glimpse | None:
    """The grid that shows the position's printed digits."""
    best = max(grids, key=lambda grid: _likeness(task, grid), default=None)
    return best if best is not None and _likeness(task, best) >= SAME else None


def _likeness(task: Task, grid: Glimpse) -> float:
    """The share of the position's printed digits that a grid shows."""
    printed = [(cell, int(mark)) for cell, mark in enumerate(task.digits) if mark != "."]
    # A sheet that prints nothing, which no drill makes, is nowhere to be recognised by.
    return sum(float(grid.chances[at]) for at in printed) / max(1, len(printed))


def log_rows(marked: MarkedPage, day: str, seconds: float | None, pupil: str = "") -> list[Row]:
    """What the log keeps of a page. ``seconds``: that the whole page took, None where unsaid;
    ``pupil``: whose it is, '' where that is unsaid.
    """
    each = None if seconds is None else seconds / max(1, len(marked.answers))
    if each is None and marked.page.minutes:
        each = 60.0 * marked.page.minutes
    return [
        Row(
            day,
            marked.page.name,
            answer.task.number,
            str(answer.task.reason or "scan"),
            answer.task.looks,
            answer.result,
            answer.found,
            each,
            pupil,
        )
        for answer in marked.answers
    ]
