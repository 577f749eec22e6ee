"""The route of the eye through a solve: in words, as data, and drawn as a numbered path.

A plain walk is drawn by its numbers alone.
"""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING, Any

from papernudge.cli import ink
from papernudge.cli.signs import BLUE, FINE, Scene, Slip, middle

if TYPE_CHECKING:
    from papernudge.cli.answers import Answer
    from papernudge.cli.pages import Sheet
    from papernudge.hints import Walk
    from papernudge.hints.route import Route

Point = tuple[float, float]
_CLEAR = 0.36
"""A path ends so far from the middle of a cell, cells: the slip with the number lies there."""


def route_answer(sheet: Sheet, state: str) -> Answer:
    """The whole solve in the order of the route, beside reading order and digit by digit."""
    from papernudge.cli.answers import DEEPEST, Answer
    from papernudge.hints.route import digit_by_digit, reading_order, route

    best = route(sheet.position)
    others = {
        "reading order": reading_order(sheet.position),
        "digit by digit": digit_by_digit(sheet.position),
    }
    lines = best.walk.sentences()
    if not best.walk.solved:
        lines.append("From there no step that this tool knows opens another cell.")
    lines.append(_summary(best) + ".")
    lines += [f"In comparison, {name}: {_summary(way)}." for name, way in others.items()]
    told: dict[str, Any] = {
        **_measures(best),
        "stops": [[list(stop) for stop in stops] for stops in best.stops],
        "compared": {name: _measures(way) for name, way in others.items()},
    }
    fields = {"nudge": None, "walk": best.walk.to_json(), "route": told}
    said = sheet.lead + "\n".join(lines)
    return Answer("hint", sheet, state, DEEPEST, said, told=best, fields=fields)


def _summary(way: Route) -> str:
    looks = "1 look" if way.looks == 1 else f"{way.looks} looks"
    return f"{looks}, {way.travel:.0f} cells from look to look"


def _measures(way: Route) -> dict[str, Any]:
    return {"looks": way.looks, "travel": round(way.travel, 1)}


def route_scene(way: Route) -> Scene:
    """The lines numbered where they write, a path from each to the next."""
    scene = Scene(caption=f"The numbers say in which order to write: {_summary(way)}.")
    before: Point | None = None
    for number, line in enumerate(way.walk.lines, start=1):
        cells = [middle(cell) for cell, _ in line.places]
        for here in _nearest_first(cells, before):
            _link(scene, before, here)
            _number(scene, number, *here)
            before = here
    return scene


def walk_scene(whole: Walk) -> Scene:
    """Each line's number in the cells where it writes; a ring shows where the walk begins."""
    looks = "1 look" if whole.looks == 1 else f"{whole.looks} looks"
    scene = Scene(caption=f"The numbers say in which order to write: {looks} in all.")
    for number, line in enumerate(whole.lines, start=1):
        for cell, _ in line.places:
            here = middle(cell)
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
