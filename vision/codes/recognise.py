"""Finds the sheet code in a photo: flattened by the grids, as it lies, piece by piece, then drawn
out to either side; what is found but can't be read is straightened and tried again.

A reader of square codes is slow, and a page without one must be told soon. So the pieces that hold
a code's marks (``eyes.py``) are looked at first; of the others just so many as ``PATIENCE`` allows,
counted in pixels, not in seconds: a slow machine finds what a fast one finds.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from papernudge.vision.codes.eyes import boxes_in, is_noise, marks_in
from papernudge.vision.codes.straighten import QUIET, straightened

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Matrix = npt.NDArray[np.float64]
    Points = npt.NDArray[np.float64]
    Raster = npt.NDArray[np.uint8]
    Corners = npt.NDArray[np.float64]

_SIDE = 900
"""Pixels of a flattened piece that a code is looked for in."""
_AROUND = 0.5
"""So much of the code's side is looked at on every side of where it should be."""
_STRETCH = 1.7
_FIT = 0.35
"""Grids fit a form of page when their corners lie this near to it, in cells of the form."""
PATIENCE = 8e6
"""Pixels that are looked at without a mark in them."""
HOPE, LITTLE_HOPE = 36e6, 14e6
"""Pixels that are looked at with marks in them: fewer where the marks are those of print."""
_ALL_OVER, _DENSE, _THREE_EYES = 14, 6, 0.3
"""Print has marks in so many places and more, squares of a thirtieth of the page, and nowhere more
than so many, or less than this share of them in the nine fullest: those of a code lie close
together, row upon row, in three places. (Of 40 photographed sheets the nine held 0.35 and more, of
48 pages of text in 16 typefaces with fifty marks or more 0.34 and less.)"""
_PAIR, _CROWDED = 2.5, 8e6
"""What each pair of boxes in a view counts for, in pixels, since the second reader compares each
with each; and what they may count for together before it is left out: it takes minutes for a page
of small boxes."""
_MARKS = 4
"""Fewest marks of a piece that may hold a code: a code's own three are seen in many rows, print
looks like one once or twice by chance."""
_STRAIGHTENED = 6e6
"""What trying to straighten a symbol counts for."""


T = TypeVar("T")
Square = tuple[float, float, float]
"""x and y of its upper left corner from that of the paper, y down, and its side: points."""


@dataclass(frozen=True, slots=True)
class PageForm:
    """Where grids and codes stand on a kind of page, in reading order. ``size``: of the paper,
    width and height, points.
    """

    size: tuple[float, float]
    grids: tuple[Square, ...]
    codes: tuple[Square, ...]


@dataclass(frozen=True)
class Seen(Generic[T]):
    """``page``: that the code tells of; ``other``: the text of a square code that is none of ours,
    empty where none was seen.
    """

    page: T | None
    other: str = ""


@dataclass(frozen=True, eq=False)
class _Piece:
    """``to``: from the raster to the piece, homogeneous; ``views``: what to look at, one after the
    other; ``size``: width and height, pixels.
    """

    to: Matrix
    size: tuple[int, int]
    views: Callable[[], Iterator[Any]]

    @property
    def area(self) -> float:
        """About how many pixels of the raster it covers."""
        (a, b, _), (c, d, _), _ = (self.to / self.to[2, 2]).tolist()
        return float(self.size[0] * self.size[1] / max(abs(a * d - b * c), 1e-9))

    def holds(self, marks: Points) -> bool:
        """Whether marks lie in it."""
        import cv2

        if not len(marks):
            return False
        x, y = cv2.perspectiveTransform(marks[None], self.to)[0].T
        inside = (x > 0) & (x < self.size[0]) & (y > 0) & (y < self.size[1])
        return int(inside.sum()) >= _MARKS


@dataclass
class _Look(Generic[T]):
    """One photo's search: what a text tells, what may still be spent, and what was seen. ``boxes``:
    how many the photo has a pixel.
    """

    decode: Callable[[str], T | None]
    boxes: float = 0.0
    patience: float = PATIENCE
    hope: float = HOPE
    other: str = ""
    bent: list[tuple[Any, Any, bool]] = field(default_factory=list)

    def spend(self, pixels: float, is_hopeful: bool) -> bool:
        """Whether there is enough left."""
        left = self.hope if is_hopeful else self.patience
        if left <= 0:
            return False
        if is_hopeful:
            self.hope -= pixels
        else:
            self.patience -= pixels
        return True


