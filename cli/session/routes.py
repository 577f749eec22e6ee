"""The route of the eye through a solve, in words and as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from papernudge.cli.said import ENGLISH
from papernudge.hints.catalogue import Words

if TYPE_CHECKING:
    from papernudge.hints import Position
    from papernudge.hints.route import Route


def route_told(
    position: Position, words: Words = ENGLISH
) -> tuple[Route, list[str], dict[str, Any]]:
    """The whole solve in the order of the route, beside reading order and digit by digit: the
    route, its sentences, the document's fields.
    """
    from papernudge.hints.route import digit_by_digit, reading_order, route

    best = route(position)
    others = {
        "reading order": reading_order(position),
        "digit by digit": digit_by_digit(position),
    }
    lines = best.walk.sentences(words=words)
    if not best.walk.solved:
        lines.append(words.say("no further"))
    lines.append(words.say("stop", said=way_in_words(best, words)))
    lines += [
        words.say(f"in comparison, {name}", way=way_in_words(way, words))
        for name, way in others.items()
    ]
    told: dict[str, Any] = {
        **_measures(best),
        "stops": [[list(stop) for stop in stops] for stops in best.stops],
        "compared": {name: _measures(way) for name, way in others.items()},
    }
    return best, lines, {"nudge": None, "walk": best.walk.to_json(words=words), "route": told}


def way_in_words(way: Route, words: Words = ENGLISH) -> str:
    """Its looks, and how far the eye travels."""
    return words.counted("way", way.looks, travel=way.travel)


def _measures(way: Route) -> dict[str, Any]:
    return {"looks": way.looks, "travel": round(way.travel, 1)}
