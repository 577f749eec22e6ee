"""One cell drawn large with characters, for a question at the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from papernudge.cli.session.pages import Sheet

_ROWS, _COLUMNS = 14, 30


def close_up(sheet: Sheet, cell: int) -> str:
    """The cell as dark and light characters; empty where there is no photo to look at."""
    from papernudge.cli.terminal.board import _can_print

    photo, mesh = sheet.page.photo, sheet.grid.mesh
    if photo is None or mesh is None:
        return ""
    import cv2
    import numpy as np

    from papernudge.vision.patches import cut_patches

    patch = cut_patches(photo.pixels, mesh).pixels[cell]
    grey = cv2.cvtColor(patch, cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, (_COLUMNS, _ROWS), interpolation=cv2.INTER_AREA)
    shades = " ░▒▓█" if _can_print("░▒▓█") else " .:*#"
    low, high = float(np.percentile(small, 2)), float(np.percentile(small, 80))
    dark = np.clip((high - small.astype(np.float32)) / max(high - low, 30.0), 0, 0.999)
    rows = ["".join(shades[int(v * len(shades))] for v in row) for row in dark]
    return "\n".join(f"    {row}".rstrip() for row in rows)
