"""How far a run has come: a bar at a terminal, a line per hundred pages elsewhere."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TextIO

EVERY = 100
_WIDTH = 24


@dataclass
class Progress:
    """Counts of a run. ``total``: the pages that this run has to do."""

    out: TextIO
    total: int
    pages: int = 0
    puzzles: int = 0
    doubts: int = 0
    began: float = field(default_factory=time.monotonic)
    _drawn: float = 0.0
    _long: int = 0

    def add(self, puzzles: int, doubts: int) -> None:
        """One more page is done."""
        self.pages += 1
        self.puzzles += puzzles
        self.doubts += doubts
        now = time.monotonic()
        if self.out.isatty():
            if now - self._drawn >= 0.1 or self.pages == self.total:
                self._drawn = now
                line = self.bar(now)
                print("\r" + line.ljust(self._long), end="", file=self.out, flush=True)
                self._long = len(line)
        elif self.pages % EVERY == 0 or self.pages == self.total:
            print(self.line(now), file=self.out, flush=True)

    def end(self) -> None:
        """Leaves the bar standing on a line of its own."""
        if self._long:
            print(file=self.out, flush=True)
            self._long = 0

    def rate(self, now: float) -> float:
        """Pages a second."""
        return self.pages / max(1e-9, now - self.began)

    def line(self, now: float) -> str:
        """All counts in words."""
        left = (self.total - self.pages) / max(1e-9, self.rate(now))
        return (
            f"{self.pages} of {self.total} pages, {self.puzzles} puzzles, {self.doubts} doubts,"
            f" {self.rate(now):.1f} pages a second, {_span(left)} left"
        )

    def bar(self, now: float) -> str:
        """The same behind a bar."""
        full = _WIDTH * self.pages // max(1, self.total)
        return f"[{'=' * full}{' ' * (_WIDTH - full)}] {self.line(now)}"


def looked_at(out: TextIO, files: int | None) -> None:
    """How many files were looked through so far, at a terminal; None when that is over."""
    if out.isatty():
        text = " " * 40 + "\r" if files is None else f"{files} files looked through"
        print("\r" + text, end="", file=out, flush=True)


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
