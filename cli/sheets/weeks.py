"""The practice log summed up by pupil, reason and week."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from papernudge.cli.said import ENGLISH, in_words, spoken
from papernudge.cli.sheets.log import Row, pupils
from papernudge.hints.drilling import Reason

_ANSWERED = ("right", "also valid", "wrong")


@dataclass(frozen=True, slots=True)
class Week:
    """A pupil's week with a reason. ``pupil``: '' where nobody was named; ``reason``: '' for all
    together; ``monday``: its first day; ``answered``: positions that hold an answer that was read,
    ``right`` those with the digit asked for, ``also_valid`` those with another one that is right;
    ``seconds``: the mean a position.
    """

    reason: str
    monday: str
    positions: int
    answered: int
    right: int
    also_valid: int
    wrong: int
    digits: int
    looks: float
    seconds: float | None
    pupil: str = ""

    @property
    def curve(self) -> str:
        """What the plot calls its curve."""
        return self.practised or self.pupil or in_words("nobody named")

    @property
    def practised(self) -> str:
        """The reason in words; one that is no reason of ours as it stands in the log."""
        code = f"practised, {self.reason}"
        if code in ENGLISH.said:
            return in_words(code)
        try:
            return Reason.parse(self.reason).said(spoken())
        except ValueError:
            return self.reason

    @property
    def share(self) -> float | None:
        """Right ones among those that were right or wrong: a digit that can be written too is no
        proof of the reason, and no mistake.
        """
        judged = self.right + self.wrong
        return self.right / judged if judged else None

    def to_json(self) -> dict[str, Any]:
        """One entry of ``weeks``."""
        named = {"pupil": self.pupil} if self.pupil else {}
        return named | {
            "reason": self.reason,
            "monday": self.monday,
            "positions": self.positions,
            "answered": self.answered,
            "right": self.right,
            "also_valid": self.also_valid,
            "wrong": self.wrong,
            "digits": self.digits,
            "looks": round(self.looks, 1),
            "seconds": None if self.seconds is None else round(self.seconds, 1),
        }


def weeks_of(rows: Sequence[Row]) -> list[Week]:
    """The rows summed up by pupil, reason and week, all in order."""
    return _grouped([(row.pupil, row.reason, row) for row in rows])


def curves_of(rows: Sequence[Row]) -> list[Week]:
    """What is plotted: a curve a reason, or, of several pupils, a curve each over all reasons."""
    if len(pupils(rows)) < 2:
        return weeks_of(rows)
    return _grouped([(row.pupil, "", row) for row in rows])


def _grouped(named: Sequence[tuple[str, str, Row]]) -> list[Week]:
    groups: dict[tuple[str, str, str], list[Row]] = {}
    for pupil, reason, row in named:
        day = datetime.date.fromisoformat(row.day)
        monday = (day - datetime.timedelta(days=day.weekday())).isoformat()
        groups.setdefault((pupil, reason, monday), []).append(row)
    return [_summed(*names, group) for names, group in sorted(groups.items(), key=_in_order)]


def _in_order(named: tuple[tuple[str, str, str], Any]) -> tuple[str, ...]:
    pupil, reason, monday = named[0]
    return pupil.casefold(), pupil, reason, monday


def _summed(pupil: str, reason: str, monday: str, group: Sequence[Row]) -> Week:
    timed = [row.seconds for row in group if row.seconds is not None]
    return Week(
        reason,
        monday,
        len(group),
        sum(row.result in _ANSWERED for row in group),
        sum(row.result == "right" for row in group),
        sum(row.result == "also valid" for row in group),
        sum(row.result == "wrong" for row in group),
        sum(row.digits for row in group),
        sum(row.looks for row in group) / len(group),
        sum(timed) / len(timed) if timed else None,
        pupil,
    )
