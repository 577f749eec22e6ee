"""The whole road of seeing: a photo to what its page says."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import (
    Closer,
    Scores,
    note_scores,
    score,
    turn_votes,
    worth_a_finer_look,
)
from papernudge.hints.catalogue import message
from papernudge.hints.layout import Layout
from papernudge.vision.advice import advice, ails_of
from papernudge.vision.boards.find import find_all
from papernudge.vision.doubts import (
    not_seen,
)
from papernudge.vision.even import LINE, Exposure, even_page, exposed, without_diagonals
from papernudge.vision.evidence import Evidence
from papernudge.vision.exposures import look_again, with_last_word
from papernudge.vision.failure import Failure
from papernudge.vision.grid import FoundGrid, GridKind
from papernudge.vision.hand import hand_on_page, ink_features, page_evidence
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import FINE_MARGIN, Patches, cut_fine
from papernudge.vision.reading import GridReading, PageReading
from papernudge.vision.reread import Search, reread
from papernudge.vision.scored import Scorer, scores_of
from papernudge.vision.settle import Settled, settle
from papernudge.vision.sight import (
    FEW_MARKS,
    Sight,
    View,
    blamed,
    harmed_under,
    hidden_under,
    judged,
)
from papernudge.vision.weigher import Solver

_HIDES = 4
"""Hidden cells from which on they are why a grid's lines could not be followed."""
_LINES_LOST = ("dark", "crossed")
"""Reasons for which a grid's lines could not be followed."""
_CLEAR, _FEW = 0.98, 3
"""From so many cells of which the first looks are less sure than this, or which they call struck,
lines across the page are looked for."""
_AS_TAKEN = 2.0
"""Nats below which the vote of few marks on which way is up is none: most photos are upright."""
MOST_EVENED, MANY = 26_000_000, 16
"""Pixels of a photo up to which a page without a grid is looked at once more in even light, and
grids none of which can be read from which on it isn't: what that takes in memory and time grows
with them, and a page on which so many are seen does not lack light."""
Raster = npt.NDArray[np.uint8]


@dataclass
class _Clock:
    spent: dict[str, float] = field(default_factory=dict)

    def add(self, stage: str, since: float) -> float:
        now = time.perf_counter()
        self.spent[stage] = self.spent.get(stage, 0.0) + 1000 * (now - since)
        return now


def read_page(raster: Raster, *, solve: Solver, scorer: Scorer = score) -> PageReading | Failure:
    """Read every grid on the page.

    ``raster``: uint8 (H, W, 3), blue, green, red, as decoded, rotation tag not applied.
    ``solve``: takes a line and its board, returns the only solution or None. ``scorer``: the
    classifier, another one for experiments. The result's grids are in reading order with the
    page upright. A :class:`Failure` where the page holds no grid.
    """
    clock = _Clock()
    began = time.perf_counter()
    found = _found(raster)
    if not found:
        return _no_grid(raster)
    readable, rest = _parted(raster, found)
    now = clock.add("find", began)
    exposures = [
        exposed(raster, settled.mesh, grid.layout.plan.diagonals) for grid, settled in readable
    ]
    now = clock.add("flatten", now)
    boards = [grid.layout for grid, _ in readable]

    def scored() -> list[Scores]:
        pages = zip(exposures, boards, strict=True)
        return [scores_of(e.patches.pixels, board, scorer) for e, board in pages]

    scores = scored()
    turn, way = _turn_of(scores), way_margin(scores)
    if turn:
        exposures = [e.turned(turn) for e in exposures]
        scores = scored()
    now = clock.add("classify", now)
    grids = [_unread(raster, g, turn) for g in rest]
    search = Search()
    for (one, mesh), exposure, said in zip(readable, exposures, scores, strict=True):
        settled = mesh.turned(turn)
        upright = settled.mesh
        view = View.of(raster, upright, settled.strained, one.layout.plan.diagonals)
        now = clock.add("see", now)
        if view.crossed or looks_crossed(said):
            exposure, said = _without_lines(exposure, said, one.layout, scorer)
        said = with_finer_notes(raster, upright, said, one.layout.plan.diagonals)
        now = clock.add("classify", now)
        lined = bool((exposure.lines > LINE).any())
        sight = judged(view.sight(said.digits), said.digits, lined, lambda: ails_of(raster), way)
        now = clock.add("see", now)
        grids.append(read_grid(one, exposure.patches, said, turn, solve, sight, search, exposure))
        now = clock.add("decode", now)
    size = (raster.shape[1], raster.shape[0])
    return PageReading(size, _in_order(_solutions_marked(grids), turn), turn, clock.spent)


def _found(raster: Raster) -> tuple[FoundGrid, ...]:
    """The page's grids; where none can be read, looked for once more in even light."""
    found = find_all(raster)
    if any(map(_readable, found)):
        return found
    if len(found) < MANY and raster.shape[0] * raster.shape[1] <= MOST_EVENED:
        again = find_all(even_page(raster), printed=raster)
        if any(map(_readable, again)):
            return again
    return _with_advice(raster, found)


