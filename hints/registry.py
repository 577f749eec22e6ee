"""Every reason that this library knows, by name: who finds it, how few looks it can take, and which
number it has on practice sheets. Search, drills, grades, filters and sheet codes derive from here;
a test holds that every catalogue of sentences has words for each.
"""

from __future__ import annotations

from dataclasses import dataclass

from papernudge.hints.techniques.almost_locked import almost_locked_sets
from papernudge.hints.techniques.chains import alternating_chains, remote_pairs
from papernudge.hints.techniques.colouring import colouring
from papernudge.hints.techniques.fish import fish
from papernudge.hints.techniques.hunt import Technique
from papernudge.hints.techniques.leftovers import LEFTOVERS, leftovers
from papernudge.hints.techniques.locked import locked_candidates
from papernudge.hints.techniques.nets import NET
from papernudge.hints.techniques.subsets import hidden_subsets, naked_subsets
from papernudge.hints.techniques.uniqueness import unique_rectangles
from papernudge.hints.techniques.wings import w_wings, xy_wings, xyz_wings


@dataclass(frozen=True, slots=True)
class Family:
    """Reasons that one finder finds. ``numbers``: each name with its number on sheet codes, None
    for what no sheet asks for; ``finder``: None for singles and nets, which the search draws
    itself; ``least``: fewest looks that one of its deductions can cost; ``unique``: whether it
    rests on the puzzle having one solution, so that it is used on request only.
    """

    numbers: tuple[tuple[str, int | None], ...]
    finder: Technique | None
    least: int
    unique: bool = False


FAMILIES = (
    Family(
        (
            ("last blank of a house", 0),
            ("several cells of a house", 1),
            ("hidden single", 2),
            ("naked single", 3),
        ),
        None,
        1,
    ),
    Family((("locked candidates", 4),), locked_candidates, 3),
    Family((("naked pair", 5), ("naked triple", 7), ("naked quad", 9)), naked_subsets, 4),
    Family((("hidden pair", 6), ("hidden triple", 8), ("hidden quad", 10)), hidden_subsets, 4),
    Family(
        (
            *(("X-wing", 11), ("swordfish", 12), ("jellyfish", 13)),
            *(("finned X-wing", 21), ("finned swordfish", 22), ("finned jellyfish", 27)),
        ),
        fish,
        6,
    ),
    Family((("XY-wing", 14),), xy_wings, 6),
    Family((("XYZ-wing", 15),), xyz_wings, 6),
    Family((("W-wing", 16),), w_wings, 6),
    Family((("remote pairs", 17),), remote_pairs, 8),
    Family((("colouring", 18),), colouring, 5),
    Family(
        (
            ("alternating chain", 19),
            *(("skyscraper", 23), ("two-string kite", 24), ("turbot fish", 25)),
            ("empty rectangle", 26),
        ),
        alternating_chains,
        4,
    ),
    Family((("almost-locked sets", 20),), almost_locked_sets, 6),
    Family((("unique rectangle", None),), unique_rectangles, 6, unique=True),
    Family(((LEFTOVERS, None),), leftovers, 6),
    Family(((NET, None),), None, 1),
)

_NUMBERED = sorted(
    (number, name) for family in FAMILIES for name, number in family.numbers if number is not None
)
PRACTISED = tuple(name for _, name in _NUMBERED)
"""What a practice sheet can ask for; each name's place is its number on sheet codes, for good."""
USED = (*PRACTISED, NET)
"""All that a walk of the newspaper's grid may need."""
NEEDED = (*USED, LEFTOVERS)
"""All that a walk of any board may need."""
KNOWN = tuple(name for family in FAMILIES for name, _ in family.numbers)


def spelt(name: str) -> str | None:
    """The reason of this name, whatever its capitals; None where there is none."""
    wanted = " ".join(name.split()).casefold()
    return next((one for one in KNOWN if one.casefold() == wanted), None)
