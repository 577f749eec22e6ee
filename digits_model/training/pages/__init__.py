"""Draws puzzle pages as a phone sees them, with exact truth.

``preset(name, seed)`` makes a :class:`PageSpec`, ``draw(spec)`` a :class:`Page`: the photo and
all that is really on it. Training data, hard tests and the published fixtures come from here.
"""

from papernudge.digits_model.training.pages.board_pages import board_page, named, other_page
from papernudge.digits_model.training.pages.draw import Page, draw
from papernudge.digits_model.training.pages.fonts import MissingSuppliesError, use_pack
from papernudge.digits_model.training.pages.presets import FLOORS, PRESETS, hardships, preset
from papernudge.digits_model.training.pages.spec import PageSpec
from papernudge.digits_model.training.pages.truth import CellTruth, GridTruth, PageTruth

__all__ = [
    "FLOORS",
    "PRESETS",
    "CellTruth",
    "GridTruth",
    "MissingSuppliesError",
    "Page",
    "PageSpec",
    "PageTruth",
    "board_page",
    "draw",
    "hardships",
    "named",
    "other_page",
    "preset",
    "use_pack",
]
