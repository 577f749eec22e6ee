"""Where things stand on the page: a lattice of places, the puzzles in its middle."""

from __future__ import annotations

from dataclasses import dataclass

from papernudge.digits_model.training.pages.boards import Board, board_from
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.spec import PageSpec

Box = tuple[float, float, float, float]
_SHAPES = ((1, 1), (1, 1), (2, 1), (3, 1), (2, 2), (3, 2), (2, 3), (2, 4), (2, 4))


@dataclass(frozen=True, slots=True)
class Place:
    """One place of the lattice. ``what``: ``"puzzle"``, ``"neighbour"`` (another puzzle, not
    the target) or a decoy's name; ``number`` seeds it; ``box`` in cells; ``board``: what a puzzle
    is, None for the newspaper's.
    """

    what: str
    number: int
    box: Box
    board: Board | None = None

    @property
    def lines(self) -> int:
        """Cells of a puzzle along its side."""
        return self.board.layout.side if self.board else 9


@dataclass(frozen=True, slots=True)
class Layout:
    """The places, what the camera aims at, and the page's own edges; all in cells."""

    places: tuple[Place, ...]
    target: Box
    page: Box

    @property
    def target_grid(self) -> Box:
        """The first puzzle's box, or the target's where the page has none."""
        first = self.places[0] if self.places else None
        return first.box if first and first.what == "puzzle" else self.target

    @property
    def target_side(self) -> float:
        """The side of that box in cells, 9 where the page has no puzzle."""
        first = self.places[0] if self.places else None
        return first.board.side if first and first.board else 9.0

    @property
    def least_unit(self) -> float:
        """The smallest cells of the page's own puzzles beside the newspaper's."""
        own = [place for place in self.places if place.what == "puzzle"]
        return min((place.board.unit if place.board else 1.0 for place in own), default=1.0)


def lay_out(spec: PageSpec) -> Layout:
    """Puzzles first, in reading order, decoys and neighbours around them.

    Each place holds the page's largest grid, 9 by 9 cells where the spec names no other boards;
    between places lies ``gap``, which also holds the titles above each place.
    """
    chance = stream(spec.seed, "layout", spec.grids)
    columns, rows = _SHAPES[spec.grids]
    if spec.grids > 1 and chance.random() < 0.5:
        columns, rows = rows, columns
    boards = [board_from(words) for words in spec.boards[: spec.grids]]
    boards += [None] * (spec.grids - len(boards))
    side = max((board.side if board else 9.0 for board in boards), default=9.0)
    pitch = side + spec.gap
    spots = [(c, r) for r in range(rows) for c in range(columns)]
    inside = [
        Place("puzzle", k, _box(c, r, pitch, board.side if board else 9.0), board)
        for k, ((c, r), board) in enumerate(zip(spots, boards, strict=False))
    ]
    names = spec.decoys or ("text",)
    spare = spots[spec.grids :]
    ring = [
        (c, r)
        for r in range(0 if spec.masthead else -1, rows + 1)
        for c in range(-1, columns + 1)
        if not (0 <= c < columns and 0 <= r < rows)
    ]
    around = []
    for k, (c, r) in enumerate([*spare, *ring]):
        chosen, wanted = chance.random(), chance.random()
        what = names[k % len(names)]
        if spec.grids and chosen < 0.18 and k >= len(spare):
            what = "neighbour"
        if wanted < spec.neighbours or k < len(spare) or (spec.grids == 0 and wanted < 0.8):
            board = boards[k % len(boards)] if what == "neighbour" else None
            span = side if what != "neighbour" else board.side if board else 9.0
            around.append(Place(what, 10 + k, _box(c, r, pitch, span), board))
    target = inside[0].box if inside else _box(0, 0, pitch, side)
    if spec.focus == "page":
        for place in inside:
            target = _joined(target, place.box)
        if around and spec.neighbours > 0.4:  # one decoy wholly in the frame
            target = _joined(target, around[int(chance.integers(len(around)))].box)
    edge = _box(0, 0, pitch, side)
    for place in (*inside, *around):
        edge = _joined(edge, place.box)
    room = [float(v) for v in chance.uniform(0.6, 3.0, 4)]
    page = (
        edge[0] - room[0],
        edge[1] - spec.gap - room[1] - 2.4 * spec.masthead,
        edge[2] + room[2],
        edge[3] + room[3],
    )
    return Layout((*inside, *around), target, page)


def _box(column: int, row: int, pitch: float, side: float) -> Box:
    return column * pitch, row * pitch, column * pitch + side, row * pitch + side


def _joined(a: Box, b: Box) -> Box:
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])
