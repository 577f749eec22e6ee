"""The print of a page: one typeface prints all its givens, so each digit is a copy of its likes.

A digit that the classifier is not sure of, for its shape is a strange one, stands surely read
elsewhere on the page. Each doubtful cell is laid over the mean of the page's sure sixes, eights
and so on, with a little room to slide; the measure is the correlation of the ink, brightness and
contrast left aside (normalised cross-correlation; see J. P. Lewis, "Fast Template Matching",
Vision Interface 1995).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from papernudge.hints.geometry import cell_name
from papernudge.hints.layout import NEWSPAPER
from papernudge.vision.crop import CELL, MARGIN

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Inks = npt.NDArray[np.float32]

LIKES = 3
"""Fewest sure digits of a kind that show what this page prints for it."""
COPY = 0.9
"""Least correlation of a copy with the mean of its likes."""
CLEAR = 2.0
"""By so much must the next likely digit differ more. Of 4,646 sure digits of 50 drawn pages 4,635
are copies of their likes by these two measures and none of another digit; of 709 written by hand
none is a copy of a printed one."""
DARK = 0.6
"""Least darkness of a copy, as a share of its likes': what shines through or was rubbed out is
paler."""
EMPTY = 0.45
"""Darkness, as a share of the palest kind of sure digit, below which nothing is printed. On 80
drawn pages no digit was paler than 0.83 of that, and nearly all blank cells were below 0.3."""
CELLS = NEWSPAPER.many
"""Of a grid whose digits are compared."""
_LINE = 3
"""Pixels of a cell's crop along each side that may show its lines."""
_ROOM = 3
"""Pixels by which a digit may slide: the crop is true to about two."""


