"""What is printed on drawn boards, as the network that tells boards learns it."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages import Page, PageSpec, board_page, preset
from papernudge.digits_model.training.pages.board_pages import NAMES, named
from papernudge.digits_model.training.pages.board_print import inks_of
from papernudge.digits_model.training.pages.boards import MARKS as DRAWN
from papernudge.digits_model.training.pages.boards import MORE_MARKS, board_from
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.hints.layout import NEWSPAPER, Layout, beside
from papernudge.vision.boards.printed import BOARD, BOARD_NAMES, CELL_NAMES, CELLS, EDGES, MARKS
from papernudge.vision.boards.sheet import CELL, MARGIN, flattened, light
from papernudge.vision.mesh import Mesh, Points

Rows = npt.NDArray[np.int8]

MIX = (("easy", 0.1), ("newspaper", 0.5), ("hard", 0.4))
"""Presets and their shares."""
KINDS = (("plain", 0.19), ("marks", 0.16), ("more", 0.14), ("board", 0.31), ("pieces", 0.2))
"""What stands on a page: a newspaper's grid, marks as puzzles print them, others, one of NAMES, a
board with tinted pieces of any form."""
MARKED = (
    ("3x3", 0.65),
    ("2x3", 0.15),
    ("2x2", 0.04),
    ("2x4", 0.05),
    ("any 9", 0.06),
    ("4x4", 0.05),
)
"""Boards that marks stand on, and their shares."""
PIECED = ("3x3", "3x3", "3x3", "2x3", "2x4", "4x2", "any 7", "any 9", "2x2", "3x4")
TOUCHING = 0.35
"""Share of these on which pieces may touch."""
FORMS = 6
"""Forms of boards of any blocks."""
LEAST = 13.0
"""Side of a cell, raster pixels, below which nothing can be told."""
PLAIN, ANY = 3, 8
"""Levels of 255 up to which two tints are one to the eye, and from which on they are two."""
OFF, NOISE = 0.03, 0.01
"""How far meshes are bent, and how far each crossing is off: standard deviations, cells."""


class Sheet(NamedTuple):
    """A flat board and what is on it: 0 no, 1 yes, -1 unknown. ``pixels``: uint8 (P, P, 3);
    ``paper``: float32 (3,); ``edges``: (EDGES, 2, S, S - 1), ``cells``: (CELLS, S, S), ``board``:
    (BOARD,), int8, as :mod:`papernudge.vision.boards.printed` names them.
    """

    pixels: npt.NDArray[np.uint8]
    paper: npt.NDArray[np.float32]
    edges: Rows
    cells: Rows
    board: Rows


def _one(chance: np.random.Generator, shares: tuple[tuple[str, float], ...]) -> str:
    names = [name for name, _ in shares]
    of = np.array([share for _, share in shares])
    return str(chance.choice(names, p=of / of.sum()))


def recipe(
    seed: int, split: str = "train", kind: str = "", name: str = "", words: str = ""
) -> PageSpec:
    """The page of this seed: one board that fills a small photo. ``kind``: of KINDS, ``name``: a
    preset, ``words``: the board or the marks; chosen by chance where they are not given.
    """
    chance = np.random.default_rng([seed, 41])
    name, kind = name or _one(chance, MIX), kind or _one(chance, KINDS)
    style: dict[str, Any] = {}
    layout: Layout | None = None
    if kind == "board":
        layout = named(words or str(chance.choice(NAMES)), int(chance.integers(FORMS)))
    elif kind == "pieces":
        layout = named(words or str(chance.choice(PIECED)), int(chance.integers(FORMS)))
        touch = bool(chance.random() < TOUCHING)
        style = {"pieces": pieces(layout, chance, touch)}
        if touch:  # told apart by their tints alone
            low, high = chance.integers([160, 218], [190, 240]).tolist()
            levels = chance.permutation(np.linspace(low, high, 6))
            style["tints"] = tuple((int(level),) * 3 for level in levels)
    elif kind in {"marks", "more"}:
        layout = named(_one(chance, MARKED), int(chance.integers(FORMS)))
        style = {"marks": words or str(chance.choice(DRAWN if kind == "marks" else MORE_MARKS))}
    side = layout.side if layout else 9
    near = float(chance.uniform(20.0, 58.0 if side < 10 else 44.0))  # pixels a cell
    size = float(np.clip(near * side * 1.12, 260, 860))
    fields: dict[str, Any] = {
        "width": round(size * 1.1), "height": round(size), "grids": 1, "focus": "grid",
        "share": float(chance.uniform(0.8, 0.97)), "neighbours": 0.3, "cut": "",
        "decoys": ("text",), "titles": bool(chance.random() < 0.2),
    }  # fmt: skip
    if chance.random() < 0.2:
        fields["note_share"] = float(chance.uniform(0.2, 1.0))
    if kind == "plain" and chance.random() < 0.3:
        fields["shade"] = str(chance.choice(["blocks", "cells", "givens"]))
    if layout is None:
        return preset(name, seed, split=split, **fields)
    return board_page(name, seed, layout, style=style, split=split, **fields)


def pieces(layout: Layout, chance: np.random.Generator, touch: bool) -> tuple[tuple[int, ...], ...]:
    """One to five pieces of a board, mostly of as many cells as it has rows, that hang together;
    whether two of them may ``touch``.
    """
    left = set(layout.cells)
    found: list[tuple[int, ...]] = []
    for _ in range(int(chance.integers(1, 6))):
        size = layout.side
        if chance.random() < 0.25:
            size = int(chance.integers(1, layout.side + 3))
        if not left:
            break
        piece = [int(chance.choice(sorted(left)))]
        left.discard(piece[0])
        while len(piece) < size:
            rim = sorted({n for c in piece for n in beside(layout.side, c)} & left)
            if not rim:
                break
            piece.append(int(chance.choice(rim)))
            left.discard(piece[-1])
        if not touch:
            left -= {n for c in piece for n in beside(layout.side, c)}
        found.append(tuple(sorted(piece)))
    return tuple(found)


# ------------------------------------------------------------- truth


def tones(spec: PageSpec, grid: GridTruth) -> npt.NDArray[np.float64]:
    """The light that each cell's printed paper leaves, 0 to 255, (S, S, 3)."""
    board = board_from(spec.boards[0]) if spec.boards else None
    light_ = np.full((grid.layout.many, 3), 255.0)
    if board is not None and board.tinted:
        for cell, layers in inks_of(board).items():
            for ink in layers:
                light_[cell] *= np.array(ink) / 255
    else:
        for cell, truth in enumerate(grid.cells):
            if "shaded" in truth.marks:
                light_[cell] = spec.shade_ink
    side = grid.layout.side
    return light_.reshape(side, side, 3)


