"""The route of the eye through a solve, in words and as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from papernudge.hints import Position
    from papernudge.hints.route import Route


def route_told(position: Position) -> tuple[Route, list[str], dict[str, Any]]:
    """The whole solve in the order of the route, beside reading order and digit by digit: the
    route, its sentences, the document's fields.
    """
    from papernudge.hints.route import digit_by_digit, reading_order, route

    best = route(position)
    others = {
        "reading order": reading_order(position),
        "digit by digit": digit_by_digit(position),
    }
    lines = best.walk.sentences()
    if not best.walk.solved:
        lines.append("From there no step that this tool knows opens another cell.")
    lines.append(way_in_words(best) + ".")
    lines += [f"In comparison, {name}: {way_in_words(way)}." for name, way in others.items()]
    told: dict[str, Any] = {
        **_measures(best),
        "stops": [[list(stop) for stop in stops] for stops in best.stops],
        "compared": {name: _measures(way) for name, way in others.items()},
    }
    return best, lines, {"nudge": None, "walk": best.walk.to_json(), "route": told}


def way_in_words(way: Route) -> str:
    """Its looks, and how far the eye travels."""
    looks = "1 look" if way.looks == 1 else f"{way.looks} looks"
    return f"{looks}, {way.travel:.0f} cells from look to look"


def _measures(way: Route) -> dict[str, Any]:
    return {"looks": way.looks, "travel": round(way.travel, 1)}
