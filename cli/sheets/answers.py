"""What stands in the cells of a practised position, with what is known before anybody looks.

The sheet itself says what is printed where, so only blank cells are in question, and mostly those
that the answers name.

The model. Let c(d) be the classifier's calibrated chance that a cell holds d (0: nothing), from
many views (``papernudge.vision.views``). All of a sheet is by one hand, so its digits are
compared: with Λ(d) the log of the mean of exp(8 (cos - 1)) over the sheet's other cells that surely
hold d, and s(d) = 1 where there are any (``papernudge.vision.habits``),

    q(d)  ∝  c(d) · exp(Λ(d) + s(d)),    d = 1 … 9,    q(0) = c(0)

Nothing of that knows what is right. The classifier learnt from cells of which a share SEEN(d) held
d, so what the ink alone says is l(d) ∝ q(d) / SEEN(d), and

    P(d | ink)  ∝  l(d) · π(d)

    π(0) = 1 - w,    π(right) = w · RIGHT,    π(other) = w · (1 - RIGHT) / 8 for each of the eight
    w    = ASKED for a cell that an answer names, ELSEWHERE for any other

RIGHT says that one of two digits written is right, fewer than any coach hopes for: a right digit is
eight times as likely as any one other. That may settle a doubt of the eye (9 or 8, where 9 is
right), never overrule it: where P points elsewhere than q does, q stands, and the cell is asked
about unless its ink is plain. So a wrong digit can pass for the right one only where its ink looks
like the right one more than like itself: by SURE / (1 - SURE) / 8, that is four to one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from papernudge.cli.sheets.code import Task

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from papernudge.vision.views import Seen

    Chances = npt.NDArray[np.float64]

RIGHT, ASKED, ELSEWHERE = 0.5, 0.6, 0.03
SEEN_BLANK = 0.5
"""Share of blank cells that the classifier learnt from; the digits share the rest alike."""


def by_hand(grids: Sequence[tuple[Task, Seen]]) -> list[Chances]:
    """What the cells of a sheet's positions look like beside each other: q, float64 (81, 10) each.

    Rows of printed cells, and of those that hold nothing, stay as they are.
    """
    import numpy as np

    from papernudge.vision.habits import likeness

    out = [seen.chances.copy() for _, seen in grids]
    inked = [
        (chances, np.flatnonzero([m == "." for m in task.digits] & (chances[:, 0] < 0.5)))
        for (task, _), chances in zip(grids, out, strict=True)
    ]
    if sum(len(cells) for _, cells in inked) < 2:
        return out
    digits = np.concatenate([chances[cells, 1:] for chances, cells in inked])
    features = [seen.features[cells] for (_, seen), (_, cells) in zip(grids, inked, strict=True)]
    alike, examples = likeness(digits, np.concatenate(features))
    weighed = digits * np.exp(alike + examples)
    weighed *= digits.sum(axis=1, keepdims=True) / weighed.sum(axis=1, keepdims=True)
    start = 0
    for chances, cells in inked:
        chances[cells, 1:] = weighed[start : start + len(cells)]
        start += len(cells)
    return out


def posterior(task: Task, chances: Chances) -> Chances:
    """P(d | ink) of the cells of a position that are printed blank, by the model above: float64
    (81, 10).

    ``chances``: q, float64 (81, 10). Rows of printed cells are left as they are.
    """
    import numpy as np

    asked = {cell for places in task.answers for cell, _ in places}
    out = chances.astype(np.float64).copy()
    for cell, mark in enumerate(task.digits):
        if mark != ".":
            continue
        alone = chances[cell] / np.array([SEEN_BLANK] + [(1 - SEEN_BLANK) / 9] * 9)
        written = ASKED if cell in asked or not task.answers else ELSEWHERE
        prior = np.full(10, written * (1 - RIGHT) / 8)
        prior[0], prior[int(task.solution[cell])] = 1 - written, written * RIGHT
        weighed = alone * prior
        if weighed.argmax() == chances[cell].argmax():
            out[cell] = weighed / weighed.sum()
    return out
