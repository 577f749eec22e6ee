"""``papernudge progress``: what the practice log holds, as a table and as two plots over weeks."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from papernudge.cli.base.exits import Exit, bad_words
from papernudge.cli.base.paths import LOG_FILES, Named, keep_apart
from papernudge.cli.base.say import short, show, visible, warn
from papernudge.cli.sheets.log import Row, kept, pupil_named, pupils
from papernudge.cli.sheets.weeks import Week, curves_of, weeks_of

_NAMES = 8


def of_pupil(rows: Sequence[Row], pupil: str) -> list[Row]:
    """Those of one pupil. Stop (2), with the names there are, where no row is."""
    found = [row for row in rows if row.pupil == pupil]
    if not found:
        names = [short(name) for name in pupils(rows) if name]
        more = f" and {len(names) - _NAMES} more" if len(names) > _NAMES else ""
        there = f"it names {', '.join(names[:_NAMES])}{more}" if names else "it names nobody"
        raise bad_words(
            f"This log holds no sheet of {short(pupil)}: {there}; without --pupil it tells all."
        )
    return found


def run_progress(log: Path, picture: Path | None, as_json: bool, pupil: str | None = None) -> int:
    """Prints the table or the document, and draws; 5 where rows of the log are damaged.

    Stop (2) for an odd ending, or a ``pupil`` that the log does not know, (5) for files.
    """
    from papernudge.cli.base.files import write_whole

    if picture is not None:
        if picture.suffix.lower() not in (".svg", ".png"):
            raise bad_words(f"--picture OUT ends in .svg or .png; got {short(str(picture))}.")
        named = Named("the log itself", log)
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
        those = "1 row is" if held.damaged == 1 else f"{held.damaged} rows are"
        warn(
            f"{those} damaged in {log} and left out: expected what mark writes; take a copy from a"
            " backup, or mark those sheets again."
        )
    return int(Exit.FILE if held.damaged else Exit.DONE)


def table(weeks: Sequence[Week]) -> str:
    """A line for each reason and week; pupils where some are named."""
    if not weeks:
        return "Nothing is in this log yet."
    whose = _column("pupil", [visible(week.pupil) or "-" for week in weeks])
    if not any(week.pupil for week in weeks):
        whose = [""] * len(whose)
    what = _column("reason", [visible(week.reason) for week in weeks])
    start, *names = [pupil + reason for pupil, reason in zip(whose, what, strict=True)]
    lines = [f"{start}week of     positions  right  also valid  wrong   share  looks  seconds"]
    for name, week in zip(names, weeks, strict=True):
        share = "-" if week.share is None else f"{week.share:.0%}"
        seconds = "-" if week.seconds is None else f"{week.seconds:.0f}"
        lines.append(
            f"{name}{week.monday}  {week.positions:>9}  {week.right:>5}"
            f"  {week.also_valid:>10}  {week.wrong:>5}  {share:>6}"
            f"  {week.looks:>5.1f}  {seconds:>7}"
        )
    return "\n".join(lines)


def _column(head: str, words: Sequence[str]) -> list[str]:
    wide = max(map(len, (head, *words)))
    return [f"{word:<{wide}}  " for word in (head, *words)]
