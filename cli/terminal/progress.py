"""``papernudge progress``: what the practice log holds, as a table and as two plots over weeks."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from pathlib import Path

from papernudge.cli.base.breaking import columns, padded
from papernudge.cli.base.exits import Exit, bad_words
from papernudge.cli.base.paths import LOG_FILES, Named, keep_apart
from papernudge.cli.base.say import short, show, visible, warn
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.sheets.log import Row, kept, pupil_named, pupils
from papernudge.cli.sheets.weeks import Week, curves_of, weeks_of
from papernudge.hints.catalogue import message

_NAMES = 8
_HEADS = {
    "week of": 10,
    "positions": 9,
    "right": 5,
    "also valid": 10,
    "wrong": 5,
    "share": 6,
    "looks": 5,
    "seconds": 7,
}
"""The table's columns and how wide they are at least, characters."""


def of_pupil(rows: Sequence[Row], pupil: str) -> list[Row]:
    """Those of one pupil. Stop (2), with the names there are, where no row is."""
    found = [row for row in rows if row.pupil == pupil]
    if not found:
        names = [short(name) for name in pupils(rows) if name]
        more = len(names) - _NAMES
        code = "no sheet of, more" if more > 0 else "no sheet of" if names else "no sheet of nobody"
        listed = spoken().chained("listed", names[:_NAMES])
        raise bad_words(code, pupil=short(pupil), names=listed, more=more)
    return found


def run_progress(log: Path, picture: Path | None, as_json: bool, pupil: str | None = None) -> int:
    """Prints the table or the document, and draws; 5 where rows of the log are damaged.

    Stop (2) for an odd ending, or a ``pupil`` that the log does not know, (5) for files.
    """
    from papernudge.cli.base.files import write_whole

    if picture is not None:
        if picture.suffix.lower() not in (".svg", ".png"):
            raise bad_words("picture ends in svg or png", got=short(str(picture)))
        named = Named(message("the log itself"), log)
        keep_apart([named, *named.beside(*LOG_FILES)], [Named("--picture OUT", picture)])
    wanted = None if pupil is None else pupil_named(pupil)
    held = kept(log)
    rows = held.rows if wanted is None else of_pupil(held.rows, wanted)
    weeks = weeks_of(rows)
    if picture is not None:
        from papernudge.cli.sheets.plot import as_png, as_svg, plotted

        draw = as_svg if picture.suffix.lower() == ".svg" else as_png
        write_whole(picture, draw(plotted(curves_of(rows))))
    if as_json:
        show(json.dumps({"format": 1, "weeks": [week.to_json() for week in weeks]}, indent=1))
    else:
        show(table(weeks))
    if held.damaged:
        warn(in_words_of("rows damaged", held.damaged, log=log))
    return int(Exit.FILE if held.damaged else Exit.DONE)


def table(weeks: Sequence[Week]) -> str:
    """A line for each reason and week; pupils where some are named."""
    if not weeks:
        return in_words("nothing in the log")
    whose = _column(in_words("head, pupil"), [visible(week.pupil) or "-" for week in weeks])
    if not any(week.pupil for week in weeks):
        whose = [""] * len(whose)
    what = _column(in_words("head, reason"), [visible(week.practised) for week in weeks])
    start, *names = [pupil + reason for pupil, reason in zip(whose, what, strict=True)]
    heads = [in_words(f"head, {head}") for head in _HEADS]
    wide = [max(least, columns(head)) for least, head in zip(_HEADS.values(), heads, strict=True)]
    lines = [start + _cells(heads, wide)]
    for name, week in zip(names, weeks, strict=True):
        share = "-" if week.share is None else _percent(week.share)
        seconds = "-" if week.seconds is None else f"{week.seconds:.0f}"
        looks = in_words("looks of a week", looks=week.looks)
        counts = (week.positions, week.right, week.also_valid, week.wrong)
        monday = spoken().date(datetime.date.fromisoformat(week.monday))
        cells = [monday, *map(str, counts), share, looks, seconds]
        lines.append(name + _cells(cells, wide))
    return "\n".join(lines)


def _percent(share: float) -> str:
    return in_words("plot, percent", number=round(100 * share))


def _cells(cells: Sequence[str], wide: Sequence[int]) -> str:
    first, *others = zip(cells, wide, strict=True)
    right = (padded(cell, width, right=True) for cell, width in others)
    return "  ".join([padded(*first), *right])


def _column(head: str, words: Sequence[str]) -> list[str]:
    wide = max(map(columns, (head, *words)))
    return [f"{padded(word, wide)}  " for word in (head, *words)]
