"""The published fixtures: photos of a puzzle page of an invented paper, with truth.

Puzzles come from our own generator, handwriting from our own drawn shapes, print from the
packages named in ``fonts.json``; nothing in them belongs to anybody else.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from papernudge.digits_model.training.pages.boards import Board
from papernudge.digits_model.training.pages.draw import Page, draw
from papernudge.digits_model.training.pages.fonts import Supplies, supplies
from papernudge.digits_model.training.pages.own import OwnHand
from papernudge.digits_model.training.pages.spec import PageSpec
from papernudge.digits_model.training.pages.store import stored
from papernudge.hints.shapes import board_of

SANS, BOLD, SERIF = (
    "LiberationSans-Regular.ttf",
    "LiberationSans-Bold.ttf",
    "LiberationSerif-Bold.ttf",
)

_PAGE: dict[str, Any] = {
    "width": 1000,
    "height": 1200,
    "face": SANS,
    "text": 2,
    "masthead": True,
    "neighbours": 1.0,
    "decoys": ("text", "crossword", "text"),
    "share": 0.72,
    "off_y": 0.45,
    "gap": 1.5,
    "variants": 1.0,
    "thin": 0.018,
    "thick": 0.05,
    "digit_high": 0.54,
    "grain": 0.35,
    "mottle": 0.15,
    "tone": (214, 224, 228),
    "table": 0,
    "tilt": 12.0,
    "tilt_to": 80.0,
    "turn": 2.0,
    "curl": 0.05,
    "curl_kind": "wave",
    "white": 226.0,
    "black": 22.0,
    "cast": (0.93, 0.98, 1.0),
    "gradient": 0.18,
    "gradient_to": 200.0,
    "focus_blur": 0.7,
    "noise": 2.0,
    "jpeg": 0,
    "order": "natural",
}
_PENCIL: dict[str, Any] = {
    "pen": "pencil",
    "pen_width": 0.034,
    "pen_cover": 0.92,
    "entry_high": 0.56,
    "entry_vary": 0.035,
    "slant": 6.0,
    "wobble": 0.02,
}
_IRREGULAR = """
    AAABBBBCC
    AAABBBBCC
    AADDBCCCC
    ADDDEECFF
    GDDDEEEFF
    GGDEEEFFF
    GGGGHEIFF
    GGHHHHIII
    HHHHIIIII
"""
_FOUR, _SIX, _SIXTEEN, _ANY, _CROSSED = (
    Board(layout=board_of("2x2"), unit=1.4).words(),
    Board(layout=board_of("2x3"), unit=1.1).words(),
    Board(layout=board_of("4x4"), unit=0.85, narrow=0.8).words(),
    Board(layout=board_of(regions=_IRREGULAR)).words(),
    Board(layout=board_of(diagonals=True), diagonal_ink=(120, 120, 120)).words(),
)
"""Boards of the fixtures that show others than the newspaper's."""
_BALLPOINT = {**_PENCIL, "pen": "ballpoint", "pen_ink": (140, 50, 30), "pen_width": 0.028}


@dataclass(frozen=True, slots=True)
class Fixture:
    """One photo: what it shows, its spec, and how it is stored.

    ``quality``: of the JPEG or HEIC, 0 for a lossless PNG.
    """

    name: str
    says: str
    fields: dict[str, Any] = field(default_factory=dict)
    quality: int = 80

    @property
    def spec(self) -> PageSpec:
        """The page's spec."""
        return PageSpec(**{**_PAGE, **self.fields})


