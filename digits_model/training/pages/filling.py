"""What a solver has written into a grid, as truth first and then as ink."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.hand import (
    WIDEST,
    Box,
    InkLayer,
    Writer,
    loop,
    main_pen,
    note_pen,
    second_pen,
    slash,
)
from papernudge.digits_model.training.pages.puzzles import forced, natural_order
from papernudge.digits_model.training.pages.spec import (
    NOTE_OF_ENTRY,
    NOTE_STYLES,
    SMALLEST_NOTE,
    PageSpec,
)
from papernudge.digits_model.training.pages.truth import CellTruth, Spot
from papernudge.hints.layout import NEWSPAPER, Layout

_CORNERS = [
    *[(0.19, 0.2), (0.81, 0.2), (0.19, 0.8), (0.81, 0.8)],
    *[(0.5, 0.2), (0.5, 0.8), (0.19, 0.5), (0.81, 0.5), (0.5, 0.5)],
]


def fill_cells(
    spec: PageSpec,
    number: int,
    givens: list[int],
    solution: list[int],
    layout: Layout = NEWSPAPER,
    by_hand: int = 9,
) -> list[CellTruth]:
    """The cells of grid ``number`` of the page: givens as printed, entries, notes, marks.

    ``by_hand``: the largest digit that is written.
    """
    cells = [CellTruth("given", d) if d else CellTruth() for d in givens]
    folk = _Solver(layout, by_hand)
    if number == 0:
        _misprint(spec, cells, layout.side)
    _entries(spec, number, cells, solution, folk)
    if number == 0:
        _mistakes(spec, cells, solution, folk)
    _notes(spec, number, cells, solution, folk)
    _marks(spec, number, cells, by_hand)
    return cells


@dataclass(frozen=True, slots=True)
class _Solver:
    """The board, and the largest digit that its solver writes."""

    layout: Layout
    by_hand: int


def _misprint(spec: PageSpec, cells: list[CellTruth], side: int) -> None:
    chance = stream(spec.seed, "misprint")
    where = [i for i, c in enumerate(cells) if c.kind == "given"]
    for i in chance.permutation(where)[: spec.misprints]:
        cells[i].digit = _other(cells[i].digit or 0, chance, side)
        cells[i].marks.append("misprint")


def _entries(
    spec: PageSpec, number: int, cells: list[CellTruth], solution: list[int], folk: _Solver
) -> None:
    chance = stream(spec.seed, "entries", number)
    blanks = [i for i, c in enumerate(cells) if c.kind == "blank"]
    if spec.order == "natural":
        printed = [solution[i] if c.kind == "given" else 0 for i, c in enumerate(cells)]
        blanks = natural_order(printed, solution, chance, folk.layout)
    else:
        blanks = chance.permutation(blanks).tolist()
    for i in blanks[: round(spec.fill * len(blanks))]:
        if solution[i] > folk.by_hand:
            continue
        cells[i] = CellTruth("entry", solution[i])


def _mistakes(spec: PageSpec, cells: list[CellTruth], solution: list[int], folk: _Solver) -> None:
    peers, most = folk.layout.peers, folk.by_hand
    chance = stream(spec.seed, "mistakes")
    entries = chance.permutation([i for i, c in enumerate(cells) if c.kind == "entry"])
    for i in entries[: spec.mistakes]:
        seen = {cells[p].digit for p in peers[i]}
        # Mostly a digit that clashes with nothing yet: people see a plain clash.
        quiet = [d for d in range(1, most + 1) if d != solution[i] and d not in seen]
        clash = chance.random() < 0.25 or not quiet
        cells[i].digit = _other(solution[i], chance, most) if clash else int(chance.choice(quiet))
        cells[i].marks += ["mistake", "root"]
    for _ in range(spec.followed if spec.mistakes else 0):
        board = [cell.digit or 0 for cell in cells]
        able = [step for step in forced(board, folk.layout) if step[1] <= most]
        nexts = [(cell, digit) for cell, digit in able if cells[cell].kind == "blank"]
        wrong = [(cell, digit) for cell, digit in nexts if digit != solution[cell]]
        if not nexts:
            break
        cell, digit = (wrong or nexts)[int(chance.integers(len(wrong or nexts)))]
        marks = ["mistake", "follows"] if digit != solution[cell] else []
        cells[cell] = CellTruth("entry", digit, marks=marks)


def _notes(
    spec: PageSpec, number: int, cells: list[CellTruth], solution: list[int], folk: _Solver
) -> None:
    if not spec.note_share:
        return
    chance = stream(spec.seed, "notes", number)
    peers, side = folk.layout.peers, folk.layout.side
    most = _most_notes(spec.note_style, side)
    for i, cell in enumerate(cells):
        wanted, struck, kept, *spare = chance.random(3 + side).tolist()
        order = (chance.permutation(side) + 1).tolist()
        order = [digit for digit in order if digit <= folk.by_hand]
        if cell.kind == "entry":
            if wanted < spec.note_share * 0.08:  # left standing beside an entry
                cell.notes = sorted(order[: 1 + int(kept * 2)])
            continue
        if cell.kind != "blank" or wanted >= spec.note_share:
            continue
        seen = {cells[p].digit for p in peers[i]}
        able = [d for d in range(1, folk.by_hand + 1) if d not in seen]
        notes = [d for d in able if d == solution[i] or spare[d - 1] < 0.75]
        if len(notes) > most:
            notes = sorted(d for d in order if d in notes)[:most]
        if kept < 0.1:
            notes = [d for d in notes if spare[d - 1] < 0.6] or notes[:1]
        if struck < spec.struck_notes and len(notes) > 1:
            cut = [d for d in notes if spare[d - 1] < 0.45][: len(notes) - 1] or notes[-1:]
            cell.struck_notes = sorted(cut)
            notes = [d for d in notes if d not in cut]
        if spec.note_style == "middle" and len(notes) + len(cell.struck_notes) == 1:
            cell.struck_notes = []  # a lone digit in the middle would be an entry, only smaller
            continue
        cell.notes = sorted(notes)
        if notes or cell.struck_notes:
            cell.kind = "notes"


def _most_notes(style: str, side: int) -> int:
    """How many notes a cell gets: all on a raster, few of two figures."""
    if side > 9:
        return 3
    return 9 if style == "raster" else 4


def _marks(spec: PageSpec, number: int, cells: list[CellTruth], most: int) -> None:
    if not (spec.struck or spec.ghosts or spec.overwritten or spec.circled or spec.highlit):
        return
    chance = stream(spec.seed, "marks", number)
    for cell in cells:
        struck, ghost, over, ring, lit = chance.random(5).tolist()
        wrong = int(chance.integers(1, most + 1))
        if cell.kind in {"entry", "blank"} and struck < spec.struck * (1 if cell.digit else 0.5):
            cell.struck, cell.struck_digit = True, _differs(wrong, cell.digit, most)
        if cell.kind in {"entry", "blank", "notes"} and ghost < spec.ghosts:
            cell.marks.append("ghost")
        if cell.kind == "entry" and not cell.struck and over < spec.overwritten:
            cell.marks.append("overwritten")
        if cell.kind in {"entry", "given"} and ring < spec.circled:
            cell.marks.append("circled")
        if lit < spec.highlit:
            cell.marks.append("highlit")


def _other(digit: int, chance: np.random.Generator, most: int) -> int:
    return int((digit + chance.integers(0, most - 1)) % most + 1)


def _differs(digit: int, than: int | None, most: int) -> int:
    return digit % most + 1 if digit == than else digit


@dataclass(slots=True)
class Written:
    """The ink of one grid: layers by pen, boxes of ink by cell, boxes of notes in the margin."""

    layers: list[InkLayer] = field(default_factory=list)
    ink: dict[int, list[Box]] = field(default_factory=dict)
    margin: list[Box] = field(default_factory=list)
    spots: dict[int, list[Spot]] = field(default_factory=dict)


class _Inks:
    """The layers of one grid, made when first written on; lower ones first."""

    def __init__(self, spec: PageSpec, px: int, seen: Box, side: int) -> None:
        rubbed = replace(note_pen(spec), grain=0.3, width=0.03)
        self._pens = {
            "rubbed": rubbed,
            "notes": note_pen(spec),
            "second": second_pen(spec),
            "main": main_pen(spec),
        }
        self._made: dict[str, InkLayer] = {}
        self._px, self._seen, self._side = px, seen, side

    def __getitem__(self, name: str) -> InkLayer:
        if name not in self._made:
            self._made[name] = InkLayer(self._pens[name], self._px, self._seen, self._side)
        return self._made[name]

    def layers(self) -> list[InkLayer]:
        return [self._made[name] for name in self._pens if name in self._made]


def write_grid(
    spec: PageSpec,
    number: int,
    cells: Sequence[CellTruth],
    writer: Writer,
    px: int,
    seen: Box,
    by_hand: int = 9,
) -> Written:
    """Draws all that is not printed. ``px``: layer pixels a cell; ``seen`` as for InkLayer;
    ``by_hand``: the largest digit that is written.
    """
    side = round(len(cells) ** 0.5)
    out, inks = Written(), _Inks(spec, px, seen, side)
    others = stream(spec.seed, "second", number).random(len(cells)) < spec.second
    for i, cell in enumerate(cells):
        if not _has_ink(cell):
            continue
        chance = stream(spec.seed, "ink", number, i)
        boxes: list[Box] = []
        origin = (float(i % side), float(i // side))
        pen = "second" if others[i] else "main"
        if "ghost" in cell.marks:
            _ghost(inks["rubbed"], writer, origin, spec, chance, by_hand)
        if cell.kind == "entry" or cell.struck:
            boxes += _big(inks[pen], writer, cell, origin, spec, chance, by_hand)
        if cell.notes or cell.struck_notes:
            small, out.spots[i] = _small(inks["notes"], writer, cell, origin, spec, chance, side)
            boxes += small
        if "circled" in cell.marks:
            wide, high = (float(v) for v in chance.uniform(0.75, 1.0, 2))
            ring = loop(origin[0] + 0.5, origin[1] + 0.5, wide, high, chance)
            boxes.append(inks[pen].trace(ring, chance))
        out.ink[i] = boxes
    if number == 0 and spec.margin_notes:
        out.margin = _margin(inks["notes"], writer, spec, side, by_hand)
    out.layers = inks.layers()
    return out


def _has_ink(cell: CellTruth) -> bool:
    hand = cell.kind in {"entry", "notes"} or cell.struck or cell.struck_notes or cell.notes
    return bool(hand or {"ghost", "circled"} & set(cell.marks))


def _ghost(
    layer: InkLayer,
    writer: Writer,
    origin: tuple[float, float],
    spec: PageSpec,
    chance: np.random.Generator,
    most: int,
) -> None:
    digit = int(chance.integers(1, most + 1))
    x, y = origin[0] + 0.5 + chance.normal(0, 0.06), origin[1] + 0.5 + chance.normal(0, 0.06)
    box = layer.write(writer.shape(digit, chance), x, y, spec.entry_high, chance, level=0.7)
    layer.rub(box, float(chance.uniform(0.08, 0.28)))


def _big(
    layer: InkLayer,
    writer: Writer,
    cell: CellTruth,
    origin: tuple[float, float],
    spec: PageSpec,
    chance: np.random.Generator,
    most: int,
) -> list[Box]:
    """The entry of a cell, and the struck or overwritten digit before it."""
    boxes = []
    dx, dy, grow = chance.normal(0, spec.entry_vary, 3).tolist()
    x, y = origin[0] + 0.5 + dx, origin[1] + 0.5 + dy
    high = spec.entry_high * float(np.exp(1.5 * grow))
    if chance.random() < spec.crossing:
        high *= float(chance.uniform(1.15, 1.5))
        x, y = x + float(chance.normal(0, 0.12)), y + float(chance.normal(0, 0.12))
    x = min(max(x, origin[0] + 0.28), origin[0] + 0.72)
    y = min(max(y, origin[1] + 0.3), origin[1] + 0.7)
    if (cell.digit or 0) > 9:  # two figures leave less room aside
        x = origin[0] + 0.5 + 0.4 * (x - origin[0] - 0.5)
    if cell.notes and cell.kind == "entry":  # written where the notes leave room
        high, y = high * 0.8, y + 0.09
    if cell.struck and cell.struck_digit:
        aside = cell.kind == "entry"
        sx, sy = (x - 0.2, y - 0.02) if aside else (x, y)
        box = layer.write(
            writer.shape(cell.struck_digit, chance), sx, sy, high * (0.75 if aside else 1), chance
        )
        boxes += [box, layer.trace(slash(box, chance, 1 + int(chance.random() < 0.6)), chance)]
        if aside:
            x, high = origin[0] + 0.74 + float(chance.normal(0, 0.02)), high * 0.78
    if "overwritten" in cell.marks and cell.digit:
        first = _differs(int(chance.integers(1, most + 1)), cell.digit, most)
        # Whoever writes over a digit presses until the new one wins.
        layer.write(writer.shape(first, chance), x, y, high * 0.95, chance, level=0.5)
    if cell.kind == "entry" and cell.digit:
        bold = 1.0
        if "overwritten" in cell.marks:
            bold = max(1.0, min(1.7, 1.25 * WIDEST * high / layer.pen.width))
        boxes.append(layer.write(writer.shape(cell.digit, chance), x, y, high, chance, width=bold))
    return boxes


def _small(
    layer: InkLayer,
    writer: Writer,
    cell: CellTruth,
    origin: tuple[float, float],
    spec: PageSpec,
    chance: np.random.Generator,
    side: int,
) -> tuple[list[Box], list[Spot]]:
    """The notes of a cell in the solver's style: their boxes, and where each stands."""
    digits = sorted([*cell.notes, *cell.struck_notes])
    style = "corner" if cell.kind == "entry" else spec.note_style
    boxes: list[Box] = []
    spots: list[Spot] = []
    high = min(spec.note_high, NOTE_OF_ENTRY * spec.entry_high) * (
        SMALLEST_NOTE if len(digits) > 4 or style == "raster" else 1.0
    )
    if side > 9 and style != "corner":
        high = min(high, _STEP_OF_TWO / _WIDE_OF_TWO)
    for k, digit in enumerate(digits):
        x, y = _note_place(style, k, digit, len(digits), high, side)
        x, y = x + origin[0] + chance.normal(0, 0.014), y + origin[1] + chance.normal(0, 0.014)
        box = layer.write(
            writer.shape(digit, chance),
            float(x),
            float(y),
            high * float(np.exp(chance.normal(0, 0.07))),
            chance,
        )
        boxes.append(box)
        cut = digit in cell.struck_notes
        at = ((box[0] + box[2]) / 2 - origin[0], (box[1] + box[3]) / 2 - origin[1])
        spots.append((0 if cut else digit, *at))
        if cut:
            boxes.append(layer.trace(slash(box, chance), chance))
    return boxes, spots