def look_for_code(
    raster: Raster,
    grids: Sequence[Corners],
    decode: Callable[[str], T | None],
    forms: Sequence[PageForm],
) -> Seen[T]:
    """The page that the photo shows, or what other square code it shows.

    ``raster``: uint8 (H, W, 3). ``grids``: for each grid, in reading order, its corners as a person
    reads it, float64 (4, 2), raster x/y. ``decode``: what a code's text tells, None for one that is
    none of ours; ``forms``: of the pages that may be shown.
    """
    import cv2

    grey = cv2.cvtColor(raster, cv2.COLOR_BGR2GRAY)
    marks = marks_in(grey)
    look = _Look(
        decode,
        boxes_in(grey) / grey.size,
        hope=LITTLE_HOPE if _are_print(marks, max(grey.shape)) else HOPE,
    )
    stages: tuple[Callable[[], Iterator[_Piece]], ...] = (
        lambda: itertools.chain(_by_form(grey, grids, forms), _whole(grey)),
        lambda: _tiles(grey),
        lambda: _stretched(grey),
    )
    for stage in stages:
        pieces = [(piece, piece.holds(marks)) for piece in stage()]
        look.bent.clear()
        for piece, holds in sorted(pieces, key=lambda one: not one[1]):
            page = _looked_at(look, piece, holds)
            if page is not None:
                return Seen(page)
        page = _straightened(look)
        if page is not None:
            return Seen(page)
    return Seen(None, look.other)


def _are_print(marks: Points, side: int) -> bool:
    places = sorted(Counter((int(30 * x / side), int(30 * y / side)) for x, y in marks).values())
    if len(places) < _ALL_OVER:
        return False
    return places[-1] <= _DENSE or sum(places[-9:]) < _THREE_EYES * len(marks)


def _looked_at(look: _Look[T], piece: _Piece, holds: bool) -> T | None:
    import cv2

    if not look.spend(0, holds):
        return None
    crowd = _PAIR * (look.boxes * piece.area) ** 2
    alone = crowd > _CROWDED
    for view in piece.views():
        if not look.spend(view.size + (0 if alone else crowd), holds):
            return None
        if is_noise(view):
            continue
        for detector in (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco())[: 1 if alone else 2]:
            text, corners = _read(detector, view)
            page = look.decode(text)
            if page is not None:
                return page
            look.other = look.other or text
            if corners is not None:
                look.bent.append((view, corners, holds))
    return None


def _straightened(look: _Look[T]) -> T | None:
    for view, corners, holds in sorted(look.bent, key=lambda one: not one[2]):
        if not look.spend(_STRAIGHTENED, holds):
            continue
        for symbol in straightened(view, corners):
            text = _read_flat(symbol)
            page = look.decode(text)
            if page is not None:
                return page
            look.other = look.other or text
    return None


def _read(detector: Any, piece: Any) -> tuple[str, Any]:
    """The text of a piece's code, and where a code seems to be, float (4, 2)."""
    import cv2

    try:
        text, corners, _ = detector.detectAndDecode(piece)
    except cv2.error:  # some outlines that it proposes are too degenerate for itself
        return "", None
    return text, None if corners is None else corners.reshape(-1, 2)[:4]


def _read_flat(symbol: Any) -> str:
    """The text of a symbol whose place is known: no reader needs to find it."""
    import cv2
    import numpy as np

    low, high = QUIET, symbol.shape[0] - QUIET
    corners = np.array([[(low, low), (high, low), (high, high), (low, high)]], np.float32)
    try:
        return str(cv2.QRCodeDetector().decode(symbol, corners)[0])
    except cv2.error:
        return ""


def _by_form(grey: Any, grids: Sequence[Corners], forms: Sequence[PageForm]) -> Iterator[_Piece]:
    """Both codes of every form that the grids fit, best fit first, seen straight from above."""
    import cv2
    import numpy as np

    fits = []
    for form in forms:
        if not grids or len(form.grids) < len(grids):
            continue
        boxes = form.grids[: len(grids)]
        places = np.concatenate([_corners(box) for box in boxes])
        seen = np.concatenate(list(grids)).astype(np.float64)
        matrix: Any = cv2.findHomography(seen, places, 0)[0]
        if matrix is None:  # corners in one line
            continue
        there = cv2.perspectiveTransform(seen[None], matrix)[0]
        off = float(np.abs(there - places).max()) / (boxes[0][2] / 9)
        if off < _FIT:
            fits.append((off, len(form.grids), form.codes, matrix))
    for _, _, codes, matrix in sorted(fits, key=lambda fit: fit[:2]):
        for x, y, side in codes:
            margin = _AROUND * side
            scale = _SIDE / (side + 2 * margin)
            left, top = x - margin, y - margin
            move = np.array([[scale, 0, -left * scale], [0, scale, -top * scale], [0, 0, 1]])
            yield _flat_piece(grey, move @ matrix)


