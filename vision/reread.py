"""From what is known of a grid, and what somebody said of some cells, to its reading."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from papernudge.digits_model.scores import Scores
from papernudge.hints.layout import Layout
from papernudge.vision.decode import Decoded, decode
from papernudge.vision.doubts import cell_chances, chance_right, find_doubts, kind_of, unknown
from papernudge.vision.evidence import Evidence, Floats
from papernudge.vision.grid import GridKind
from papernudge.vision.habits import by_habit
from papernudge.vision.hidden import Hidden
from papernudge.vision.reading import CellKind, CellReading, Doubt, GridReading, Told
from papernudge.vision.scored import of_either_hand, of_no_puzzle, unfit
from papernudge.vision.sight import AsRead
from papernudge.vision.small_notes import on_page
from papernudge.vision.weigher import LITTLE, WHOLE, Solver

NOTE_ODDS = 0.0
BESIDE_ODDS = 2.0
"""Log-odds above which a note is reported where nothing else stands, and beside an entry, where
parts of the entry are taken for notes more easily."""
MOST_SEARCHED = 400
"""Cost (:class:`Decoded`) of all a page's searches after which each further grid is searched with
little effort: whoever photographs forty grids of nonsense doesn't wait for it. A photo that can be
read costs one, seldom twenty."""
_RULED_OUT = -40.0
"""Log-odds of what the user ruled out."""


@dataclass
class Search:
    """What the grids of a page have cost together."""

    cost: int = 0

    @property
    def is_thorough(self) -> bool:
        """Whether the next grid is searched with all effort."""
        return self.cost < MOST_SEARCHED

    def told(self, decoded: Decoded) -> Decoded:
        """What one more search has cost."""
        self.cost += decoded.cost
        return decoded


def last_words(answers: Iterable[Told]) -> tuple[Told, ...]:
    """The answers without those that a later one about the same cell replaces."""
    kept: dict[tuple[int, bool], Told] = {}
    for one in answers:
        about = (one.cell, one.beside is None)
        kept.pop(about, None)
        kept[about] = one
    return tuple(kept.values())


def reread(
    evidence: Evidence, answers: Sequence[Told], solve: Solver, search: Search | None = None
) -> GridReading:
    """The most probable reading of a grid in the light of these answers.

    One answer may settle other doubts; the last word on a cell counts. ``solve``:
    takes a line and its board, returns the only solution or None. ``search`` is told what it cost.
    """
    every, whole = last_words(answers), evidence
    evidence = on_board(evidence, [one for one in every if one.beside is not None])
    told = [one for one in every if one.beside is None]
    said = {one.cell for one in told}
    hidden = {c: why for c, why in evidence.sight.hidden.items() if c not in said}
    decoded, ink = _decoded(evidence, told, hidden, cache(solve), search or Search())
    scores = evidence.scores
    read = as_read(decoded)
    suspects = evidence.sight.suspects(scores.digits, evidence.hand, scores.hand, read)
    suspects |= unfit(scores.digits)
    if not decoded.proper:
        suspects |= of_no_puzzle(ink, decoded.best_given, evidence.layout)
    either = of_either_hand(evidence.hand, scores.hand, read, evidence.layout)
    doubts = find_doubts(decoded, hidden, suspects - said, either - said)
    cells = _cells(decoded, scores, hidden, evidence.layout)
    alone = ink.argmax(axis=1)
    least = min((chance for _, chance in evidence.layout_doubts), default=1.0)
    restored = (
        c
        for c in evidence.layout.cells
        if (cells[c].digit or 0) != alone[c] and c not in said and c not in hidden
    )
    return GridReading(
        GridKind.PUZZLE,
        evidence.corners,
        evidence.quality,
        evidence.mesh,
        _with_notes(cells, every),
        (
            *layout_doubts(evidence),
            *(d for d in doubts if d.about == "hand" or d.cell not in said),
        ),
        tuple(restored),
        float(np.prod([cell.chance for cell in cells])) * least,
        whole,
        every,
        evidence.layout,
    )


def on_board(evidence: Evidence, told: Sequence[Told]) -> Evidence:
    """The same on the board that these answers to doubts about the layout speak for.

    The last word counts: it was asked between two boards.
    """
    boards = [board for board in (evidence.layout, evidence.other_layout) if board is not None]
    for one in reversed(told):
        fits = [
            board for board in boards if board.blocks[one.cell] == board.blocks[one.beside or 0]
        ]
        if len(fits) == 1:
            return replace(evidence, layout=fits[0], layout_doubts=(), other_layout=None)
    return evidence


def layout_doubts(evidence: Evidence) -> tuple[Doubt, ...]:
    """Questions about cells that may belong to another block."""
    board, other = evidence.layout, evidence.other_layout
    if other is None:
        return ()

    def block(layout: Layout, cell: int) -> tuple[int, ...]:
        return layout.houses[layout.blocks[cell]].cells

    return tuple(
        Doubt(cell, "layout", None, chance, regions=(block(board, cell), block(other, cell)))
        for cell, chance in evidence.layout_doubts
    )


def as_read(decoded: Decoded) -> AsRead:
    """What the cells were read as, and how likely that is."""
    digits = np.maximum(decoded.best_given, decoded.best_other)
    return AsRead(digits, decoded.best_given > 0, chance_right(decoded))


def _decoded(
    evidence: Evidence,
    told: Sequence[Told],
    hidden: Mapping[int, Hidden],
    solve: Solver,
    search: Search,
) -> tuple[Decoded, Floats]:
    """The joint reading, and what the ink alone says of each cell: log-probabilities (N, n + 1).

    Cells that come out doubtful are looked at closer, what is still unclear is weighed by the
    hand's other digits.
    """
    scores, sight = evidence.scores, evidence.sight
    digits = sight.trusted(scores.digits)
    hand = sight.trusted_hand(evidence.hand, scores.digits)
    ink = digits.copy()
    for one in told:
        digits[one.cell] = _RULED_OUT
        digits[one.cell, one.digit or 0] = 0.0
        if one.kind in (CellKind.GIVEN, CellKind.ENTRY):
            hand[one.cell] = _RULED_OUT if one.kind is CellKind.GIVEN else -_RULED_OUT
    effort, layout = WHOLE if evidence.thorough else LITTLE, evidence.layout
    decoded = search.told(decode(digits, hand, solve, effort, layout))
    said = {one.cell for one in told}
    doubtful = {d.cell for d in find_doubts(decoded, hidden)} - said - hidden.keys()
    if doubtful and scores.closer is not None and evidence.thorough:
        asked = np.array(sorted(doubtful), np.int64)
        closer = sight.trusted(scores.closer.digits(asked), asked)
        ink[asked] = digits[asked] = closer
        decoded = search.told(decode(digits, hand, solve, effort, layout))
    if len(find_doubts(decoded, hidden)) > len(hidden):
        digits = by_habit(digits, decoded.other[:, 1:], scores.features)
        decoded = search.told(decode(digits, hand, solve, effort, layout))
    return decoded, ink


def _with_notes(cells: tuple[CellReading, ...], told: tuple[Told, ...]) -> tuple[CellReading, ...]:
    said = {one.cell: one.notes for one in told if one.notes is not None}
    return tuple(
        replace(cell, notes=said[at], notes_chance=1.0) if at in said else cell
        for at, cell in enumerate(cells)
    )


def _unseen(side: int) -> CellReading:
    """A cell that can't be seen: nothing speaks for what it holds."""
    chance = unknown(side)
    chances = (chance,) * (side + 1)
    return CellReading(CellKind.BLANK, None, chance, chances, notes_chance=0.0, seen=False)


