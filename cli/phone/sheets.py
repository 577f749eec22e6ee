"""The teacher's road: a practice sheet is snapped, marked on the photo and kept in the log."""

from __future__ import annotations

import asyncio
import datetime
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.trouble import Trouble

if TYPE_CHECKING:
    from papernudge.cli.sheets.log import Row


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
    """A photo of a practice sheet. ``day``: when it was solved, ``2026-05-01``."""

    photo: bytes
    day: str

    def answered(self) -> SheetShown:
        """The sheet, marked; a sentence where it is none."""
        try:
            return _marked(self.photo, self.day)
        except Trouble as stop:
            return SheetShown(stop.sentence, failed=True)

    def sorry(self, what: str) -> SheetShown:
        """A sheet that may be sent again."""
        return SheetShown(f"The photo {what}: send it again.", failed=True)


def _marked(photo: bytes, day: str) -> SheetShown:
    import cv2
    import numpy as np

    from papernudge.cli.phone.work import SIDE, opened
    from papernudge.cli.sheets.mark import mark_opened
    from papernudge.cli.sheets.marked import marked_picture, summed
    from papernudge.cli.sheets.marking import log_rows

    found = mark_opened("the photo", opened(photo))
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
        rows=tuple(log_rows(found, day, None)),
    )


def today() -> str:
    """The day as the log writes it."""
    return datetime.date.today().isoformat()


async def keep(log: Path, rows: tuple[Row, ...]) -> None:
    """Adds the rows; the same sheet of the same day counts once. Stop (5) on failure."""
    from papernudge.cli.sheets.log import append

    await asyncio.to_thread(append, log, rows)


async def progress(log: Path) -> bytes | None:
    """The plot of what the log holds, PNG; None while it holds nothing. Stop (5) on failure."""
    return await asyncio.to_thread(_progress, log)


def _progress(log: Path) -> bytes | None:
    from papernudge.cli.sheets.log import read
    from papernudge.cli.sheets.plot import as_png, plotted
    from papernudge.cli.sheets.weeks import weeks_of

    if not log.exists():
        return None
    weeks = weeks_of(read(log))
    return as_png(plotted(weeks)) if weeks else None


def solve_row(givens: str, looks: int, seconds: float) -> Row:
    """A whole puzzle solved against the clock, as the log keeps it. ``givens``: 81 characters."""
    from papernudge.cli.sheets.log import Row

    name = f"solve-{hashlib.sha256(givens.encode()).hexdigest()[:8]}"
    return Row(today(), name, 1, "whole puzzle", looks, "right", givens.count("."), seconds)
