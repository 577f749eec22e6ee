"""How a reason is drawn: each role that a cell or a house plays in it has a shape of its own, and a
legend names the shapes that occur. No role hangs on a colour.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.signs import BLUE, FINE, ORANGE, USUAL, Scene, Sign
from papernudge.cli.said import in_words
from papernudge.hints.layout import DIAGONAL

if TYPE_CHECKING:
    from papernudge.cli.pictures.ink import Line
    from papernudge.hints.nudge import Told3, ToldStep
    from papernudge.hints.pattern import Link, Node, Pattern

Shape = Callable[[float, float], list["Line"]]


def _ring(x0: float, y0: float) -> list[Line]:
    return ink.ring(x0 + 0.5, y0 + 0.5)


def _two_rings(x0: float, y0: float) -> list[Line]:
    return [*ink.ring(x0 + 0.5, y0 + 0.5, 0.47, 1.0), *ink.ring(x0 + 0.5, y0 + 0.5, 0.31, 1.0)]


def _thin_ring(x0: float, y0: float) -> list[Line]:
    return ink.ring(x0 + 0.5, y0 + 0.5, 0.4, 1.02)


SHAPES: dict[str, Shape] = {
    "witness": _ring,
    "filled": ink.underline,
    "locked": ink.brackets,
    "set": ink.box,
    "one set": ink.box,
    "other set": ink.diamond,
    "corner": ink.corners,
    "fin": ink.sail,
    "pivot": ink.hexagon,
    "pincer": ink.jaws,
    "bridge": ink.rails,
    "one colour": ink.triangle,
    "other colour": ink.triangle_down,
    "end": _two_rings,
    "between": _thin_ring,
    "assumed": _two_rings,
}
"""Each role's shape; the legend calls it ``sign, `` and the role."""

_NAMES = {("naked single", "witness"): "barred digit"}
"""Other names of roles, by technique."""

_MANY_STEPS = 3
"""So many steps are drawn with their patterns; of more only the first and the one it rests on."""


def _name(sign: str) -> str:
    return in_words(f"sign, {sign}")


def show_reason(scene: Scene, told: Told3) -> None:
    """Depth 3: each step's pattern and what it strikes, then what the last one sees."""
    steps = told.line
    drawn = steps
    if len(steps) > _MANY_STEPS:
        rests_on = next((s for s in steps if s.technique == told.technique), steps[0])
        drawn = tuple(dict.fromkeys([steps[0], rests_on]))
    small: dict[int, dict[int, bool]] = {}
    for step in drawn:
        _show_step(scene, step, small)
    for step in steps:
        for cell, digits in step.ruled_out:
            small.setdefault(cell, {}).update(dict.fromkeys(digits, True))
    _show_single(scene, told, small)
    for cell in dict.fromkeys([*told.noted, *(c for step in steps for c in step.noted)]):
        scene.clear_cell(cell)
        scene.add(ink.dashed(ink.ring(*scene.middle(cell), 0.46, 1.0)))
        scene.explain(_noted_sign())
    for cell, shown in small.items():
        scene.clear_cell(cell)
        _small_digits(scene, cell, shown)


def _show_single(scene: Scene, told: Told3, small: Collection[int]) -> None:
    """The last step: rings around witnesses, rays to what they block, a line under filled cells.
    ``small``: cells that hold small digits of steps before, where a cross makes room for them.
    """
    pattern = told.pattern
    roles = dict(pattern.cells) or {"witness": sum(1 << c for c in told.evidence)}
    for house in pattern.houses_by_role("base") or told.houses:
        if house != told.focus.house:
            scene.house(house)
    for role, cells in roles.items():
        _show_role(scene, role, _members(cells), told.opened)
    for one in pattern.barred:
        blocked = list(_members(one.cells))
        for cell in blocked:
            x, y = scene.middle(cell)
            scene.clear_cell(cell)
            aside, size = (0.36, 0.09) if cell in small else (0.0, 0.13)
            scene.add(ink.cross(x + aside, y + aside, size, upright=False), BLUE, FINE)
        for ray in _rays(scene, one.witness, blocked):
            scene.add(ray, BLUE, FINE)
        scene.explain(Sign(_name("blocked"), ink.cross(0.5, 0.5, 0.2, upright=False), BLUE))


def _rays(scene: Scene, witness: int, blocked: Sequence[int]) -> list[list[Line]]:
    """From a witness along its row, its column and a diagonal to the farthest blank it blocks,
    each way; and to the others that just its block holds.
    """
    houses = scene.layout.houses
    slanted = [h for h in scene.layout.houses_of[witness] if houses[h].kind == DIAGONAL]
    at = scene.corner(witness)
    farthest: dict[tuple[int, int], tuple[int, int]] = {}
    for cell in blocked:
        x, y = scene.corner(cell)
        dx, dy = x - at[0], y - at[1]
        straight = 0 in (dx, dy) or any(cell in houses[h].cells for h in slanted)
        key = (_sign(dx), _sign(dy)) if straight else (dx, dy)
        reach = max(abs(dx), abs(dy))
        if key not in farthest or reach > farthest[key][0]:
            farthest[key] = (reach, cell)
    return [[ink.ray(scene.middle(witness), scene.middle(far))] for _, far in farthest.values()]


def _sign(n: int) -> int:
    return (n > 0) - (n < 0)


