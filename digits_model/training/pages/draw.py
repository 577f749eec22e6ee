"""From a spec to a photo and its truth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.board_marks import mark_board
from papernudge.digits_model.training.pages.board_more import mark_more
from papernudge.digits_model.training.pages.board_print import (
    Stand,
    cross_board,
    print_board,
    rule_board,
    tint_board,
)
from papernudge.digits_model.training.pages.board_puzzles import board_puzzle
from papernudge.digits_model.training.pages.boards import MARKS, Board
from papernudge.digits_model.training.pages.camera import expose
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.clutter import Clutter
from papernudge.digits_model.training.pages.filling import fill_cells, write_grid
from papernudge.digits_model.training.pages.fonts import Supplies, supplies
from papernudge.digits_model.training.pages.hand import Writer
from papernudge.digits_model.training.pages.layout import Box, Place, lay_out
from papernudge.digits_model.training.pages.paper import TILE, graphite, lay_on_paper
from papernudge.digits_model.training.pages.printing import print_givens, rule_grid, shade_cells
from papernudge.digits_model.training.pages.puzzles import puzzle
from papernudge.digits_model.training.pages.sheet import Sheet
from papernudge.digits_model.training.pages.spec import PageSpec
from papernudge.digits_model.training.pages.strokes import samples
from papernudge.digits_model.training.pages.truth import CellTruth, GridTruth, PageTruth, Spot
from papernudge.digits_model.training.pages.view import (
    Points,
    View,
    cell_side,
    crossings,
    curl_of,
    outline,
)
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.masks import SYMBOLS


@dataclass(frozen=True, eq=False, slots=True)
class Page:
    """A drawn photo. ``image``: uint8 (height, width, 3), blue, green, red."""

    spec: PageSpec
    image: npt.NDArray[np.uint8]
    truth: PageTruth


@dataclass(slots=True)
class _Drawn:
    """A grid on the flat page, before it is known whether the frame holds it."""

    kind: str
    name: str
    box: Box
    cells: list[CellTruth]
    ink: dict[int, list[Box]]
    solution: str = ""
    puzzle: int = -1
    spots: dict[int, list[Spot]] = field(default_factory=dict)
    board: Board | None = None

    @property
    def lines(self) -> int:
        """Cells each way."""
        return self.board.layout.side if self.board else 9


def draw(spec: PageSpec, held: Supplies | None = None) -> Page:
    """Draws the page of ``spec``; the same spec and supplies give the same bytes.

    Raises MissingSuppliesError when a typeface or the pen strokes are not at hand.
    """
    held = held or supplies()
    layout = lay_out(spec)
    view = View(spec, layout)
    sheet = _sheet(spec, view)
    drawn, decoys = _print_page(sheet, spec, held, view)
    lay_on_paper(sheet, spec, held)
    image = expose(sheet, spec, view)
    truth = PageTruth((spec.width, spec.height))
    for grid in drawn:
        found = _grid_truth(grid, view)
        if found is not None:
            truth.grids.append(found)
    rims = _seen([outline(box) for _, box in decoys], view)
    for (what, _), at in zip(decoys, rims, strict=True):
        if _inside(at, view).any():
            low, high = at.min(axis=0), at.max(axis=0)
            truth.decoys.append({"what": what, "box": [round(float(v), 1) for v in (*low, *high)]})
    return Page(spec, image, truth)


def _sheet(spec: PageSpec, view: View) -> Sheet:
    """The part of the page that the frame can see, at a resolution near the photo's."""
    edge_x, edge_y = np.linspace(0, spec.width - 1, 9), np.linspace(0, spec.height - 1, 9)
    rim = np.array([(x, y) for x in edge_x for y in edge_y])
    page, _ = view.to_page(rim)
    low, high = page.min(axis=0) - 0.3, page.max(axis=0) + 0.3
    p = view.layout.page
    cell = view.cell_px(view.layout.target_grid)
    scale = float(np.clip(cell * 1.15, 34, 150))
    x0, y0 = max(low[0], p[0]), max(low[1], p[1])
    x1, y1 = max(x0 + 1, min(high[0], p[2])), max(y0 + 1, min(high[1], p[3]))
    most = 4 * max(spec.width * spec.height, 400_000)
    area = (x1 - x0) * (y1 - y0) * scale**2
    return Sheet(x0, y0, x1, y1, scale * min(1.0, float(np.sqrt(most / area))))


