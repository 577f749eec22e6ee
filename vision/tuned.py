"""Numbers that were found by trying, each with its birth certificate.

What decides where a grid is and how its lines run says here in what unit it is told, on what it was
tuned, and what moves when it moves; the code names it by module and constant and says there what
it is. What moves is told as it is read from the code; ``tests/vision/bench_tuned.py`` moves a
number by a fifth down and a quarter up and counts what becomes of photos and drawn pages. Of the 32
that it was asked of (36 photos, 12 pages) 11 moved nothing there. With 37 photos and 12 pages its
``--reached`` finds none (of 147) by which no code went: those 11 decide where a page comes nearer
to them, or in time. What is no number of choice (a definition, a guard against dividing by nothing,
ranks of a theory) stays in the code.
"""

from __future__ import annotations

from typing import NamedTuple

PHOTOS = "photos of newspapers (bench_find.py photos)"
PAGES = "drawn pages, hard and newspaper (bench_find.py drawn)"
BOTH = f"{PHOTOS}; {PAGES}"
OTHERS = "drawn pages with grids of other kinds or without any (bench_find.py drawn, empty)"
TIME = "time on photos and crowded pages (bench_find.py times)"
BOARDS = "drawn pages with boards of other sizes (bench_boards.py)"
SEEN = "drawn pages that the network of crossings learnt from"


Value = float | tuple[tuple[float, ...], ...]


class Tuned(NamedTuple):
    """``name``: module and constant; ``on``: what it was tuned on; ``less``, ``more``: what moves
    when it is less, or more.
    """

    name: str
    value: Value
    unit: str
    on: str
    less: str
    more: str


