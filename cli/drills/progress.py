"""``papernudge progress``: what the practice log holds, as a table and as two plots over weeks."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from papernudge.cli.drills.log import Row, kept
from papernudge.cli.exits import Exit, bad_words
from papernudge.cli.paths import LOG_FILES, Named, keep_apart
from papernudge.cli.say import short, show, visible, warn

_ANSWERED = ("right", "also valid", "wrong")


@dataclass(frozen=True, slots=True)
class Week:
    """A reason in a week. ``monday``: its first day; ``answered``: positions that hold an answer
    that was read, ``right`` those with the digit asked for; ``seconds``: the mean a position.
    """

    reason: str
    monday: str
    positions: int
    answered: int
    right: int
    wrong: int
    digits: int
    looks: float
    seconds: float | None

    @property
    def share(self) -> float | None:
        """Right ones among those answered."""
        return self.right / self.answered if self.answered else None

    def to_json(self) -> dict[str, Any]:
        """One entry of ``weeks``."""
        return {
            "reason": self.reason,
            "monday": self.monday,
            "positions": self.positions,
            "answered": self.answered,
            "right": self.right,
            "wrong": self.wrong,
            "digits": self.digits,
            "looks": round(self.looks, 1),
            "seconds": None if self.seconds is None else round(self.seconds, 1),
        }


def weeks_of(rows: Sequence[Row]) -> list[Week]:
    """The rows summed up by reason and week, both in order."""
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        day = datetime.date.fromisoformat(row.day)
        monday = (day - datetime.timedelta(days=day.weekday())).isoformat()
        groups.setdefault((row.reason, monday), []).append(row)
    return [_summed(reason, monday, group) for (reason, monday), group in sorted(groups.items())]


def _summed(reason: str, monday: str, group: Sequence[Row]) -> Week:
    timed = [row.seconds for row in group if row.seconds is not None]
    return Week(
        reason,
        monday,
        len(group),
        sum(row.result in _ANSWERED for row in group),
        sum(row.result == "right" for row in group),
        sum(row.result == "wrong" for row in group),
        sum(row.digits for row in group),
        sum(row.looks for row in group) / len(group),
        sum(timed) / len(timed) if timed else None,
    )


def run_progress(log: Path, picture: Path | None, as_json: bool) -> int:
    """Prints the table or the document, and draws; 5 where rows of the log are damaged.

    Stop (2) for an odd ending, (5) for files.
    """
    from papernudge.cli.files import write_whole

    if picture is not None:
        if picture.suffix.lower() not in (".svg", ".png"):
            raise bad_words(f"--picture OUT ends in .svg or .png; got {short(str(picture))}.")
        named = Named("the log itself", log)
        keep_apart([named, *named.beside(*LOG_FILES)], [Named("--picture OUT", picture)])
    held = kept(log)
    weeks = weeks_of(held.rows)
    if picture is not None:
        from papernudge.cli.drills.plot import as_png, as_svg, plotted

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