def _show_step(scene: Scene, step: ToldStep, small: dict[int, dict[int, bool]]) -> None:
    """A step before the last: its houses, its cells by role, its links, the digits it is about."""
    pattern = step.pattern
    base, cover = pattern.houses_by_role("base"), pattern.houses_by_role("cover")
    if not pattern.links:  # a chain is told by its links: the houses would hide it
        for house in base or step.houses:
            scene.house(house)
        for house in cover:
            scene.house(house, broken=True, named=len(cover) == 1)
    for cell in step.evidence:
        scene.clear_cell(cell)
        scene.add(ink.dashed(ink.underline(*scene.corner(cell)), 0.1), BLUE, FINE)
        scene.explain(Sign(_name("read"), ink.dashed(ink.underline(0, -0.3), 0.1), BLUE))
    for role, cells in pattern.cells:
        _show_role(scene, role, _members(cells))
        if role in ("set", "locked", "corner", "fin", "one colour", "other colour", "assumed"):
            for cell in _members(cells):
                for digit in _digits(pattern):
                    small.setdefault(cell, {}).setdefault(digit, False)
    struck = {digit for _, digits in step.ruled_out for digit in digits}
    for cell in _members(pattern.by_role("bridge")):
        for digit in set(_digits(pattern)) - struck:
            small.setdefault(cell, {}).setdefault(digit, False)
    for cell, taken in pattern.takes:
        for digit in _in(taken):
            small.setdefault(cell, {}).setdefault(digit, False)
    sets = "one set" in dict(pattern.cells)  # whose shapes tell what threads would only cross
    for link in pattern.links:
        if not sets:
            _show_link(scene, link)
        for node in (link.one, link.other):
            for cell in _members(node.cells):
                small.setdefault(cell, {}).setdefault(node.digit, False)


def _show_role(scene: Scene, role: str, cells: Iterable[int], technique: str = "") -> None:
    shape, name = SHAPES[role], _name(_NAMES.get((technique, role), role))
    width = FINE if role in ("filled", "between", "end", "assumed") else USUAL
    for cell in cells:
        scene.clear_cell(cell)
        scene.add(shape(*scene.corner(cell)), BLUE, width)
        scene.explain(Sign(name, shape(0, -0.3 if role == "filled" else 0), BLUE))


def _show_link(scene: Scene, link: Link) -> None:
    """A plain thread where one of the two is true, a broken one where not both are; its arrow shows
    the order.
    """
    a, b = _middle_of(scene, link.one), _middle_of(scene, link.other)
    if link.one.cells == link.other.cells:
        return
    thread = ink.thread(a, b)
    strong = link.kind == "strong"
    scene.add([thread] if strong else ink.dashed([thread], 0.2), BLUE, FINE)
    scene.add(ink.arrow(thread), BLUE, FINE)
    example = ink.pencil_line((0.05, 0.5), (0.95, 0.5))
    if strong:
        scene.explain(Sign(_name("one of two"), [example], BLUE))
    else:
        scene.explain(Sign(_name("not both"), ink.dashed([example], 0.2), BLUE))


def _middle_of(scene: Scene, node: Node) -> tuple[float, float]:
    points = [scene.middle(cell) for cell in _members(node.cells)]
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def _small_digits(scene: Scene, cell: int, digits: dict[int, bool]) -> None:
    """The digits that a reason is about in a cell, those that it strikes struck through: the fewer
    the larger, all inside the cell.
    """
    left, top = scene.corner(cell)
    for n, (value, struck) in enumerate(sorted(digits.items())):
        if len(digits) == 1:
            x, y, high = left + 0.5, top + 0.5, 0.42
        elif len(digits) == 2:
            x, y, high = left + 0.32 + 0.36 * n, top + 0.5, 0.38 if max(digits) < 10 else 0.32
        elif len(digits) <= 4:
            x, y, high = left + 0.32 + 0.36 * (n % 2), top + 0.31 + 0.38 * (n // 2), 0.32
        elif len(digits) <= 9:
            x, y, high = left + 0.24 + 0.26 * (n % 3), top + 0.24 + 0.26 * (n // 3), 0.24
        else:
            x, y, high = left + 0.17 + 0.22 * (n % 4), top + 0.17 + 0.22 * (n // 4), 0.18
        scene.add(ink.digit(value, x, y, high), BLUE, FINE)
        if struck and not _all_struck(digits):
            reach, rise = 0.5 * high, 0.34 * high
            strike = ink.pencil_line((x - reach, y + rise), (x + reach, y - rise), 0.005)
            scene.add([strike], ORANGE, FINE)
    if _all_struck(digits):
        a, b = (left + 0.12, top + 0.8), (left + 0.88, top + 0.2)
        scene.add([ink.pencil_line(a, b, 0.005)], ORANGE, FINE)
    if any(digits.values()):
        slash = ink.pencil_line((0.2, 0.75), (0.8, 0.25), 0.005)
        scene.explain(Sign(_name("struck"), [slash], ORANGE))


def _all_struck(digits: dict[int, bool]) -> bool:
    """Many digits that are all struck out are struck with one line: they stay legible."""
    return len(digits) > 2 and all(digits.values())


def _noted_sign() -> Sign:
    return Sign(_name("your notes"), ink.dashed(ink.ring(0.5, 0.5, 0.44, 1.0)), BLUE)


def _members(mask: int) -> Iterable[int]:
    from papernudge.hints.geometry import members

    return members(mask)


def _digits(pattern: Pattern) -> tuple[int, ...]:
    return _in(pattern.digits)


def _in(digits: int) -> tuple[int, ...]:
    from papernudge.hints.geometry import DIGITS_IN

    return DIGITS_IN[digits]
