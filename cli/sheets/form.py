"""Where things stand on a practice page, points from the lower left corner of the paper."""

from __future__ import annotations

from papernudge.cli.pictures.paper import PAPERS, Box, Paper, Room
from papernudge.cli.sheets.code import MOST_EACH
from papernudge.vision.codes.recognise import PageForm, Square

EDGE = 40.0
HEAD, FOOT = 112.0, 92.0
"""Room for the title and a sheet code, and for a code and the page number."""
OVER, UNDER, GAP = 15.0, 29.0, 26.0
"""Room over a grid for its number, under it for the why, and between grids."""
CODE = 106.0
"""Side of a sheet code, its quiet zone in it."""


def grid_boxes(many: int, paper: Paper) -> list[Box]:
    """Places for so many grids, as large as fit, from the top left."""
    width, height = paper[0] - 2 * EDGE, paper[1] - HEAD - FOOT - EDGE
    top = paper[1] - EDGE / 2 - HEAD
    return Room(EDGE, top, width, height, over=OVER, under=UNDER, gap=GAP).boxes(many)


def code_boxes(paper: Paper) -> tuple[Box, Box]:
    """The same code twice, in two corners that face each other: a shade or a curl takes one."""
    top = Box(paper[0] - EDGE / 2 - CODE, paper[1] - EDGE / 2 - CODE, CODE)
    return top, Box(EDGE / 2, EDGE / 2 - 6, CODE)


def forms() -> list[PageForm]:
    """Every way in which a page may be laid out, as a photo is compared with them."""
    return [
        PageForm(
            paper,
            tuple(_from_the_top(box, paper) for box in grid_boxes(each, paper)),
            tuple(_from_the_top(box, paper) for box in code_boxes(paper)),
        )
        for paper in PAPERS.values()
        for each in range(1, MOST_EACH + 1)
    ]


def _from_the_top(box: Box, paper: Paper) -> Square:
    return box.x, paper[1] - box.y - box.side, box.side