# fmt: off
_ROWS = (
    ("find._LONG", 1280, "pixels", BOTH, "small grids are lost", "time grows with its square"),
    ("find._CLOSER", 2560, "pixels", PAGES, "crossings of small cells lie wrong", "time"),
    ("find._FINER", 1920, "pixels", PAGES, "grids of tiny cells are missed", "time"),
    ("find._SMALL_CELL", 24.0, "pixels of the searched picture", PAGES,
     "small grids measured coarsely, crossings a little off", "time"),
    ("find._LEAST", 60, "pixels of the searched picture", PAGES,
     "more text is tried as a grid", "the smallest grids are missed"),
    ("find._BEGS", 4, "closed cells", BOTH,
     "the network is asked on more photos, time", "second grids are missed"),
    ("find._BEGS_BESIDE", 12, "closed cells", BOTH,
     "time", "a grid that a crease joins to another is missed"),
    ("find._ROOM", 0.55, "share of the picture", BOTH,
     "the network is asked on more photos, time", "faint second grids are missed"),
    ("find._PLAIN", 0.5, "chance", OTHERS,
     "grids of other kinds are called too small", "small puzzles are called another kind"),
    ("find._SURELY", 0.7, "chance", PAGES,
     "cages and diagonals are called plain", "filled and cut puzzles are called another kind"),
    ("find._GOES_ON", 0.6, "share of lines", OTHERS,
     "puzzles beside print are called another kind", "parts of larger grids are called plain"),
    ("find._CLEAR", 0.85, "score, 0 to 1", PAGES, "faint meshes stay where they are wrong", "time"),
    ("find._LOOSE", 0.55, "score, 0 to 1", PAGES,
     "a mesh may lie anywhere", "faint grids are refused"),
    ("find._SEEN_WELL", 0.7, "fit, 0 to 1", PAGES,
     "a mesh off its lines is believed", "faint grids are refused"),
    ("find._LOOKS", 3, "looks", PAGES, "meshes stay astray on curls", "time"),
    ("find._MOSTLY", 0.65, "fit, 0 to 1", PAGES, "meshes stay astray", "time"),
    ("find._FEW", 16, "grids", TIME,
     "nothing that was measured", "pages of many grids take longer"),
    ("find._MOST", 24, "grids", TIME, "grids of crowded pages are left out", "time"),
    ("find._TINY", 0.7, "share of the least cell that can be read", PAGES,
     "time", "small grids are refused unmeasured"),
    ("find._ALIKE", 0.3, "cells", PAGES, "one grid is told twice", "neighbours pass for one"),
    ("find._KEEN", 0.5, "share", PHOTOS,
     "noise joins grids to text", "faint frames fall apart, the network is asked"),
    ("find._BEYOND", 0.9, "cells", PAGES, "time", "cut grids are flattened in vain"),
    ("find._LIKE_LEAST", 0.45, "cells", BOTH, "time", "smaller second grids are missed"),
    ("find._LIKE_MOST", 3.6, "cells", BOTH, "larger second grids are missed", "time"),
    ("find._BEGS_WIDE", 2.7, "cells", BOTH, "time", "broken second grids are missed"),
    ("find._SHRUNK", 1.2, "ratio", TIME, "time", "small cells are measured coarsely"),
    ("find._SMALLER", 0.66, "share", PAGES,
     "solutions are read", "filled puzzles beside larger ones pass for solutions"),
    ("find._FILLED", 0.97, "share", PAGES,
     "nearly filled puzzles pass for solutions", "solutions with a faint digit are read"),
    ("find_outlines._AROUND", 28, "ratio", PHOTOS,
     "the rims of shadows become ink", "thick frames hollow out"),
    ("find_outlines.LIFTED", 0.94, "share", PHOTOS,
     "nothing is left out", "digits darken what they are compared with"),
    ("find_outlines._STANDS_OUT", 0.05, "share of their brightness", PHOTOS,
     "paper's grain joins frames to text", "faint frames fall apart"),
    ("find_outlines._NOISE", 2.0, "grey levels", PHOTOS,
     "noise in the dark is ink", "ink in the dark is not"),
    ("find_outlines._LONG_CELL", 2.6, "ratio", PAGES,
     "those of leaning grids are not", "gaps of text are cells"),
    ("find_outlines._WHOLE_CELL", 0.3, "share", PAGES,
     "crumbs are cells", "cells with large digits are not"),
    ("find_outlines._PIECES", 24, "pieces", TIME,
     "small grids among pictures are left to the network", "time"),
    ("find_outlines._STRAIGHT", 0.004, "share", PHOTOS, "time", "corners move off curled frames"),
    ("find_outlines._SHORT_SIDE", 0.2, "share", PAGES,
     "slivers are tried", "steeply leaning grids are not"),
    ("find_outlines._SIDE_WIDE", 0.09, "grids", PHOTOS,
     "curled sides are lost", "text beside a frame bends it"),
    ("find_outlines._SIDE_NOISE", 0.003, "grids", PHOTOS,
     "little ink decides", "text beside a frame bends it"),
    ("find_net._SMALL", 640, "pixels", PAGES,
     "inner lines vanish", "the largest grids are not seen whole"),
    ("find_net._LARGE_CELL", 45.0, "pixels", SEEN,
     "they are looked at twice", "large grids are trusted where the network sees part of them"),
    ("find_net._SMALL_CELL", 8.0, "pixels", SEEN,
     "kinds are told of what can't be seen", "small grids have no kind"),
    ("find_net.FINE_CELL", 13.0, "pixels", SEEN, "crossings of small cells lie wrong", "time"),
    ("find_net._SAME", 0.7, "share", PAGES, "neighbours become one", "one grid is two"),
    ("find_net._TOUCHES", 0.2, "share", PAGES,
     "neighbours on curled pages are lost", "grids lie on grids"),
    ("find_net._VAGUE", 0.6, "worth, 0 to 1", PAGES, "small grids are missed", "time"),
    ("find_net._LEAST_CHANCE", 0.5, "chance", PAGES,
     "text passes for grids", "faint grids are missed"),
    ("find_net._AROUND", 8.0, "cells", PAGES, "a grid's rim lies outside the closer look", "time"),
    ("find_net._LEAST_PATCH", 5, "places of 8 pixels", OTHERS,
     "crumbs are told as grids", "small ones of other kinds are not"),
    ("find_net._FEWEST", 4, "crossings", OTHERS, "pictures are told as grids", "cut ones are not"),
    ("find_net._BLUNT", 0.85, "share", PAGES,
     "small grids count less", "a blunt look wins over a sharp one"),
    ("find_net._ASIDE", 3.0, "cells", PAGES,
     "sketches far off are not mended", "a neighbour is taken"),
    ("find_net._SOLID", 0.4, "share", OTHERS,
     "ragged places are told as grids", "leaning ones are not"),
    ("find_net._CLOSE_CELLS",
     ((22.0, 28.0, 36.0),),
     "pixels", PAGES,
     "lines of small grids are seen less sharply",
     "time"),
    ("find_again._CELL", 16, "pixels", PAGES, "lines are seen less sharply", "time"),
    ("find_again._CELLS_AROUND", 3, "cells", PAGES,
     "a mesh that went astray can't be put back", "neighbours are seen"),
    ("find_again._NEAR", 0.3, "cells", PAGES,
     "crossings of a bent mesh don't count", "a neighbour's do"),
    ("find_again._THERE", 0.2, "fit, 0 to 1", PAGES,
     "noise counts as a crossing", "faint ones don't"),
    ("find_again._UNSEEN", 0.25, "fit, 0 to 1", PAGES,
     "meshes on nothing are believed", "faint grids are refused"),
    ("find_again._VAGUE", 0.65, "fit, 0 to 1", PAGES,
     "meshes beside their grid are believed", "faint grids are refused"),
    ("find_again._FEW_BLOCKS", 13, "crossings", PAGES,
     "meshes half off are believed", "grids with a hidden corner are refused"),
    ("find_again._MOST_OFF", 3.0, "cells", PAGES,
     "meshes far off are not mended", "a neighbour is taken"),
    ("find_again._OWN", 0.7, "share", PAGES,
     "sorts are no evidence", "crossings without a frame don't count"),
    ("crossings._LEAST_MIDDLE", 0.12, "chance", PAGES, "time", "faint grids are missed"),
    ("crossings._LEAST_POINT", 0.08, "chance", PAGES,
     "noise is a crossing", "faint ones are missed"),
    ("crossings._NEAR", 0.36, "shares of a block", PAGES,
     "bent grids fall apart", "neighbours' crossings are taken"),
    ("crossings._FAR", 0.5, "shares of a block", PAGES,
     "bent grids fall apart", "neighbours' crossings are taken"),
    ("crossings._GOOD", 0.6, "chance", PAGES, "steep bends are missed", "time"),
    ("crossings._QUAD_OF", 9, "crossings", TIME, "steep bends are missed", "time"),
    ("crossings._QUADS", 4, "ways", TIME, "steep bends are missed", "time"),
    ("crossings._UNEVEN_QUAD", 2.2, "ratio", PAGES,
     "steep bends are missed", "neighbours' crossings are taken"),
    ("crossings._ASIDE", 0.5, "sides", PAGES,
     "steep bends are missed", "neighbours' crossings are taken"),
    ("crossings._THERE", 0.6, "share of the area", OTHERS,
     "grids without a frame are never plain", "other kinds are"),
    ("crossings._FAINTEST", 4, "256ths of the brightness", OTHERS,
     "empty paper has grids", "faint ones are missed"),
    ("crossings._LIKELY", 0.25, "chance", PAGES,
     "time, text has crossings", "steep bends are missed"),
    ("crossings._FEWEST", 6, "crossings", PAGES,
     "corners of other grids are sketched", "cut ones are not"),
    ("crossings._MOST_MIDDLES", 48, "grids", TIME, "crowded pages are read in part", "time"),
    ("crossings._MANY_MIDDLES", 24, "grids", TIME,
     "steep bends on crowded pages are missed", "time"),
    ("crossings._SNAP", 0.35, "sides of a cell", PAGES,
     "bent meshes stay even", "digits pull them"),
    ("crossings._STIFF", 0.05, "ratio", PAGES, "single crossings pull the mesh", "folds stay even"),
    ("crossings._UNEVEN", 0.08, "shares of a block", PAGES, "time", "a neighbour's side is kept"),
    ("crossings._OWN", 0.7, "share", PAGES,
     "sorts are no evidence", "grids without a frame fall apart"),
    ("crossings._TURNS", 0.5, "steps", PAGES,
     "bends are walked straight", "the other direction is taken"),
    ("crossings._LEAST_WORTH", 0.02, "chance", PAGES, "noise is taken", "faint crossings are not"),
    ("crossings._LEAST_BLOCK", 6.0, "pixels", PAGES, "time", "tiny grids are missed"),
    ("crossings._LEAST_SNAP", 0.05, "chance", PAGES, "noise pulls", "faint lines don't"),
    ("crossings._SNAP_OUTLIER", 0.15, "sides of a cell", PAGES, "folds stay even", "digits pull"),
    ("flatten._WORTH_MORE", 0.6, "share of segments", BOTH, "time", "meshes stay astray on curls"),
    ("flatten._LAST_REACH", 0.12, "cells", BOTH, "folds are cut off", "digits are taken for lines"),
    ("flatten._LAST_STIFFNESS", 0.15, "ratio", BOTH,
     "the mesh follows strokes of digits", "it leaves lines at folds"),
    ("flatten._NO_LINE", 2.5, "standard errors", BOTH,
     "tints' rims count as frames", "faint frames don't"),
    ("flatten._PLAIN", 4.0, "standard errors", PAGES,
     "a mesh between lines passes", "faint thin lines fail it"),
    ("flatten._BARE", 0.45, "share of a side", BOTH,
     "half a frame is none", "tints' rims count as frames"),
    ("flatten._FRAMED", 0.3, "share of a block's sides", PAGES,
     "meshes half on a smaller grid pass", "curled corners fail"),
    ("flatten._CLOSE", 0.07, "cells", BOTH,
     "lines at folds don't count", "lines of something else do"),
    ("flatten._SURE_SCORE", 0.95, "score, 0 to 1", TIME,
     "a worse mesh stays", "time, the network is asked more"),
    ("flatten._SURE_LINE", 0.85, "share", TIME, "a line off its place stays", "time"),
    ("flatten._WHOLE_SURE", 5.0, "standard errors", BOTH,
     "all score alike", "faint grids score less"),
    ("flatten._THIN_USUAL", 2.5, "standard errors", PAGES,
     "meshes over other grids pass", "blurred grids fail"),
    ("flatten._THIN_FOURTH", 1.5, "standard errors", PAGES,
     "meshes over other grids pass", "blurred grids fail"),
    ("flatten._THIN_LEAST", 0.2, "standard errors", PAGES,
     "a mesh that left a line passes", "grids with a hidden line fail"),
    ("flatten._INNER_LEAST", 3.0, "standard errors", PAGES, "tables pass", "unframed grids fail"),
    ("flatten._INNER_WHOLE", 0.6, "share", PAGES, "tables pass", "unframed grids fail"),
    ("flatten._BLOCK_LEAST", 3.5, "standard errors", PAGES,
     "thin lines pass for thick", "blurred grids fail"),
    ("flatten._BLOCK_SHARE", 0.3, "share", PAGES, "meshes off a side pass", "curled sides fail"),
    ("flatten._BLOCK_THIRD", 4.5, "standard errors", PAGES, "text passes", "blurred grids fail"),
    ("flatten._LOST_THIN", 4.0, "standard errors", PAGES,
     "meshes a row off pass", "shadowed frames fail"),
    ("flatten._LOST_BLOCK", 6.0, "standard errors", PAGES,
     "meshes a row off pass", "shadowed frames fail"),
    ("flatten._LOST_SIDE", 0.5, "standard errors", PAGES,
     "meshes a row off pass", "shadowed frames fail"),
    ("flatten._OUTLIER", 4.0, "deviations", BOTH, "folds are cut off", "digits pull the mesh"),
    ("flatten._LAST_DEVIATION", 0.015, "cells", BOTH,
     "half of the lines decide", "digits pull the mesh"),
    ("flatten._SEEN_SHARE", 0.15, "share", BOTH, "noise counts as lines", "thin lines don't count"),
    ("flatten._SEEN_LEAST", 2.5, "grey levels", BOTH,
     "noise counts as lines", "lines in the dark don't count"),
    ("flatten._AGREES", 0.1, "cells", BOTH,
     "curled grids are given up", "text is flattened in vain"),
    ("flatten._ON", 0.04, "cells", BOTH, "they are missed beside the mesh", "thin lines pale"),
    ("flatten._BESIDE", 0.11, "cells", BOTH, "thick lines are their own paper", "digits are"),
    ("flatten._BESIDE_TO", 0.2, "cells", BOTH, "noise does", "digits darken the paper"),
    ("flatten._EDGE", 2.0, "pixels", PAGES, "the edge is a line", "frames at the edge are unseen"),
    ("flatten._ACROSS", 0.3, "ratio", BOTH, "they ripple", "pages bend less from line to line"),
    ("flatten._MIXED", 0.6, "ratio", BOTH, "hidden corners stray", "curled corners are cut off"),
    ("flatten._MODES", 48, "shapes", BOARDS, "boards on curled pages are left", "time"),
    ("flatten._PASSES",
     ((0.42, 100.0, 0.042, 0.35), (0.3, 10.0, 0.03, 0.45), (0.2, 1.0, 0.02, 0.6)),
     "reach, cells; stiffness; usual deviation, cells; agreement", BOTH,
     "rough outlines are not reached",
     "digits pull the mesh, text is flattened in vain"),
    ("flatten._MORE_PASSES",
     ((0.4, 3.0, 0.08, 0.3), (0.4, 1.5, 0.07, 0.3), (0.35, 0.7, 0.06, 0.3),
      (0.25, 0.4, 0.04, 0.3), (0.2, 0.3, 0.02, 0.3)),
     "reach, cells; stiffness; usual deviation, cells; agreement", PAGES,
     "steep curls are not reached",
     "digits pull the mesh"),
    ("flatten._NEAR_PASSES",
     ((0.2, 3.0, 0.03, 0.0), (0.2, 1.0, 0.02, 0.0)),
     "reach, cells; stiffness; usual deviation, cells; agreement", PAGES,
     "sketches a little off stay so",
     "faint lines lose the mesh to digits"),
    ("flatten._AT_ONCE",
     ((0.25, 1.0, 0.02, 0.6),),
     "reach, cells; stiffness; usual deviation, cells; agreement", TIME,
     "more outlines need all passes, time",
     "a worse mesh stays"),
    ("lines._FLANK", 0.15, "cells", BOTH,
     "thick lines are their own paper", "digits darken the paper"),
    ("lines._SPARED", 0.08, "share", BOTH, "crossing lines count", "less of the line is seen"),
    ("lines._CORE", 0.1, "cells", BOTH,
     "thick lines don't weigh more", "what is written beside it counts"),
    ("lines._CORE_BESIDE", 0.08, "cells", BOTH, "a line is its own paper", "digits are"),
    ("lines._CORE_TO", 0.2, "cells", BOTH, "noise does", "digits darken the paper"),
    ("lines._DARKER", 0.05, "share", BOTH,
     "thin lines rival thick", "pen strokes are taken for lines"),
    ("lines._NEARER", 0.5, "share", BOTH, "neighbouring strokes are taken", "bent lines are left"),
    ("lines._WIDE", 0.12, "cells", BOTH, "thick lines jitter", "strokes beside it pull"),
    ("lines._ONWARD", 0.5, "cells", OTHERS, "print at the frame does", "neighbours count"),
    ("quality.LEAST_CELL", 11.0, "raster pixels", BOTH,
     "smaller grids are read, with more doubts", "they are refused"),
    ("quality.MOST_BLUR", 0.11, "cells", BOTH,
     "they are refused", "blurred grids are read, with more doubts"),
    ("quality.LEAST_CONTRAST", 0.025, "share of full scale", BOTH,
     "grids in the dark are read, with more doubts", "they are refused"),
    ("quality._AT_EDGE", 0.2, "cells", PAGES,
     "a photo's edge passes for a frame", "grids near the edge are called cut off"),
    ("quality._PAST", 0.3, "cells", PAGES,
     "bent grids near the edge are called cut off", "an edge passes for a frame"),
    ("quality._MISSING", 0.25, "cells", PAGES,
     "grids whose every digit is whole are called cut off", "digits are read in part"),
    ("find_kind._CAGED", 0.13, "share of cells", OTHERS,
     "time", "cages pass for nothing"),
    ("find_kind._MARKED", 0.3, "share", OTHERS, "time", "marked diagonals are no houses"),
    ("find_kind._TONE", 0.06, "log of a ratio", OTHERS, "time", "pale tints are no houses"),
    ("find_kind._RIMS", 16, "neighbours", OTHERS, "time", "tinted blocks are no houses"),
    ("find_kind._BETWEEN", 3, "lines", OTHERS,
     "grids with print half-way between lines are lost", "meshes over two grids pass"),
    ("find_kind._RULED", 1.25, "ratio", OTHERS,
     "ruled diagonals pass for nothing", "cells with slanting strokes are marked diagonals"),
    ("find_kind._TINT", 4.0, "grey levels", OTHERS,
     "shade and digits are tints", "faint tints are none"),
)
# fmt: on
RECORDS: dict[str, Tuned] = {row[0]: Tuned(*row) for row in _ROWS}
"""By name."""


def tuned(name: str) -> float:
    """The value of a record."""
    value = RECORDS[name].value
    assert not isinstance(value, tuple)
    return value


def whole(name: str) -> int:
    """The same of one that counts."""
    return int(tuned(name))


def several(name: str) -> tuple[tuple[float, ...], ...]:
    """The same of one that is a table."""
    value = RECORDS[name].value
    assert isinstance(value, tuple)
    return value
