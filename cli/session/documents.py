"""The JSON of what was read; the depths' own fields come from the types that hold them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from papernudge.cli.base.trouble import Trouble
from papernudge.hints.layout import NEWSPAPER, Layout

if TYPE_CHECKING:
    from papernudge.cli.session.pages import Page
    from papernudge.vision.reading import Doubt, GridReading

Document = dict[str, Any]

FORMAT = 1


def layout_field(layout: Layout) -> Document:
    """Which board it is, told of all but the newspaper's."""
    if layout is NEWSPAPER:
        return {}
    from papernudge.hints.shapes import as_data

    return {"layout": as_data(layout)}


def failure_document(called: str | None, trouble: Trouble) -> Document:
    """A photo that came to nothing, in its place among the others."""
    error = {"stage": trouble.stage, "reason": trouble.reason, "sentence": trouble.sentence}
    return {"format": FORMAT, "photo": called, "error": error}


def page_document(page: Page) -> Document:
    """All that was read on a page."""
    size = list(page.reading.size) if page.photo is not None else None
    return {
        "format": FORMAT,
        "photo": page.called,
        "size": size,
        "grids": [grid_document(grid, page.photo is not None) for grid in page.grids],
    }


def grid_document(grid: GridReading, on_photo: bool) -> Document:
    """One grid; cells that hold nothing special are left out of the maps."""
    cell_name = grid.layout.name
    corners = [[round(float(x), 1), round(float(y), 1)] for x, y in grid.corners]
    out: Document = {
        "kind": str(grid.kind),
        "corners": corners if on_photo else None,
        "givens": grid.givens if grid.cells else None,
        "entries": grid.entries if grid.cells else None,
        "notes": {cell_name(c): sorted(r.notes) for c, r in enumerate(grid.cells) if r.notes},
        "struck": [cell_name(c) for c, r in enumerate(grid.cells) if r.struck],
        "doubts": [doubt_document(doubt, grid) for doubt in grid.doubts],
        "restored": [cell_name(c) for c in grid.restored],
        "quality": {"ok": grid.quality.ok, "reason": grid.quality.reason},
        "chance_all_right": _chance(grid.chance_all_right),
        **layout_field(grid.layout),
    }
    return out


def doubt_document(doubt: Doubt, grid: GridReading | None = None) -> Document:
    """One doubt; ``null`` stands for a blank cell, or for one that can't be seen. One about notes
    says which ones were read; ``instead`` holds the digits that may be noted, or not, unlike read.
    One about the layout says the cells of the block that its cell is read in, and of the other that
    it may be in, as ``regions``.
    """
    layout = NEWSPAPER if grid is None else grid.layout
    noted = grid is not None and doubt.about == "notes"
    notes = {"notes": sorted(grid.cells[doubt.cell].notes)} if grid and noted else {}
    out: Document = {
        "cell": layout.name(doubt.cell),
        "about": doubt.about,
        "read": doubt.read,
        "chance": _chance(doubt.chance),
        "instead": [{"digit": d, "chance": _chance(p)} for d, p in doubt.instead],
        **notes,
    }
    if doubt.why is not None:
        out["why"] = str(doubt.why)
    if doubt.regions:
        out["regions"] = [layout.names(cells) for cells in doubt.regions]
    return out


def _chance(value: float) -> float:
    return round(min(1.0, max(0.0, float(value))), 4)