def across(cells: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
    """What (S, S, ...) holds on the two sides of each inner edge, (2, S, S - 1, ...)."""
    other = cells.swapaxes(0, 1)
    return np.stack([cells[:, :-1], other[:, :-1]]), np.stack([cells[:, 1:], other[:, 1:]])


def _apart(off: npt.NDArray[np.float64]) -> Rows:
    """Whether tints that differ by so much are two; -1 where no eye could tell."""
    return np.where(off >= ANY, 1, np.where(off <= PLAIN, 0, -1)).astype(np.int8)


def rows_of(spec: PageSpec, grid: GridTruth) -> tuple[Rows, Rows, Rows]:
    """The edges, cells and board of a drawn grid, see :class:`Sheet`."""
    side, layout = grid.layout.side, grid.layout
    edges = np.full((EDGES, 2, side, side - 1), -1, np.int8)
    cells = np.zeros((CELLS, side, side), np.int8)
    one, two = across(np.array(layout.blocks).reshape(side, side))
    edges[0] = one != two
    tone = tones(spec, grid)
    one, two = across(tone)
    edges[1] = _apart(np.abs(one - two).max(axis=-1))
    cells[0] = _apart(255 - tone.min(axis=-1)) if (tone == 255).all(axis=-1).any() else -1
    if grid.name == "tinted cages":
        edges[1], cells[0] = -1, -1
    board = board_from(spec.boards[0]) if spec.boards else None
    lines = bool(board and layout.plan.diagonals and board.diagonal != "tint")
    cells[1] = np.eye(side, dtype=np.int8) * lines
    cells[2] = np.eye(side, dtype=np.int8)[::-1] * lines
    for cell, truth in enumerate(grid.cells):
        for k, what in enumerate(CELL_NAMES):
            if k and what in truth.marks:
                cells[k].flat[cell] = 1
    told = cells[1:].reshape(BOARD, -1).max(axis=1)
    return edges, cells, told


def bent(mesh: Points, chance: np.random.Generator, share: float = 1.0) -> Points:
    """A mesh (S + 1, S + 1, 2) off by what finders may be off by: smoothly, up to a tenth of a cell
    or so, and each crossing a little; ``share`` of it.
    """
    cell = float(np.linalg.norm(np.diff(mesh, axis=1), axis=2).mean())
    v, u = (2 * np.indices(mesh.shape[:2]) / (len(mesh) - 1)) - 1
    waves = np.stack([np.ones_like(u), u, v, u * v, u * u, v * v], axis=-1)
    amount = share * OFF * cell * abs(float(chance.normal()))
    off = waves @ (amount * chance.normal(0, 0.6, (6, 2)))
    most = float(np.abs(off).max())
    off *= min(1.0, 0.11 * cell / max(most, 1e-9))
    return np.asarray(mesh + off + chance.normal(0, share * NOISE * cell, mesh.shape))


def sheets_of(
    page: Page, chance: np.random.Generator, jitter: float = 1.0
) -> list[tuple[int, Sheet]]:
    """The flat boards of a page, each with its side."""
    found = []
    for grid in page.truth.grids:
        held = grid.cells and grid.crossings is not None and grid.kind in {"puzzle", "other"}
        if not held or grid.cell_px < LEAST:
            continue
        assert grid.crossings is not None
        seen = np.ones(grid.crossings.shape[:2], np.bool_)
        flat = flattened(page.image, Mesh(bent(grid.crossings, chance, jitter), seen))
        sheet = Sheet(flat.pixels, flat.paper, *rows_of(page.spec, grid))
        found.append((grid.layout.side, sheet))
    return found


def unmarked(pixels: npt.NDArray[np.uint8]) -> Sheet:
    """The flat board of a newspaper's grid on a photo: no marks; its tints are unknown."""
    side = (len(pixels) - 2 * MARGIN) // CELL
    edges = np.full((EDGES, 2, side, side - 1), -1, np.int8)
    one, two = across(np.array(NEWSPAPER.blocks).reshape(side, side))
    edges[0] = one != two
    cells = np.zeros((CELLS, side, side), np.int8)
    cells[0] = -1
    return Sheet(pixels, light(pixels), edges, cells, np.zeros(BOARD, np.int8))


assert BOARD_NAMES[2:] == MARKS
