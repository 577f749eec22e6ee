"""Puzzles of our own that take a wanted time or ask for a wanted reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from papernudge.hints.drilling import Reason
from papernudge.hints.generate import puzzle
from papernudge.hints.grade import grade
from papernudge.hints.position import Position
from papernudge.hints.walk import walk


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a puzzle is to be like. ``minutes``: from, to, as expected of an ordinary solver;
    ``reason``: one that a line of its walk by cheapest lines rests on; ``givens`` and ``symmetric``
    as ``puzzle`` takes them.
    """

    minutes: tuple[float, float] | None = None
    reason: Reason | None = None
    givens: int = 0
    symmetric: bool = False

    def fits(self, line: str) -> bool:
        """Whether a puzzle with one solution is like that."""
        if self.minutes is not None:
            low, high = self.minutes
            if not low <= grade(line).minutes <= high:
                return False
        reason = self.reason
        return reason is None or any(map(reason.holds, walk(Position.of(line)).lines))


def wanted_puzzles(wanted: Wanted, seed: int = 0, tries: int = 1000) -> Iterator[str]:
    """The puzzles that fit among those of so many seeds, from ``seed`` on. The same words give the
    same puzzles; ValueError for fewer than one try.
    """
    if tries < 1:
        raise ValueError(f"expected a number of tries from 1, got {tries}")
    for number in range(seed, seed + tries):
        line = puzzle(number, wanted.givens, wanted.symmetric)
        if wanted.fits(line):
            yield line
