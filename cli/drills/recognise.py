"""Finds the sheet code in a photo: flattened by the grids, as it lies, piece by piece, then drawn
out to either side; what is found but can't be read is straightened and tried again.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from papernudge.cli.drills.code import MOST_EACH, SheetPage, decode
from papernudge.cli.drills.layout import code_boxes, grid_boxes
from papernudge.cli.drills.straighten import QUIET, straightened
from papernudge.cli.paper import PAPERS, Box

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Raster = npt.NDArray[np.uint8]
    Corners = npt.NDArray[np.float64]

_SIDE = 900
"""Pixels of a flattened piece that a code is looked for in."""
_AROUND = 0.5
"""So much of the code's side is looked at on every side of where it should be."""
_STRETCH = 1.7
_FIT = 0.35
"""Grids fit a layout when their corners lie this near to it, in cells of the layout."""


def find_code(raster: Raster, grids: Sequence[Corners]) -> SheetPage | None:
    """The page that the photo shows, None if no code can be read.

    ``raster``: uint8 (H, W, 3). ``grids``: for each grid, in reading order, its corners as a person
    reads it, float64 (4, 2), raster x/y.
    """
    import cv2

    grey = cv2.cvtColor(raster, cv2.COLOR_BGR2GRAY)
    for pieces in (
        itertools.chain(_by_layout(grey, grids), _whole(grey)),
        _tiles(grey),
        _stretched(grey),
    ):
        bent: list[tuple[Any, Any]] = []
        for piece in pieces:
            for detector in (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco()):
                page, corners = _read(detector, piece)
                if page is not None:
                    return page
                if corners is not None:
                    bent.append((piece, corners))
        for piece, corners in bent:
            for symbol in straightened(piece, corners):
                page = _read_flat(symbol)
                if page is not None:
                    return page
    return None


def _read(detector: Any, piece: Any) -> tuple[SheetPage | None, Any]:
    """The page that a piece's code tells of, and where a code seems to be, float (4, 2)."""
    import cv2

    try:
        text, corners, _ = detector.detectAndDecode(piece)
    except cv2.error:  # some outlines that it proposes are too degenerate for itself
        return None, None
    return decode(text), None if corners is None else corners.reshape(-1, 2)[:4]


def _read_flat(symbol: Any) -> SheetPage | None:
    """The page that a symbol tells of whose place is known: no reader needs to find it."""
    import cv2
    import numpy as np

    low, high = QUIET, symbol.shape[0] - QUIET
    corners = np.array([[(low, low), (high, low), (high, high), (low, high)]], np.float32)
    try:
        return decode(cv2.QRCodeDetector().decode(symbol, corners)[0])
    except cv2.error:
        return None


def _by_layout(grey: Any, grids: Sequence[Corners]) -> Iterator[Any]:
    """Both codes of every layout that the grids fit, best fit first, seen straight from above."""
    import cv2
    import numpy as np

    fits = []
    for paper in PAPERS.values():
        for each in range(max(1, len(grids)), MOST_EACH + 1):
            if not grids:
                break
            boxes = grid_boxes(each, paper)[: len(grids)]
            places = np.concatenate([_corners(box, paper) for box in boxes])
            seen = np.concatenate(list(grids)).astype(np.float64)
            matrix: Any = cv2.findHomography(seen, places, 0)[0]
            if matrix is None:  # corners in one line
                continue
            there = cv2.perspectiveTransform(seen[None], matrix)[0]
            off = float(np.abs(there - places).max()) / (boxes[0].side / 9)
            if off < _FIT:
                fits.append((off, each, paper, matrix))
    for _, _, paper, matrix in sorted(fits, key=lambda fit: fit[:2]):
        for box in code_boxes(paper):
            margin = _AROUND * box.side
            scale = _SIDE / (box.side + 2 * margin)
            left, top = box.x - margin, paper[1] - box.y - box.side - margin
            move = np.array([[scale, 0, -left * scale], [0, scale, -top * scale], [0, 0, 1]])
            flat = cv2.warpPerspective(
                grey, move @ matrix, (_SIDE, _SIDE), flags=cv2.INTER_CUBIC, borderValue=255
            )
            yield flat
            yield from _sharpened(flat)


def _sharpened(piece: Any) -> Iterator[Any]:
    """Unsharp masks at three sizes: modules of two or three pixels run into each other."""
    import cv2

    for side in (1000, 500, 720):
        scale = side / max(piece.shape)
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        sized = cv2.resize(piece, None, fx=scale, fy=scale, interpolation=how)
        soft = cv2.GaussianBlur(sized, (0, 0), side / 200)
        yield cv2.addWeighted(sized, 2.5, soft, -1.5, 0)


def _corners(box: Box, paper: tuple[float, float]) -> Corners:
    """Corners of a box, y down from the top of the paper."""
    import numpy as np

    x0, x1 = box.x, box.x + box.side
    y0, y1 = paper[1] - box.y - box.side, paper[1] - box.y
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], np.float64)


def _whole(grey: Any) -> Iterator[Any]:
    import cv2

    yield grey
    if max(grey.shape) > 2000:
        yield cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


def _tiles(grey: Any) -> Iterator[Any]:
    """Overlapping pieces, as they are and sharpened: for curled sheets, and those of which not all
    grids were found.
    """
    for piece in _pieces(grey):
        yield piece
        yield next(_sharpened(piece))


def _stretched(grey: Any) -> Iterator[Any]:
    """Drawn out upwards, then sideways: where the paper curls away a code lies too flat to be seen
    as one.
    """
    import cv2

    for across, down in ((1.0, _STRETCH), (_STRETCH, 1.0)):
        drawn = cv2.resize(grey, None, fx=across, fy=down, interpolation=cv2.INTER_CUBIC)
        yield drawn
        yield from _pieces(drawn)


def _pieces(grey: Any) -> Iterator[Any]:
    high, wide = grey.shape
    part = int(0.45 * max(high, wide))
    for y in _starts(high, part):
        for x in _starts(wide, part):
            yield grey[y : y + part, x : x + part]


def _starts(whole: int, part: int) -> list[int]:
    """Where overlapping pieces begin, the last one at the far end."""
    if whole <= part:
        return [0]
    many = 1 + -(-(whole - part) * 3 // (2 * part))
    return [round(k * (whole - part) / (many - 1)) for k in range(many)]
