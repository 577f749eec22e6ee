"""How far a run has come: one line at a terminal of any width, nothing elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, TextIO

from papernudge.cli.said import in_words

if TYPE_CHECKING:
    from types import TracebackType

    import rich.progress


_ROOM_FOR_A_BAR = 76
"""Columns from which all counts and a bar fit on a line, up to a million pages."""


class Progress:
    """A line that says what is done, how long the rest takes and what was found. It is drawn only
    where ``out`` is a terminal; rich, which draws it, is imported only there.

    ``total``: the pages that this run has to do. A context: the line is left standing at its end.
    """

    def __init__(self, out: TextIO, total: int) -> None:
        self.total, self.pages, self.puzzles, self.doubts = total, 0, 0, 0
        self._line = _line_of_pages(out) if total and out.isatty() else None
        words = in_words("pages at first", done=0, total=total)
        self._task = self._line.add_task("", total=total, words=words) if self._line else None

    def add(self, puzzles: int, doubts: int) -> None:
        """One more page is done."""
        self.pages += 1
        self.puzzles += puzzles
        self.doubts += doubts
        if self._line is not None and self._task is not None:
            self._line.update(self._task, advance=1)
            self._line.update(self._task, words=self._said(), refresh=True)

    def _said(self) -> str:
        assert self._line is not None
        left = self._line.tasks[0].time_remaining
        return in_words(
            "pages so far" if left is None else "pages so far, left",
            done=self.pages,
            total=self.total,
            left="" if left is None else span(left),
            puzzles=self.puzzles,
            doubts=self.doubts,
        )

    def __enter__(self) -> Progress:
        if self._line is not None:
            self._line.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._line is not None:
            self._line.stop()


class Looking:
    """How many were looked through so far, at a terminal; the line goes when that is over.
    ``code``: what is said, of a ``count`` and of ``data``.
    """

    def __init__(self, out: TextIO, code: str = "files looked through", **data: object) -> None:
        self._code, self._data, self._count = code, data, 0
        self._line = _line_of_many(out) if out.isatty() else None
        self._task = self._line.add_task("", total=None, words=self._said()) if self._line else None

    def _said(self) -> str:
        return in_words(self._code, count=self._count, **self._data)

    def add(self) -> None:
        """One more was looked through."""
        if self._line is not None and self._task is not None:
            self._count += 1
            self._line.update(self._task, advance=1, words=self._said(), refresh=True)

    def __enter__(self) -> Looking:
        if self._line is not None:
            self._line.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._line is not None:
            self._line.stop()


def _line_of_pages(out: TextIO) -> rich.progress.Progress:
    from rich.progress import BarColumn, TextColumn

    # What matters most comes first: what a narrow terminal has no room for is cut at the end.
    words = TextColumn("{task.fields[words]}", markup=False)
    line = _line(out, words)
    if line.console.width >= _ROOM_FOR_A_BAR:
        line.columns = (words, BarColumn(bar_width=None))
    return line


def _line_of_many(out: TextIO) -> rich.progress.Progress:
    from rich.progress import TextColumn

    return _line(out, TextColumn("{task.fields[words]}", markup=False), stays=False)


def _line(
    out: TextIO, *columns: rich.progress.ProgressColumn, stays: bool = True
) -> rich.progress.Progress:
    """Drawn when something is added: a thread that redraws would be there when workers are forked.
    What others print meanwhile goes its own way.
    """
    from rich.console import Console
    from rich.progress import Progress as Line

    return Line(
        *columns,
        console=Console(file=out),
        auto_refresh=False,
        transient=not stays,
        expand=True,
        redirect_stdout=False,
        redirect_stderr=False,
    )


def span(seconds: float) -> str:
    """A time as people say it."""
    if seconds < 90:
        return in_words("seconds", seconds=seconds)
    minutes = round(seconds / 60)
    if minutes < 90:
        return in_words("minutes", minutes=minutes)
    return in_words("hours and minutes", hours=minutes // 60, minutes=minutes % 60)
