"""The practice log summed up by reason and week."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from papernudge.cli.sheets.log import Row

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