FIXTURES = (
    Fixture(
        "kitchen-table.jpg",
        "A newspaper on a kitchen table, half solved in pencil, right so far.",
        {
            **_PENCIL,
            "seed": 55,
            "fill": 0.42,
            "givens": 27,
            "turn": -7.0,
            "share": 0.62,
            "title": 5,
            "neighbours": 0.4,
        },
    ),
    Fixture(
        "kitchen-table-later.jpg",
        "The same puzzle a while later, photographed anew: more entries, all right.",
        {
            **_PENCIL,
            "seed": 55,
            "fill": 0.62,
            "givens": 27,
            "turn": 4.0,
            "share": 0.7,
            "tilt_to": 200.0,
            "tilt": 15.0,
            "title": 5,
            "neighbours": 0.4,
        },
    ),
    Fixture(
        "clean.jpg",
        "A clean newspaper puzzle, nothing written.",
        {"seed": 11, "givens": 28, "title": 6},
    ),
    Fixture(
        "one-mistake.jpg",
        "Half solved in ballpoint; one entry is wrong.",
        {
            **_BALLPOINT,
            "seed": 12,
            "fill": 0.5,
            "mistakes": 1,
            "turn": -3.0,
            "cast": (1.0, 0.98, 0.9),
            "title": 1,
        },
    ),
    Fixture(
        "mistake-followed.jpg",
        "Ballpoint; one wrong entry and what the solver then concluded from it.",
        {**_BALLPOINT, "seed": 41, "fill": 0.4, "mistakes": 1, "followed": 3, "title": 6},
    ),
    Fixture(
        "solved.jpg",
        "Solved to the end in ballpoint, all right.",
        {**_BALLPOINT, "seed": 13, "fill": 1.0, "turn": 5.0, "pen_ink": (50, 40, 40), "title": 3},
    ),
    Fixture(
        "two-grids.jpg",
        "Two puzzles, one above the other, both begun in pencil.",
        {
            **_PENCIL,
            "seed": 17,
            "grids": 2,
            "focus": "page",
            "neighbours": 0.3,
            "share": 0.88,
            "fill": 0.3,
            "face": BOLD,
            "height": 1400,
            "off_y": 0.8,
            "title": 6,
        },
    ),
    Fixture(
        "six-grids.jpg",
        "A contest sheet of six puzzles, all begun in ballpoint, one of them with a mistake.",
        {
            **_BALLPOINT,
            "seed": 29,
            "grids": 6,
            "focus": "page",
            "masthead": False,
            "neighbours": 0.0,
            "tone": (238, 240, 240),
            "share": 0.92,
            "fill": 0.6,
            "mistakes": 1,
            "width": 1300,
            "height": 1750,
            "off_y": 0.0,
            "gap": 1.8,
            "title": 12,
        },
    ),
    Fixture(
        "sideways.jpg",
        "The phone was held sideways and left no tag: the raster itself lies on its side.",
        {
            "seed": 15,
            "turn": -88.0,
            "width": 1100,
            "height": 850,
            "off_y": 0.0,
            "off_x": 0.3,
            "title": 1,
        },
    ),
    Fixture(
        "rotation-tag.jpg",
        "An upright raster whose tag wrongly says that it must be turned by a quarter.",
        {"seed": 16, "given_ink": (50, 45, 200), "tag": 6, "turn": 3.0, "title": 12},
    ),
    Fixture(
        "notes.jpg",
        "Notes in the corners of most open cells, some of them struck out; a few entries.",
        {
            **_PENCIL,
            "seed": 18,
            "fill": 0.25,
            "note_share": 0.8,
            "note_style": "corner",
            "struck_notes": 0.3,
            "width": 1200,
            "height": 1300,
            "share": 0.85,
            "focus_blur": 0.5,
            "title": 7,
        },
    ),
    Fixture(
        "book.jpg",
        "A glossy book page that curls into its gutter, two puzzles.",
        {
            **_PENCIL,
            "seed": 20,
            "grids": 2,
            "focus": "page",
            "masthead": False,
            "neighbours": 0.0,
            "tone": (244, 246, 247),
            "grain": 0.05,
            "curl": 0.25,
            "curl_kind": "gutter",
            "tilt": 16.0,
            "tilt_to": 10.0,
            "glare": 0.35,
            "share": 0.9,
            "fill": 0.2,
            "face": SERIF,
            "shade": "blocks",
            "shade_ink": (232, 232, 232),
            "width": 1400,
            "height": 900,
            "off_y": 0.0,
            "title": 12,
        },
    ),
    Fixture(
        "hard-shade.jpg",
        "A hand's hard shadow over a part of the grid, evening light.",
        {
            "seed": 31,
            "shadow": 0.55,
            "shadow_soft": 0.012,
            "gradient": 0.3,
            "cast": (0.72, 0.9, 1.0),
            "thin_ink": (150, 150, 150),
            "given_ink": (60, 60, 60),
            "title": 5,
        },
    ),
    Fixture(
        "misprint.jpg",
        "A given is misprinted: the puzzle does not have exactly one solution.",
        {"seed": 22, "misprints": 1, "face": BOLD, "title": 6},
    ),
    Fixture(
        "no-grid.jpg",
        "A page of text and a crossword, no puzzle on it.",
        {
            "seed": 23,
            "grids": 0,
            "decoys": ("crossword", "text", "text"),
            "share": 0.8,
            "title": 13,
        },
    ),
    Fixture(
        "cut-off.jpg",
        "The right edge of the grid lies outside the frame.",
        {"seed": 24, "cut": "right", "cut_cells": 1.6, "neighbours": 0.3, "title": 1},
    ),
    Fixture(
        "clean.png",
        "A clean puzzle, small and lossless, red givens.",
        {
            "seed": 25,
            "width": 480,
            "height": 520,
            "share": 0.86,
            "noise": 0.8,
            "grain": 0.1,
            "given_ink": (60, 50, 205),
            "masthead": False,
            "title": 6,
        },
        quality=0,
    ),
    Fixture(
        "phone.heic",
        "As a phone stores it by default; a few entries in red.",
        {**_BALLPOINT, "seed": 26, "fill": 0.3, "pen_ink": (60, 60, 160), "title": 1},
        quality=45,
    ),
    Fixture(
        "childrens-corner.jpg",
        "The children's corner: a puzzle of 4×4 and one of 6×6, both begun in pencil.",
        {
            **_PENCIL,
            "seed": 61,
            "grids": 2,
            "boards": (_FOUR, _SIX),
            "focus": "page",
            "masthead": False,
            "neighbours": 0.3,
            "share": 0.84,
            "fill": 0.3,
            "face": BOLD,
            "height": 1100,
            "title": 6,
        },
    ),
    Fixture(
        "weekend.jpg",
        "The weekend page: a puzzle of 16×16 with numbers of two figures, one of 9×9 beside it.",
        {
            **_BALLPOINT,
            "seed": 63,
            "grids": 2,
            "boards": (_SIXTEEN, ""),
            "order": "any",
            "focus": "page",
            "masthead": False,
            "neighbours": 0.0,
            "share": 0.93,
            "fill": 0.25,
            "width": 1750,
            "height": 1080,
            "off_y": 0.0,
            "title": 7,
        },
        quality=72,
    ),
    Fixture(
        "irregular.jpg",
        "A puzzle whose blocks are of any form, half solved in ballpoint, right so far.",
        {**_BALLPOINT, "seed": 64, "boards": (_ANY,), "fill": 0.4, "thick": 0.06, "title": 12},
    ),
    Fixture(
        "diagonals.jpg",
        "A puzzle whose diagonals, thin lines, hold each digit once too; a few entries in pencil.",
        {**_PENCIL, "seed": 65, "boards": (_CROSSED,), "fill": 0.2, "turn": 4.0, "title": 5},
    ),
)


def drawn(fixture: Fixture, held: Supplies | None = None) -> Page:
    """The fixture's page before it is stored. MissingSuppliesError without its typefaces."""
    return draw(fixture.spec, OwnHand(held or supplies()))


def truth_of(fixture: Fixture, page: Page) -> dict[str, Any]:
    """What the truth file holds."""
    return {
        "photo": fixture.name,
        "says": fixture.says,
        "spec": fixture.spec.as_json(),
        **page.truth.as_json(),
    }


def write_fixtures(folder: Path, held: Supplies | None = None) -> list[tuple[str, int]]:
    """Draws all fixtures into the folder, each with its truth; returns names and bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    sizes = []
    for fixture in FIXTURES:
        page = drawn(fixture, held)
        photo = stored(page, Path(fixture.name).suffix, fixture.quality)
        told = json.dumps(truth_of(fixture, page), indent=None, separators=(",", ":")) + "\n"
        (folder / fixture.name).write_bytes(photo)
        (folder / f"{fixture.name}.json").write_text(told, encoding="utf-8")
        sizes.append((fixture.name, len(photo) + len(told)))
    return sizes
