"""What is drawn for each depth, in grid units, before anybody asks on what.

The sign language: a sketched *frame* that runs past its corners is a house to look at; a *ring* a
digit that matters, a broken ring one whose notes matter; what else a reason's cells are, their
shapes tell (``papernudge.cli.pictures.roles``), and a *legend* names them; a *handwritten digit* is
a digit to write; *slips* with a number tell an order; *hatching* lies over a digit that can't stay,
with a wavy *string* to what it repeats or a *dead end* where it repeats nothing; *tabs* at the
margin name things. Tracing paper covers the rest. Ink is blue for looking and orange for what is
wrong, and no sign relies on that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.roles import show_reason
from papernudge.cli.pictures.signs import (
    BLUE,
    FINE,
    GREY,
    ORANGE,
    THICK,
    USUAL,
    Scene,
    Sign,
    Slip,
    Stroke,
    Tab,
    corner,
    house_box,
    middle,
)
from papernudge.cli.said import in_words, speaking

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer
    from papernudge.hints.checking import Checked, Checked3, Mistake
    from papernudge.hints.nudge import Told1

__all__ = [
    "BLUE",
    "FINE",
    "GREY",
    "ORANGE",
    "THICK",
    "USUAL",
    "Scene",
    "Sign",
    "Slip",
    "Stroke",
    "Tab",
    "answer_scene",
    "checked_scene",
    "corner",
    "doubt_scene",
    "house_box",
    "middle",
    "nudge_scene",
]


def answer_scene(answer: Answer) -> Scene:
    """The scene of an answer, in its language, drawn from its depth's own type and from nothing
    else.
    """
    with speaking(answer.words):
        return _answer_scene(answer)


def _answer_scene(answer: Answer) -> Scene:
    from papernudge.hints import Walk
    from papernudge.hints.checking import Checked1
    from papernudge.hints.nudge import Told1
    from papernudge.hints.route import Route

    told = answer.told
    if isinstance(told, Checked1):
        scene = checked_scene(told)
    elif isinstance(told, Told1):
        scene = nudge_scene(told)
    elif isinstance(told, Route):
        from papernudge.cli.pictures.eye import route_scene

        return route_scene(told, answer.sheet.grid.layout)
    elif isinstance(told, Walk):
        from papernudge.cli.pictures.eye import walk_scene

        return walk_scene(told, answer.sheet.grid.layout)
    else:
        scene = Scene(layout=answer.sheet.grid.layout)
    scene.caption = answer.sentence
    return scene


def nudge_scene(told: Told1) -> Scene:
    """A nudge at its depth."""
    from papernudge.hints.nudge import Told3, Told4

    scene = Scene(layout=told.layout)
    digit = told.focus.digit
    if digit is not None:
        scene.tabs.append(Tab(in_words("tab, look for", digit=digit), -0.3, -0.25, "top"))
        for cell in () if isinstance(told, Told3) else told.focus.cells:
            scene.clear_cell(cell)
            scene.add(ink.ring(*scene.middle(cell)))
    elif told.focus.house is not None:
        scene.house(told.focus.house)
    if isinstance(told, Told3):
        show_reason(scene, told)
    if isinstance(told, Told4):
        for cell, value in told.places:
            scene.clear_cell(cell)
            x, y = scene.middle(cell)
            scene.add(ink.digit(value, x, y - 0.03, 0.62), BLUE, THICK)
            scene.add([ink.pencil_line((x - 0.3, y + 0.4), (x + 0.3, y + 0.38), 0.02)], BLUE)
        for cell in told.follow:
            x, y = scene.middle(cell)
            scene.clear_cell(cell)
            foot = [ink.pencil_line((x - 0.3, y + 0.4), (x + 0.3, y + 0.38), 0.02)]
            scene.add(ink.dashed(foot, 0.16), BLUE)
            scene.explain(
                Sign(
                    in_words("sign, follows"), ink.dashed([foot[0] - foot[0][0] + 0.2], 0.16), BLUE
                )
            )
    if not scene.windows:  # a digit that stands nowhere yet: the whole grid is the place to look
        scene.windows.append((0, 0, *scene.size))
    return scene


def checked_scene(told: Checked) -> Scene:
    """A check at its depth."""
    from papernudge.hints.checking import Checked2, Checked3, Checked4, State

    scene = Scene(layout=told.layout)
    wide, high = scene.size
    if told.state is State.SOLVED:
        scene.add(ink.tick(wide + 0.3, high + 0.1, 1.1), BLUE, THICK * 1.4)
    elif told.state is State.RIGHT_SO_FAR:
        scene.add(ink.tick(wide + 0.5, 0.6, 0.55), BLUE, THICK)
    elif told.state is State.MISTAKEN:
        scene.add(ink.tally(min(told.wrong, 5 * high), wide + 0.45, 0.4, 0.66), ORANGE, USUAL)
    if isinstance(told, Checked2) and not isinstance(told, Checked3):
        for house in told.houses:
            scene.house(house, ORANGE)
    if isinstance(told, Checked3):
        _show_mistakes(scene, told)
    if isinstance(told, Checked4):
        for mistake, value in zip(told.mistakes, told.right, strict=True):
            _in_the_corner(scene, mistake.cell, value)
        for cell, value in zip(told.lost_notes, told.right_notes, strict=True):
            x, y = scene.corner(cell)
            scene.add(ink.digit(value, x + 0.8, y + 0.8, 0.3), BLUE, FINE)
        for cell, digits in told.printed_instead:
            for n, value in enumerate(digits[:3]):
                _in_the_corner(scene, cell, value, n)
    return scene


def _in_the_corner(scene: Scene, cell: int, value: int, place: int = 0) -> None:
    """The right digit in the upper right corner of a cell, on paper cleared for it."""
    x, y = scene.corner(cell)
    aside, apart = (0.84, 0.26) if value < 10 else (0.78, 0.38)
    scene.add(ink.digit(value, x + aside - apart * place, y + 0.22, 0.34), BLUE, 1.3 * FINE)


def _show_mistakes(scene: Scene, told: Checked3) -> None:
    for mistake in told.mistakes:
        x0, y0 = scene.corner(mistake.cell)
        scene.clear_cell(mistake.cell)
        scene.add(ink.hatching(x0, y0), ORANGE, FINE)
        if mistake.clashes:
            _tie(scene, mistake)
        else:
            scene.add(ink.dead_end(x0, y0), ORANGE, USUAL)
    if told.first_out is not None and len(told.mistakes) > 1 and told.cost > 1:
        first = (told.first_out, *told.first_or)
        for cell in first:
            x, y = scene.middle(cell)
            lines = ink.frame(x - 0.5, y - 0.5, x + 0.5, y + 0.5, 0.14)
            chosen = lines if len(first) == 1 else ink.dashed(lines, 0.24)
            scene.add(chosen, ORANGE, THICK)
            name = in_words("tab, out first" if len(first) == 1 else "tab, first?")
            scene.tabs.append(Tab(name, -0.25, y, "left", ORANGE))
    _show_misprint(scene, told)
    for cell in told.lost_notes:
        scene.clear_cell(cell)
        scene.add(ink.dashed(ink.ring(*scene.middle(cell), 0.46, 1.0)), BLUE, FINE)


def _show_misprint(scene: Scene, told: Checked3) -> None:
    """Printed digits in question: ringed, those that clash tied to each other."""
    cells = told.misprinted_cells
    for n, cell in enumerate(cells):
        scene.clear_cell(cell)
        scene.add(ink.ring(*scene.middle(cell), 0.44), ORANGE, USUAL)
        for other in cells[n + 1 :]:
            if set(told.houses) & _shared_houses(scene, cell, other):
                scene.add(ink.string(scene.middle(cell), scene.middle(other)), ORANGE, FINE)
    if len(cells) == 1:
        x, y = scene.middle(cells[0])
        scene.tabs.append(_tab_beside(scene, in_words("tab, misprint?"), x, y, ORANGE))


def _shared_houses(scene: Scene, one: int, other: int) -> set[int]:
    return {*scene.layout.houses_of[one]} & {*scene.layout.houses_of[other]}


def _tie(scene: Scene, mistake: Mistake) -> None:
    for other in mistake.clashes:
        scene.clear_cell(other)
        scene.add(ink.string(scene.middle(mistake.cell), scene.middle(other)), ORANGE, FINE)
        scene.add(ink.ring(*scene.middle(other), 0.42), ORANGE, FINE)


def doubt_scene(answer: Answer) -> Scene:
    """The cells that a question is about: a ring each, and a tab with the question mark. Of one
    about blocks both, that which the cell may lie in instead with broken lines.
    """
    scene = Scene(caption=answer.sentence, layout=answer.sheet.grid.layout)
    evidence = answer.sheet.grid.evidence
    for doubt in answer.doubts:
        if doubt.about == "layout" and evidence is not None and evidence.other_layout is not None:
            scene.house(scene.layout.blocks[doubt.cell], named=False)
            other = Scene(layout=evidence.other_layout)
            other.house(other.layout.blocks[doubt.cell], ORANGE, broken=True, named=False)
            scene.strokes += other.strokes
            scene.windows += other.windows
        scene.clear_cell(doubt.cell)
        x, y = scene.middle(doubt.cell)
        scene.add(ink.ring(x, y, 0.6, 1.2), BLUE, THICK)
        scene.tabs.append(_tab_beside(scene, "?", x, y, BLUE))
    return scene


def _tab_beside(scene: Scene, text: str, x: float, y: float, ink_name: str) -> Tab:
    """A tab at the margin that is nearer to a place."""
    wide = scene.layout.wide
    if x < wide / 2:
        return Tab(text, -0.25, y, "left", ink_name)
    return Tab(text, wide + 0.25, y, "right", ink_name)