class PrintedGrid(Protocol):
    """What is asked of a grid that was read: its number on the page; ``givens`` and ``entries``, 81
    characters or None; ``doubts``, each with its ``cell`` (``R4C7``) and what it is ``about``;
    ``crop``, a JPEG file as :func:`papernudge.vision.crop.crop` makes it.
    """

    @property
    def number(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def givens(self) -> str | None: ...
    @property
    def entries(self) -> str | None: ...
    @property
    def doubts(self) -> Sequence[Mapping[str, Any]]: ...
    @property
    def crop(self) -> bytes | None: ...


@dataclass(frozen=True, eq=False)
class Page:
    """All grids of a page, and what its print looks like once that is asked for."""

    grids: Sequence[PrintedGrid] = ()

    @functools.cached_property
    def untouched(self) -> bool:
        """Whether no digit on the page was surely written by hand."""
        return not any(
            mark != "." and cell_name(cell) not in _doubtful(grid)
            for grid in self.grids
            for cell, mark in enumerate(grid.entries or "")
        )

    def copy_of(self, number: int, cell: int) -> str | None:
        """The digit of which cell ``cell`` (0 to 80) of grid ``number`` shows a copy.

        None where it looks like none, or like two; where the page shows too few sure digits; or
        where one of those looks like another digit itself: then shapes prove nothing here.
        """
        ink = self._inks.get(number)
        found = None if ink is None else self._nearest(ink[cell])
        return found if found is not None and self._is_true(found) else None

    def is_empty(self, number: int, cell: int) -> bool:
        """Whether a cell is far too pale to hold a digit such as this page prints."""
        ink = self._inks.get(number)
        if ink is None or len(self._darkness) < 9:
            return False
        return _dark(ink[cell]) < EMPTY * min(self._darkness.values())

    @functools.cached_property
    def _inks(self) -> dict[int, Inks]:
        """For each puzzle of the page the ink in its cells, (81, H, W)."""
        found = {}
        for grid in self.grids:
            nine = len(grid.givens or "") == CELLS  # other boards print fewer kinds, or more
            ink = _ink(grid.crop) if grid.kind == "puzzle" and nine else None
            if ink is not None:
                found[grid.number] = ink
        return found

    @functools.cached_property
    def _likes(self) -> dict[str, list[Inks]]:
        """The sure digits of each kind."""
        found: dict[str, list[Inks]] = {}
        for grid in self.grids:
            ink = self._inks.get(grid.number)
            if ink is None:
                continue
            for cell, mark in enumerate(grid.givens or ""):
                if mark != "." and cell_name(cell) not in _doubtful(grid):
                    found.setdefault(mark, []).append(ink[cell])
        return {mark: inks for mark, inks in found.items() if len(inks) >= LIKES}

    @functools.cached_property
    def _means(self) -> dict[str, Inks]:
        return {mark: _mean(inks) for mark, inks in self._likes.items()}

    @functools.cached_property
    def _darkness(self) -> dict[str, float]:
        """Of the typical sure digit of each kind."""
        return {
            mark: sorted(map(_dark, inks))[len(inks) // 2] for mark, inks in self._likes.items()
        }

    def _nearest(self, ink: Inks) -> str | None:
        """The digit whose mean is clearly nearest. All nine must be known: an unknown one might
        be nearer still.
        """
        if len(self._means) < 9:
            return None
        alike = sorted((-_laid_over(ink, mean)[0], mark) for mark, mean in self._means.items())
        (best, mark), (second, _) = alike[:2]
        if -best < COPY or 1 + second < CLEAR * (1 + best):
            return None
        return mark if _dark(ink) >= DARK * self._darkness[mark] else None

    def _is_true(self, mark: str) -> bool:
        """Whether no sure digit of the page is a copy of a digit that it was not read as."""
        if mark not in self._checked:
            told = {self._nearest(ink) for ink in self._likes[mark]}
            self._checked[mark] = told <= {mark, None}
        return self._checked[mark]

    @functools.cached_property
    def _checked(self) -> dict[str, bool]:
        return {}


NO_PAGE = Page()


def _doubtful(grid: PrintedGrid) -> set[str]:
    return {doubt["cell"] for doubt in grid.doubts if doubt["about"] != "notes"}


def _ink(crop: bytes | None) -> Inks | None:
    """How much darker than the paper around it, 0 to 1: float32 (81, H, W), the cells of a crop
    without their lines.
    """
    import cv2
    import numpy as np

    if crop is None:
        return None
    grey = cv2.imdecode(np.frombuffer(crop, np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        return None
    inner = np.asarray(grey, np.float32)[MARGIN:-MARGIN, MARGIN:-MARGIN]
    cells = inner.reshape(9, CELL, 9, CELL).swapaxes(1, 2).reshape(81, CELL, CELL)
    cells = cells[:, _LINE:-_LINE, _LINE:-_LINE]
    paper = np.percentile(cells, 70, axis=(1, 2), keepdims=True)
    return np.asarray(np.clip(1 - cells / np.maximum(paper, 1), 0, 1), np.float32)


def _dark(ink: Inks) -> float:
    """How dark the darkest hundredth of a cell is."""
    import numpy as np

    return float(np.percentile(ink, 99))


def _laid_over(ink: Inks, mean: Inks) -> tuple[float, tuple[int, int]]:
    """The best correlation of a mean with a cell's ink, -1 to 1, and where that is, x/y."""
    import cv2

    alike = cv2.matchTemplate(ink, mean, cv2.TM_CCOEFF_NORMED)
    _, best, _, (x, y) = cv2.minMaxLoc(alike)
    return float(best), (int(x), int(y))


def _mean(inks: Sequence[Inks]) -> Inks:
    """The mean of a digit's likes, each slid to where it fits best."""
    import numpy as np

    side = inks[0].shape[0] - 2 * _ROOM
    mean = np.mean([ink[_ROOM:-_ROOM, _ROOM:-_ROOM] for ink in inks], axis=0)
    for _ in range(2):
        slid = []
        for ink in inks:
            _, (x, y) = _laid_over(ink, np.asarray(mean, np.float32))
            slid.append(ink[y : y + side, x : x + side])
        mean = np.mean(slid, axis=0)
    return np.asarray(mean, np.float32)
