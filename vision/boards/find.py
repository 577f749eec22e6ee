"""Boards of other sizes and forms on a page: what of them is read off the paper itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import LARGEST, NEWSPAPER, SMALLEST, Layout
from papernudge.vision.boards.lattice import Lattice, lattice_in
from papernudge.vision.boards.regions import Blocks, blocks_of, even_shape
from papernudge.vision.boards.sheet import flattened, line_ink
from papernudge.vision.boards.tints import Further, further
from papernudge.vision.find_outlines import Contour, ink_mask, parts_of
from papernudge.vision.mesh import Mesh, Points

Raster = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Board:
    """A board that is seen. ``layout``: None where it has none that can be read, and ``odd`` says
    in a word what was seen.
    """

    mesh: Mesh
    layout: Layout | None
    blocks: Blocks | None = None
    odd: str | None = None


def board_of(raster: Raster, mesh: Mesh) -> Board:
    """What board lies under a mesh (S + 1, S + 1, 2), raster pixels."""
    sheet = flattened(raster, mesh)
    if not SMALLEST <= sheet.side <= LARGEST:
        return Board(mesh, None, odd="size")
    blocks = blocks_of(line_ink(sheet.edges()))
    if blocks is None:
        return Board(mesh, None, odd="no blocks")
    more = further(sheet, blocks.cells)
    if more.odd:
        return Board(mesh, None, blocks, more.odd)
    return Board(mesh, layout_of(blocks, more), blocks)


def layout_of(blocks: Blocks, more: Further) -> Layout:
    """The layout of these blocks and further houses."""
    shape = even_shape(blocks.of)
    if shape is None:
        return Layout.of_regions(blocks.cells, more.diagonals, more.extra)
    return Layout.of_blocks(*shape, more.diagonals, more.extra)
