"""The teacher's road: a practice sheet is snapped, marked on the photo and kept in the log."""

from __future__ import annotations

import asyncio
import datetime
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.trouble import Trouble
from papernudge.cli.said import in_words, spoken

if TYPE_CHECKING:
    from papernudge.cli.sheets.log import Row
    from papernudge.cli.sheets.weeks import Week

PLOT_WIDE = 480
"""Width of the plot, pixels: its words stay readable on a phone."""


@dataclass(frozen=True, slots=True)
class SheetShown:
    """A marked sheet. ``rows``: for the log; ``lines``: number and result of each position."""

    sentence: str
    failed: bool = False
    picture: bytes = b""
    size: tuple[int, int] = (0, 0)
    lines: tuple[tuple[int, str], ...] = ()
    rows: tuple[Row, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetWish:
    """A photo of a practice sheet. ``day``: when it was solved, ``2026-05-01``; ``pupil``: whose
    it is, empty for nobody's.
    """

    photo: bytes
    day: str
    pupil: str = ""

    def answered(self) -> SheetShown:
        """The sheet, marked; a sentence where it is none."""
        from papernudge.cli.phone.work import on_the_phone

        try:
            return _marked(self)
        except Trouble as stop:
            return SheetShown(on_the_phone(stop), failed=True)

    def sorry(self, code: str) -> SheetShown:
        """A sheet that may be sent again."""
        return SheetShown(in_words(f"{code}, again"), failed=True)


def _marked(wish: SheetWish) -> SheetShown:
    import cv2
    import numpy as np

    from papernudge.cli.phone.work import SIDE, opened
    from papernudge.cli.sheets.mark import log_rows, mark_opened
    from papernudge.cli.sheets.marked import marked_picture, summed

    found = mark_opened(in_words("the photo"), opened(wish.photo))
    picture = marked_picture(found, SIDE, ".jpg")
    drawn = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert drawn is not None, "what was encoded just now can be decoded"
    high, wide = drawn.shape
    lines = tuple((answer.task.number, answer.result) for answer in found.answers)
    return SheetShown(
        summed(found),
        picture=picture,
        size=(wide, high),
        lines=lines,
        rows=tuple(log_rows(found, wish.day, None, wish.pupil)),
    )


def today() -> str:
    """The day as the log writes it."""
    return datetime.date.today().isoformat()


async def keep(log: Path, rows: tuple[Row, ...]) -> None:
    """Adds the rows; the same sheet of the same day counts once. Stop (5) on failure."""
    from papernudge.cli.sheets.log import append

    await asyncio.to_thread(append, log, rows)


@dataclass(frozen=True, slots=True)
class Progress:
    """What the log holds. ``names``: of pupils that can be chosen; ``plot``: SVG, empty where there
    is nothing to draw, ``size`` its width and height; ``weeks``: the same in sentences.
    """

    names: tuple[str, ...] = ()
    plot: bytes = b""
    size: tuple[int, int] = (0, 0)
    weeks: tuple[str, ...] = ()


async def progress(log: Path, pupil: str) -> Progress:
    """What the log holds, of one pupil where there is a name. Stop (5) on failure."""
    return await asyncio.to_thread(_progress, log, pupil)


def _progress(log: Path, pupil: str) -> Progress:
    from papernudge.cli.sheets.log import pupils, read
    from papernudge.cli.sheets.plot import as_svg, plotted
    from papernudge.cli.sheets.weeks import curves_of, weeks_of

    if not log.exists():
        return Progress()
    rows = read(log)
    names = tuple(name for name in pupils(rows) if name and name == taken_name(name))
    held = [row for row in rows if pupil in ("", row.pupil)]
    if not held:
        return Progress(names)
    told = tuple(_told(week, not pupil) for week in weeks_of(held))
    curves = curves_of(held)
    if all(week.share is None and week.seconds is None for week in curves):
        return Progress(names, weeks=told)
    plot = plotted(curves, PLOT_WIDE)
    return Progress(names, as_svg(plot), (plot.width, plot.height), told)


def _told(week: Week, named: bool) -> str:
    from papernudge.cli.base.say import visible

    whose = "week of" if named and week.pupil else "week"
    how = "none" if not week.answered else "right" if week.seconds is None else "right and slow"
    return in_words(
        f"{whose}, {how}",
        pupil=visible(week.pupil),
        reason=visible(week.practised),
        monday=spoken().date(datetime.date.fromisoformat(week.monday)),
        right=week.right,
        answered=week.answered,
        seconds=week.seconds,
    )


def taken_name(text: str) -> str:
    """A pupil's name as it is kept, empty where it is none."""
    from papernudge.cli.sheets.log import pupil_named

    try:
        return pupil_named(text)
    except Trouble:
        return ""


def solve_row(givens: str, looks: int, seconds: float, pupil: str) -> Row:
    """A whole puzzle solved against the clock, as the log keeps it. ``givens``: 81 characters."""
    from papernudge.cli.sheets.log import Row

    name = f"solve-{hashlib.sha256(givens.encode()).hexdigest()[:8]}"
    blank = givens.count(".")
    return Row(today(), name, 1, "whole puzzle", looks, "right", blank, seconds, pupil)
