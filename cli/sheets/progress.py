"""``papernudge progress``: what the practice log holds, as a table and as two plots over weeks."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from papernudge.cli.base.exits import Exit, bad_words
from papernudge.cli.base.paths import LOG_FILES, Named, keep_apart
from papernudge.cli.base.say import short, show, visible, warn
from papernudge.cli.sheets.log import kept
from papernudge.cli.sheets.weeks import Week, weeks_of


def run_progress(log: Path, picture: Path | None, as_json: bool) -> int:
    """Prints the table or the document, and draws; 5 where rows of the log are damaged.

    Stop (2) for an odd ending, (5) for files.
    """
    from papernudge.cli.base.files import write_whole

    if picture is not None:
        if picture.suffix.lower() not in (".svg", ".png"):
            raise bad_words(f"--picture OUT ends in .svg or .png; got {short(str(picture))}.")
        named = Named("the log itself", log)
        keep_apart([named, *named.beside(*LOG_FILES)], [Named("--picture OUT", picture)])
    held = kept(log)
    weeks = weeks_of(held.rows)
    if picture is not None:
        from papernudge.cli.sheets.plot import as_png, as_svg, plotted

        draw = as_svg if picture.suffix.lower() == ".svg" else as_png
        write_whole(picture, draw(plotted(weeks)))
    if as_json:
        show(json.dumps({"format": 1, "weeks": [week.to_json() for week in weeks]}, indent=1))
    else:
        show(table(weeks))
    if held.damaged:
        rows = "1 row is" if held.damaged == 1 else f"{held.damaged} rows are"
        warn(
            f"{rows} damaged in {log} and left out: expected what mark writes; take a copy from a"
            " backup, or mark those sheets again."
        )
    return int(Exit.FILE if held.damaged else Exit.DONE)


def table(weeks: Sequence[Week]) -> str:
    """A line for each reason and week."""
    if not weeks:
        return "Nothing is in this log yet."
    names = [visible(week.reason) for week in weeks]
    wide = max(len("reason"), *map(len, names))
    head = f"{'reason':<{wide}}  week of     positions  right  wrong   share  looks  seconds"
    lines = [head]
    for name, week in zip(names, weeks, strict=True):
        share = "-" if week.share is None else f"{week.share:.0%}"
        seconds = "-" if week.seconds is None else f"{week.seconds:.0f}"
        lines.append(
            f"{name:<{wide}}  {week.monday}  {week.positions:>9}  {week.right:>5}"
            f"  {week.wrong:>5}  {share:>6}  {week.looks:>5.1f}  {seconds:>7}"
        )
    return "\n".join(lines)
