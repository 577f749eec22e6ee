"""A marked sheet drawn on its photo.

The signs are those of the other pictures: a tick stands beside a digit that is right, a ring lies
around one that is right but was not asked for, hatching over one that can't stand there, with the
dead end below, and a bold ring around one that must be asked about, with a question mark at the
margin. A tab over each position says the result in words, and no sign relies on its ink.
"""

from __future__ import annotations

from collections import Counter

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.scene import (
    BLUE,
    FINE,
    ORANGE,
    THICK,
    USUAL,
    Scene,
    Tab,
    corner,
    middle,
)
from papernudge.cli.said import in_words, in_words_of, spoken
from papernudge.cli.sheets.mark import ALSO_VALID, UNSURE, WRONG, Marked, MarkedPage


def marked_scene(answer: Marked) -> Scene:
    """One position, in units of its grid."""
    scene = Scene()
    name = in_words("number and result", number=answer.task.number, said=_said(answer))
    bad = answer.result in (WRONG, UNSURE)
    scene.tabs.append(Tab(name, 6.5, -0.12, "top", ORANGE if bad else BLUE))
    doubted = {doubt.cell for doubt in answer.doubts}
    for cell, digit in answer.written:
        x0, y0 = corner(cell)
        if cell in doubted:
            continue
        if answer.task.solution[cell] != str(digit):
            scene.add(ink.hatching(x0, y0), ORANGE, FINE)
            scene.add(ink.dead_end(x0, y0), ORANGE, USUAL)
        elif answer.result == ALSO_VALID:
            scene.add(ink.ring(*middle(cell), 0.46), BLUE, USUAL)
        else:
            scene.add(ink.tick(x0 + 0.86, y0 + 1.05, 0.36), BLUE, THICK)
    for cell in sorted(doubted):
        x, y = middle(cell)
        scene.add(ink.ring(x, y, 0.58, 1.2), ORANGE, THICK)
        left = x < 4.5
        side = "left" if left else "right"
        scene.tabs.append(Tab("?", -0.15 if left else 9.15, y, side, ORANGE))
    return scene


def _said(answer: Marked) -> str:
    if answer.task.reason is None and answer.written and answer.result != UNSURE:
        return right_and_wrong(answer)
    return result_said(answer.result)


def right_and_wrong(answer: Marked) -> str:
    """How many digits of a position are right, and how many wrong."""
    wrong = len(answer.written) - answer.found
    return in_words("right and wrong", right=answer.found, wrong=wrong)


def result_said(result: str) -> str:
    """A result as a person reads it."""
    return in_words(f"result, {result}")


def results_said(counts: Counter[str]) -> str:
    """How often each result came, the most frequent first."""
    told = [
        in_words("so many", count=many, result=result_said(result))
        for result, many in counts.most_common()
    ]
    return spoken().chained("listed", told)


def summed(marked: MarkedPage) -> str:
    """The sheet in a sentence. A position that was not found can't be drawn: it is named."""
    if marked.page.minutes:
        found = sum(answer.found for answer in marked.answers)
        said = [in_words_of("sheet's digits", found, sheet=marked.page.name)]
    else:
        counts = Counter(answer.result for answer in marked.answers)
        said = [in_words("sheet's results", sheet=marked.page.name, results=results_said(counts))]
    lost = [str(answer.task.number) for answer in marked.answers if answer.crossings is None]
    if lost:
        said.append(in_words("numbers can't be read", numbers=spoken().chained("and more", lost)))
    return spoken().paragraph(said)


def marked_picture(marked: MarkedPage, side: int, ending: str) -> bytes:
    """The bytes of a file: the whole photo, upright, neither side over ``side`` pixels."""
    from papernudge.cli.pictures.pictures import encode
    from papernudge.cli.pictures.sketch import Placed, sketch

    placed = [
        Placed(marked_scene(answer), answer.crossings)
        for answer in marked.answers
        if answer.crossings is not None
    ]
    caption = summed(marked)
    return encode(sketch(marked.pixels, marked.turns, placed, side, caption, close=False), ending)