def _parted(
    raster: Raster, found: tuple[FoundGrid, ...]
) -> tuple[list[tuple[FoundGrid, Settled]], list[FoundGrid]]:
    """The grids that can be read, their meshes put back where they left the paper, and the rest."""
    readable: list[tuple[FoundGrid, Settled]] = []
    rest: list[FoundGrid] = []
    for grid in found:
        if grid.mesh is None or not grid.quality.ok:
            rest.append(grid)
            continue
        held = settle(grid.mesh, partial(harmed_under, raster, grid.mesh))
        if held.lost:
            quality = replace(grid.quality, ok=False, reason="crossed", says=advice("crossed"))
            rest.append(replace(grid, kind=GridKind.TOO_POOR, mesh=None, quality=quality))
        elif held.strays.any():
            size = np.array([raster.shape[1], raster.shape[0]]) - 1.0
            moved = held.strays[[0, 0, -1, -1], [0, -1, -1, 0]][:, None]
            corners = np.where(moved, np.clip(held.mesh.corners, 0, size), grid.corners)
            readable.append((replace(grid, corners=corners, mesh=held.mesh), held))
        else:
            readable.append((grid, held))
    return readable, rest


def _without_lines(
    exposure: Exposure, said: Scores, layout: Layout, scorer: Scorer
) -> tuple[Exposure, Scores]:
    """The cells looked at again without the long lines that cross them, if any do."""
    cleaned = exposure.without_lines()
    if not (cleaned.lines > LINE).any():
        return exposure, said
    return cleaned, scores_of(cleaned.patches.pixels, layout, scorer)


def _no_grid(raster: Raster) -> Failure:
    """Why there is none: a photo too poor to find one may still show a grid."""
    reason = ails_of(raster).worst
    if reason is None:
        return Failure("find", "no grid", message("no grid found"))
    return Failure("find", reason, message("no grid made out", advice=advice(reason)))


def _with_advice(raster: Raster, found: tuple[FoundGrid, ...]) -> tuple[FoundGrid, ...]:
    """Grids none of which can be read: on a poor photo the photo is to blame, not their kind, but
    where marks of another kind were seen.
    """
    kinds = (GridKind.OTHER, GridKind.TOO_POOR)
    reason = ails_of(raster).worst if any(g.kind in kinds for g in found) else None
    if reason is None:
        return found
    says = advice(reason)
    return tuple(
        replace(
            g,
            kind=GridKind.TOO_POOR,
            quality=replace(g.quality, ok=False, reason=reason, says=says),
        )
        if (g.kind is GridKind.OTHER and g.quality.reason is None)
        or (g.kind is GridKind.TOO_POOR and g.quality.reason == "dark")
        else g
        for g in found
    )


def _readable(found: FoundGrid) -> bool:
    return found.mesh is not None and found.quality.ok


def looks_crossed(scores: Scores) -> bool:
    """Whether so many cells look struck or unclear that lines may run across the page."""
    unclear = scores.digits.max(axis=1) < np.log(_CLEAR)
    return int((unclear | (scores.struck > 0)).sum()) >= _FEW


def with_finer_notes(raster: Raster, mesh: Mesh, scores: Scores, diagonals: bool = False) -> Scores:
    """The scores with small notes read once more, larger, in the cells that may hold some.

    ``mesh``: upright, as the scores are; ``diagonals``: whether the board shows its own. At the
    scale that suffices for a cell's one digit a note is a few pixels high.
    """
    cells = worth_a_finer_look(scores)
    if not len(cells):
        return scores
    cleaned = partial(without_diagonals, margin=FINE_MARGIN, side=mesh.side) if diagonals else None
    notes = scores.notes.copy()
    notes[cells] = note_scores(cut_fine(raster, mesh, cells, cleaned))[:, : notes.shape[1]]
    return replace(scores, notes=notes)


def which_way_up(scores: list[Scores]) -> int:
    """How many clockwise quarter turns bring the page upright: all its cells vote."""
    return int(_votes(scores).argmax())


def _turn_of(scores: list[Scores]) -> int:
    """Like :func:`which_way_up`, but the photo stays as it was taken where a few marks, read by
    themselves, leave that open.
    """
    marks = sum(int((s.digits.argmax(axis=1) > 0).sum()) for s in scores)
    if way_margin(scores) < _AS_TAKEN and marks <= FEW_MARKS:
        return 0
    return which_way_up(scores)


def _votes(scores: list[Scores]) -> npt.NDArray[np.float64]:
    return sum((turn_votes(s.turned) for s in scores), np.zeros(4))


