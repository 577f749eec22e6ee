"""The route of the eye through a solve, drawn as a numbered path.

A plain walk is drawn by its numbers alone.
"""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.signs import BLUE, FINE, Scene, Slip
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.session.routes import way_in_words
from papernudge.hints.layout import NEWSPAPER, Layout

if TYPE_CHECKING:
    from papernudge.hints import Walk
    from papernudge.hints.route import Route

Point = tuple[float, float]
_CLEAR = 0.36
"""A path ends so far from the middle of a cell, cells: the slip with the number lies there."""


def route_scene(way: Route, layout: Layout = NEWSPAPER) -> Scene:
    """The lines numbered where they write, a path from each to the next."""
    said = in_words("order of a route", way=way_in_words(way, spoken()))
    scene = Scene(caption=said, layout=layout)
    before: Point | None = None
    for number, line in enumerate(way.walk.lines, start=1):
        cells = [scene.middle(cell) for cell, _ in line.places]
        for here in _nearest_first(cells, before):
            _link(scene, before, here)
            _number(scene, number, *here)
            before = here
    return scene


def walk_scene(whole: Walk, layout: Layout = NEWSPAPER) -> Scene:
    """Each line's number in the cells where it writes; a ring shows where the walk begins."""
    scene = Scene(caption=in_words_of("order of a walk", whole.looks), layout=layout)
    for number, line in enumerate(whole.lines, start=1):
        for cell, _ in line.places:
            here = scene.middle(cell)
            _number(scene, number, *here)
            if number == 1:
                scene.add(ink.ring(*here))
    return scene


def _nearest_first(cells: list[Point], start: Point | None) -> list[Point]:
    return sorted(cells, key=lambda cell: _far(start, cell)) if start else cells


def _far(a: Point, b: Point) -> float:
    return hypot(a[0] - b[0], a[1] - b[1])


def _link(scene: Scene, start: Point | None, end: Point) -> None:
    if start is None:
        return
    dx, dy = end[0] - start[0], end[1] - start[1]
    far = _far(start, end)
    # Trimmed along the longer side, so that neighbours still show their link.
    trim = min(_CLEAR * far / max(abs(dx), abs(dy)), 0.45 * far) / far
    a = start[0] + trim * dx, start[1] + trim * dy
    b = end[0] - trim * dx, end[1] - trim * dy
    scene.add([ink.pencil_line(a, b)], BLUE, FINE)


def _number(scene: Scene, number: int, x: float, y: float) -> None:
    """On a dark slip, so that nobody takes it for a digit of the grid."""
    scene.slips.append(Slip(str(number), x, y))