def _print_page(
    sheet: Sheet, spec: PageSpec, held: Supplies, view: View
) -> tuple[list[_Drawn], list[tuple[str, Box]]]:
    clutter = Clutter(sheet, spec, held)
    writer = Writer(spec, samples(held))
    drawn: list[_Drawn] = []
    decoys: list[tuple[str, Box]] = []
    for place in _in_sight(view):
        head = (
            place.box[0],
            place.box[1] - 0.25 - min(1.0, spec.gap * 0.5),
            place.box[2],
            place.box[1] - 0.25,
        )
        if spec.titles and spec.gap > 0.6:
            clutter.title(head, place.number)
        if place.what in {"puzzle", "neighbour"}:
            grid, parked = _print_puzzle(sheet, spec, held, place, writer)
            drawn.append(grid)
            decoys += [("margin note", box) for box in parked]
        else:
            clutter.fill(place.what, place.box, place.number)
    if spec.masthead:
        target = view.layout.target
        clutter.masthead(target[0], target[2], target[1] - spec.gap - 0.2)
    for kind, name, box, cells in clutter.other:
        drawn.append(_Drawn(kind, name, box, cells, {}))
    return drawn, decoys + clutter.decoys


def _print_puzzle(
    sheet: Sheet, spec: PageSpec, held: Supplies, place: Place, writer: Writer
) -> tuple[_Drawn, list[Box]]:
    """One puzzle with all that is printed and written in it."""
    if place.board is not None:
        return _print_other(sheet, spec, held, place, place.board, writer)
    x, y = place.box[:2]
    givens, solution, number = puzzle(spec.split, spec.seed, place.number, spec.givens)
    cells = fill_cells(spec, place.number, givens, solution)
    shade_cells(sheet, spec, place.number, x, y, cells)
    rule_grid(sheet, spec, x, y)
    printed = print_givens(sheet, spec, held, x, y, cells)
    ink, parked, spots = _write(Stand(sheet, x, y, 1.0), spec, place.number, cells, writer, printed)
    line = "".join(str(d) for d in solution)
    return _Drawn("puzzle", "", place.box, cells, ink, line, number, spots), parked


def _print_other(
    sheet: Sheet, spec: PageSpec, held: Supplies, place: Place, board: Board, writer: Writer
) -> tuple[_Drawn, list[Box]]:
    """A puzzle on another board, or of another kind."""
    layout, stand = board.layout, Stand(sheet, *place.box[:2], board.unit)
    givens, solution, number = board_puzzle(
        layout, spec.split, spec.seed, place.number, spec.givens / 81
    )
    if board.marks:  # the marks do most of what givens do
        few = stream(spec.seed, "few", place.number).random(layout.many) < 0.3
        givens = [digit if few[cell] else 0 for cell, digit in enumerate(givens)]
    cells = fill_cells(spec, place.number, givens, solution, layout, board.by_hand)
    tint_board(stand, spec, board, place.number, cells)
    cross_board(stand, board)
    rule_board(stand, spec, layout)
    if board.marks:
        mark = mark_board if board.marks in MARKS else mark_more
        for what, marked in mark(stand, spec, held, board, place.number, solution).items():
            for cell in sorted(marked):
                cells[cell].marks.append(what)
    printed = print_board(stand, spec, held, board, cells)
    ink, parked, spots = _write(stand, spec, place.number, cells, writer, printed, board.by_hand)
    line = "".join(SYMBOLS[digit - 1] for digit in solution)
    kind = "other" if board.marks else "puzzle"
    grid = _Drawn(kind, board.marks, place.box, cells, ink, line, number, spots, board)
    return grid, parked