_WIDE_OF_TWO = 1.3
"""Width of a note of two figures, in its height."""
_STEP_OF_TWO = 0.29
"""Cells from one to the next in a line."""


def _note_place(
    style: str, k: int, digit: int, count: int, high: float, side: int = 9
) -> tuple[float, float]:
    """Centre of the k-th note inside its cell."""
    if style not in NOTE_STYLES:
        raise ValueError(f"expected a note style of {NOTE_STYLES}, got {style!r}")
    if style == "corner":
        return _CORNERS[k]
    if style == "raster" and side <= 9:
        return (0.2 + 0.3 * ((digit - 1) % 3), 0.2 + 0.3 * ((digit - 1) // 3))
    step = min(high * 0.85, 0.84 / max(count, 1))
    if side > 9:
        step = _STEP_OF_TWO
        if style in {"row", "raster"}:
            return (0.2 + step * k, 0.06 + high / 2)
    if style == "row":
        return (0.14 + step * k, 0.06 + high / 2)
    return (0.5 + step * (k - (count - 1) / 2), 0.5)


def _margin(layer: InkLayer, writer: Writer, spec: PageSpec, side: int, most: int) -> list[Box]:
    """Small digits parked beside rows and below columns."""
    chance, boxes = stream(spec.seed, "margin"), []
    for _ in range(spec.margin_notes):
        line, beside = float(chance.integers(0, side)) + 0.5, chance.random() < 0.5
        for k in range(int(chance.integers(1, 4))):
            at = (side + 0.35 + 0.3 * k, line) if beside else (line - 0.3 + 0.3 * k, side + 0.4)
            high = spec.note_high * float(chance.uniform(1, 1.5))
            boxes.append(
                layer.write(
                    writer.shape(int(chance.integers(1, most + 1)), chance), *at, high, chance
                )
            )
    return boxes