def way_margin(scores: list[Scores]) -> float:
    """By how many nats the vote on which way is up is won; without end where nobody voted: the
    page shows no ink.
    """
    least, *_, second, best = np.sort(_votes(scores)).tolist()
    return math.inf if best == least else float(best - second)


def _mesh_of(found: FoundGrid, turn: int) -> Mesh | None:
    return None if found.mesh is None else found.mesh.turned(turn)


def read_grid(
    found: FoundGrid,
    patches: Patches,
    scores: Scores,
    turn: int,
    solve: Solver,
    sight: Sight | None = None,
    search: Search | None = None,
    exposure: Exposure | None = None,
) -> GridReading:
    """Decode one grid whose patches and scores are already upright.

    ``sight``: what of it can be seen; None: all of it. ``search``: what the page's grids before it
    have cost; None: it is the only one. ``exposure``: what the patches were cut from, for looks at
    harmed cells in other light; None: they are not looked at again.
    """
    search = search or Search()
    sight = sight or Sight()
    if sight.poor is not None:
        return _beyond_reading(found, turn, sight)
    layout = found.layout.turned(turn)
    marked = scores.digits[:, 0] < np.log(0.5)
    ink = page_evidence(ink_features(patches.pixels), scores.hand, marked)
    hand = hand_on_page(scores.hand, scores.digits.argmax(axis=1), scores.features, ink)
    unclear = sight.unclear(layout.many) & (scores.digits.argmax(axis=1) > 0)
    if exposure is not None and isinstance(scores.closer, Closer) and unclear.any():
        cells = np.flatnonzero(unclear)
        again = look_again(exposure, scores, hand, cells)
        scores, hand = with_last_word(scores, again, cells), again.hand
        sight = replace(sight, hands=again.hands)
    corners, mesh = np.roll(found.corners, turn, axis=0), _mesh_of(found, turn)
    thorough = search.is_thorough
    moved = tuple((layout.turned_cell(cell, turn), chance) for cell, chance in found.layout_doubts)
    other = found.other_layout and found.other_layout.turned(turn)
    evidence = Evidence(
        corners, found.quality, mesh, scores, hand, sight, thorough, layout, moved, other
    )
    return reread(evidence, (), solve, search)


def _beyond_reading(found: FoundGrid, turn: int, sight: Sight) -> GridReading:
    """A grid of which too little can be seen, or that is unlike what the looks know."""
    corners = np.roll(found.corners, turn, axis=0)
    says = advice(sight.poor) if sight.poor else None
    quality = replace(found.quality, ok=False, reason=sight.poor, says=says)
    layout, mesh = found.layout.turned(turn), _mesh_of(found, turn)
    hidden = sorted(sight.hidden.items())
    doubts = tuple(not_seen(cell, why, layout.side) for cell, why in hidden)
    return GridReading(GridKind.TOO_POOR, corners, quality, mesh, doubts=doubts, layout=layout)


def _unread(raster: Raster, found: FoundGrid, turn: int) -> GridReading:
    """A grid that isn't read; of one whose lines could not be followed, what hides them."""
    corners, layout = np.roll(found.corners, turn, axis=0), found.layout.turned(turn)
    plain = GridReading(found.kind, corners, found.quality, layout=layout)
    if found.kind is not GridKind.TOO_POOR or found.quality.reason not in _LINES_LOST:
        return plain
    hidden = hidden_under(raster, corners, layout.side)
    if len(hidden) < _HIDES:
        return plain
    reason = blamed(hidden)
    quality = replace(found.quality, reason=reason, says=advice(reason))
    doubts = tuple(not_seen(cell, why, layout.side) for cell, why in sorted(hidden.items()))
    return replace(plain, quality=quality, doubts=doubts)


def _side(grid: GridReading) -> float:
    return float(np.linalg.norm(np.diff(grid.corners, axis=0), axis=1).mean())


def _solutions_marked(grids: list[GridReading]) -> list[GridReading]:
    """A grid with all digits printed is a solution, not a puzzle."""
    return [replace(g, kind=GridKind.FULL) if g.cells and "." not in g.givens else g for g in grids]


def _in_order(grids: list[GridReading], turn: int) -> tuple[GridReading, ...]:
    """Rows of grids from the top of the upright page, each from the left."""

    def centre(grid: GridReading) -> tuple[float, float]:
        x, y = grid.corners.mean(axis=0)
        for _ in range(turn):  # the raster turned clockwise: up was left
            x, y = -y, x
        return float(x), float(y)

    rest = sorted(grids, key=lambda g: centre(g)[1])
    rows: list[list[GridReading]] = []
    for grid in rest:
        if rows and centre(grid)[1] - centre(rows[-1][0])[1] < 0.5 * _side(rows[-1][0]):
            rows[-1].append(grid)
        else:
            rows.append([grid])
    return tuple(g for row in rows for g in sorted(row, key=lambda g: centre(g)[0]))


__all__ = ["read_grid", "read_page", "which_way_up"]