def _flat_piece(grey: Any, matrix: Any) -> _Piece:
    import cv2

    def views() -> Iterator[Any]:
        flat = cv2.warpPerspective(
            grey, matrix, (_SIDE, _SIDE), flags=cv2.INTER_CUBIC, borderValue=255
        )
        yield flat
        yield from _sharpened(flat)

    return _Piece(matrix, (_SIDE, _SIDE), views)


def _sharpened(piece: Any) -> Iterator[Any]:
    """Unsharp masks at three sizes: modules of two or three pixels run into each other."""
    import cv2

    for side in (1000, 500, 720):
        scale = side / max(piece.shape)
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        sized = cv2.resize(piece, None, fx=scale, fy=scale, interpolation=how)
        soft = cv2.GaussianBlur(sized, (0, 0), side / 200)
        yield cv2.addWeighted(sized, 2.5, soft, -1.5, 0)


def _corners(square: Square) -> Corners:
    """Its four corners, clockwise from the upper left."""
    import numpy as np

    x0, y0, side = square
    x1, y1 = x0 + side, y0 + side
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], np.float64)


def _whole(grey: Any) -> Iterator[_Piece]:
    import cv2
    import numpy as np

    def views() -> Iterator[Any]:
        yield grey
        if max(grey.shape) > 2000:
            yield cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)

    yield _Piece(np.eye(3), grey.shape[::-1], views)


def _tiles(grey: Any) -> Iterator[_Piece]:
    """Overlapping pieces, as they are and sharpened: for curled sheets, and those of which not all
    grids were found.
    """
    for x, y, part in _places(*grey.shape):
        yield _cut_piece(grey, (x, y), part, sharpened=True)


def _stretched(grey: Any) -> Iterator[_Piece]:
    """Drawn out upwards, then sideways: where the paper curls away a code lies too flat to be seen
    as one.
    """
    high, wide = grey.shape
    for across, down in ((1.0, _STRETCH), (_STRETCH, 1.0)):
        yield _cut_piece(grey, (0, 0), max(high, wide), (across, down))
        # Pieces of the picture as it is drawn out, said in pixels of the one that is not.
        for x, y, part in _places(round(high * down), round(wide * across)):
            at = (round(x / across), round(y / down))
            yield _cut_piece(grey, at, part, (across, down))


def _cut_piece(
    grey: Any,
    at: tuple[int, int],
    part: int,
    stretch: tuple[float, float] = (1.0, 1.0),
    sharpened: bool = False,
) -> _Piece:
    """``part``: the longest side of the piece once it is drawn out."""
    import cv2
    import numpy as np

    (x, y), (across, down) = at, stretch
    high, wide = round(part / down), round(part / across)
    if stretch != (1.0, 1.0) and part == max(grey.shape):  # all of it
        high, wide = grey.shape

    def views() -> Iterator[Any]:
        piece = grey[y : y + high, x : x + wide]
        if stretch != (1.0, 1.0):
            piece = cv2.resize(piece, None, fx=across, fy=down, interpolation=cv2.INTER_CUBIC)
        yield piece
        if sharpened:
            yield next(_sharpened(piece))

    to = np.array([[across, 0, -x * across], [0, down, -y * down], [0, 0, 1.0]])
    return _Piece(to, (round(wide * across), round(high * down)), views)


def _places(high: int, wide: int) -> Iterator[tuple[int, int, int]]:
    """Where overlapping pieces begin, x and y, and their side."""
    part = int(0.45 * max(high, wide))
    for y in _starts(high, part):
        for x in _starts(wide, part):
            yield x, y, part


def _starts(whole: int, part: int) -> list[int]:
    """Where overlapping pieces begin, the last one at the far end."""
    if whole <= part:
        return [0]
    many = 1 + -(-(whole - part) * 3 // (2 * part))
    return [round(k * (whole - part) / (many - 1)) for k in range(many)]