def _cells(
    decoded: Decoded, scores: Scores, hidden: Mapping[int, Hidden], layout: Layout
) -> tuple[CellReading, ...]:
    chances, right = cell_chances(decoded), chance_right(decoded)
    printed = decoded.given.sum(axis=1)
    note_odds = on_page(scores.notes, decoded.best_given, decoded.best_other, layout)
    note_chance = 1 / (1 + np.exp(-note_odds))
    cells = []
    for at in layout.cells:
        if at in hidden:
            cells.append(_unseen(layout.side))
            continue
        kind, digit = kind_of(decoded, at)
        notes: frozenset[int] = frozenset()
        sure = 1.0
        if kind is not CellKind.GIVEN:
            least = NOTE_ODDS if kind is CellKind.BLANK else BESIDE_ODDS
            notes = frozenset(int(n) + 1 for n in np.flatnonzero(note_odds[at] > least))
        if notes or kind is CellKind.BLANK:
            sure = float(np.prod(np.maximum(note_chance[at], 1 - note_chance[at])))
        cells.append(
            CellReading(
                kind,
                digit,
                float(right[at]),
                tuple(float(c) for c in chances[at]),
                float(printed[at] / max(1e-12, 1 - chances[at, 0])),
                notes,
                sure,
                bool(scores.struck[at] > 0),
            )
        )
    return tuple(cells)
