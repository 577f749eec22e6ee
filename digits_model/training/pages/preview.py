"""A contact sheet of drawn pages with their truth laid over, for the eye."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from papernudge.digits_model.training.pages.draw import Page
from papernudge.digits_model.training.pages.sheet import Raster
from papernudge.digits_model.training.pages.truth import GridTruth

_COLOURS = {"given": (200, 120, 0), "entry": (0, 120, 240), "notes": (160, 0, 160)}


def overlaid(page: Page) -> Raster:
    """The photo with crossings, what stands in each cell, and boxes of ink; same shape."""
    import cv2

    image = page.image.copy()
    for decoy in page.truth.decoys:
        x0, y0, x1, y1 = (round(v) for v in decoy["box"])
        cv2.rectangle(image, (x0, y0), (x1, y1), (0, 160, 0), 1)
        cv2.putText(image, decoy["what"], (x0 + 4, y0 + 14), 0, 0.45, (0, 160, 0), 1, cv2.LINE_AA)
    for grid in page.truth.grids:
        _overlay(image, grid)
    return image


def _overlay(image: Raster, grid: GridTruth) -> None:
    import cv2

    corners = np.round(grid.corners * 8).astype(np.int32)
    cv2.polylines(image, [corners], True, (0, 0, 230), 2, cv2.LINE_AA, 3)
    at = (round(float(grid.corners[0, 0])) + 5, round(float(grid.corners[0, 1])) - 5)
    words = f"{grid.kind} {grid.name}".strip()
    cv2.putText(image, words, at, 0, 0.6, (0, 0, 230), 2, cv2.LINE_AA)
    if grid.crossings is None:
        return
    for x, y in grid.crossings.reshape(-1, 2):
        cv2.circle(
            image, (round(float(x) * 8), round(float(y) * 8)), 16, (0, 0, 230), -1, cv2.LINE_AA, 3
        )
    for i, cell in enumerate(grid.cells):
        if cell.kind == "blank" and not cell.struck:
            continue
        row, column = grid.layout.place(i)
        foot = grid.crossings[row + 1, column]
        text = str(cell.digit or "") + "".join(f" {n}" for n in cell.notes)
        text += "".join(f" /{n}" for n in [*cell.struck_notes, cell.struck_digit] if n)
        colour = _COLOURS.get(cell.kind, (90, 90, 90))
        place = (round(float(foot[0])) + 3, round(float(foot[1])) - 3)
        cv2.putText(image, text.strip(), place, 0, 0.4, colour, 1, cv2.LINE_AA)
        if cell.ink:
            x0, y0, x1, y1 = (round(v * 8) for v in cell.ink)
            cv2.rectangle(image, (x0, y0), (x1, y1), colour, 1, cv2.LINE_AA, 3)


def contact_sheet(pages: Sequence[Page], columns: int = 3, side: int = 640) -> Raster:
    """All pages at ``side`` pixels, overlaid, in rows of ``columns``; each names its seed."""
    import cv2

    tiles = []
    for page in pages:
        image = overlaid(page)
        scale = side / max(image.shape[:2])
        small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        tile = np.full((side + 22, side, 3), 255, np.uint8)
        tile[22 : 22 + small.shape[0], : small.shape[1]] = small[:side, :side]
        words = f"{page.spec.preset} seed {page.spec.seed}"
        cv2.putText(tile, words, (4, 16), 0, 0.5, (0, 0, 0), 1, cv2.LINE_AA)
        tiles.append(tile)
    while len(tiles) % columns:
        tiles.append(np.full_like(tiles[0], 255))
    rows = [np.hstack(tiles[k : k + columns]) for k in range(0, len(tiles), columns)]
    return np.asarray(np.vstack(rows), np.uint8)


def save(image: Raster, path: Path) -> None:
    """Writes PNG or JPEG by the ending; ValueError for one that cv2 cannot write."""
    import cv2

    done, packed = cv2.imencode(path.suffix or ".png", image)
    if not done:
        raise ValueError(f"expected a name ending in .png or .jpg, got {path.name}")
    path.write_bytes(packed.tobytes())