def _write(
    stand: Stand,
    spec: PageSpec,
    number: int,
    cells: list[CellTruth],
    writer: Writer,
    printed: dict[int, Box],
    by_hand: int = 9,
) -> tuple[dict[int, list[Box]], list[Box], dict[int, list[Spot]]]:
    """What the solver wrote: boxes of ink by cell with those of the print, of notes in the margin,
    and where notes stand.
    """
    sheet, x, y, unit = stand.sheet, stand.x, stand.y, stand.unit
    scale = sheet.scale * unit
    px = int(np.clip(scale * 1.35, 56, 150))
    x0, y0, x1, y1 = sheet.seen(x, y)
    seen = (x0 / unit, y0 / unit, x1 / unit, y1 / unit)
    written = write_grid(spec, number, cells, writer, px, seen, by_hand)
    grain = _grain(spec, number)
    for layer in written.layers:
        mask, left, top = layer.finished(scale, grain)
        if layer.pen.laid:
            sheet.lay(mask, x + left * unit, y + top * unit)
        else:
            sheet.stamp(mask, x + left * unit, y + top * unit, layer.pen.ink, layer.pen.cover)

    def placed(boxes: list[Box]) -> list[Box]:
        return [(a * unit + x, b * unit + y, c * unit + x, d * unit + y) for a, b, c, d in boxes]

    ink = {i: [box] for i, box in printed.items()}
    for i, boxes in written.ink.items():
        ink.setdefault(i, []).extend(placed(boxes))
    return ink, placed(written.margin), written.spots


def _grain(spec: PageSpec, number: int) -> npt.NDArray[np.uint8]:
    x, y = (int(v) for v in stream(spec.seed, "grain", number).integers(0, TILE - 1800, 2))
    return graphite()[y:, x:]


def _in_sight(view: View) -> list[Place]:
    """The places of which the frame may show anything, or anything close around them."""
    places = view.layout.places
    x0, y0, x1, y1 = np.array([place.box for place in places]).reshape(-1, 4).T
    around = np.empty((len(places), 8, 8, 2))
    around[..., 0] = np.linspace(x0 - 2, x1 + 2, 8, axis=1)[:, None, :]
    around[..., 1] = np.linspace(y0 - 2, y1 + 2, 8, axis=1)[:, :, None]
    inside = _inside(view.to_photo(around.reshape(-1, 2)), view).reshape(len(places), 64)
    return [places[int(k)] for k in np.flatnonzero(inside.any(axis=1))]


def _seen(outlines: list[Points], view: View) -> list[Points]:
    """Where each of these sets of places of the page lands in the photo, found all at once."""
    if not outlines:
        return []
    ends = np.cumsum([len(places) for places in outlines])[:-1]
    return np.split(view.to_photo(np.concatenate(outlines)), ends)


def _inside(at: npt.NDArray[np.float64], view: View) -> npt.NDArray[np.bool_]:
    room = np.array([view.wide - 0.5, view.high - 0.5])
    return np.asarray(((at >= -0.5) & (at <= room)).all(axis=1))


def _grid_truth(grid: _Drawn, view: View) -> GridTruth | None:
    """The grid in raster pixels, or None when the frame misses it."""
    side = grid.lines
    at, edge = _seen([crossings(grid.box, side), outline(grid.box, 19)], view)
    rim = _inside(edge, view)
    if not rim.any() and not _inside(at, view).any():
        return None
    _place_ink(grid, view)
    flat, last = view.profile is None, side + 1
    bent = 0.0 if flat else curl_of(view.to_photo(crossings(grid.box), lens=False))
    return GridTruth(
        kind=grid.kind if rim.all() else "cut off",
        name=grid.name,
        corners=at[[0, side, last * last - 1, last * side]],
        crossings=at.reshape(last, last, 2) if grid.board or grid.kind != "other" else None,
        cells=grid.cells,
        solution=grid.solution,
        curl=bent * (side / 9),
        cell_px=cell_side(at),
        puzzle=grid.puzzle,
        spots=grid.spots,
        layout=grid.board.layout if grid.board else NEWSPAPER,
        symbols=grid.board.symbols if grid.board else "",
    )


def _place_ink(grid: _Drawn, view: View) -> None:
    """Gives each cell the raster box of its ink, all boxes projected at once."""
    cells = [i for i, boxes in grid.ink.items() if boxes]
    if not cells:
        return
    sides = [tuple(zip(*grid.ink[i], strict=True)) for i in cells]
    low = np.array([(min(x0), min(y0)) for x0, y0, _, _ in sides])
    high = np.array([(max(x1), max(y1)) for _, _, x1, y1 in sides])
    steps = np.array([(u, v) for u in (0.0, 0.5, 1.0) for v in (0.0, 0.5, 1.0)])
    rim = low[:, None] + steps[None] * (high - low)[:, None]
    at = view.to_photo(rim.reshape(-1, 2)).reshape(len(cells), -1, 2)
    boxes = np.round(np.concatenate([at.min(axis=1), at.max(axis=1)], axis=1), 1)
    for i, box in zip(cells, boxes.tolist(), strict=True):
        grid.cells[i].ink = box
