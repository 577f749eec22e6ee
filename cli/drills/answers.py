"""What stands in the cells of a practised position, with what is known before anybody looks.

The sheet itself says what is printed where, so only blank cells are in question, and mostly those
that the answers name. Few cells hold ink, so each of them can be looked at many times.

The model. Let q(d) be the classifier's calibrated chance that a cell holds d (0: nothing), from the
mean of its logits over many views. The classifier learnt from cells of which a share SEEN(d) held
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

from typing import TYPE_CHECKING

from papernudge.cli.drills.code import Task

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Chances = npt.NDArray[np.float64]
    Pixels = npt.NDArray[np.uint8]

RIGHT, ASKED, ELSEWHERE = 0.5, 0.6, 0.03
SEEN_BLANK = 0.5
"""Share of blank cells that the classifier learnt from; the digits share the rest alike."""

TURNED = ((0, 0, 1.0, 8), (0, 0, 1.0, -5))
"""Further views beside those of every unsure cell: turned by degrees against the clock, as hands
lean to the right more than to the left.
"""
_PLAIN = 0.9999
"""A cell that is blank with this chance at first sight is not looked at again."""
_STEADIER = 0.965
"""The mean of many views is less often sure of what is wrong than one look: its temperature, by
log-loss on unsure cells of real photos and drawn pages together, is lower by this factor."""
_PAPER, _DARK, _MOST = 224.0, 150.0, 3.0


def seen(pixels: Pixels) -> Chances:
    """The classifier's calibrated chances of nothing and the digits, float64 (81, 10), from the
    mean logits of many closer looks at each cell that is not plainly blank.

    ``pixels``: uint8 (81, 48, 48, 3), patches of a grid.
    """
    import numpy as np

    from papernudge.digits_model.layout import DIGITS
    from papernudge.digits_model.scores import (
        VIEWS,
        calibrated,
        closer_look,
        context,
        first_look,
        manifest,
        viewed,
    )

    calibration = manifest()["calibration"]
    logits, features = first_look(pixels)
    first = np.exp(calibrated(logits, features, calibration).digits)
    again = np.flatnonzero(first[:, 0] < _PLAIN)
    if len(again):
        marked = pixels[again]
        views = [marked, *(viewed(marked, view) for view in VIEWS + TURNED), _darkened(marked)]
        # On a page without any other writing a lone pale mark is taken for one that was rubbed out;
        # a sheet is empty by design, so only what it holds is told.
        held = first[:, 0] < 0.5
        page = context(logits, features)[held | ~held.any()]
        more = closer_look(np.concatenate(views), page)
        mean = more[:, DIGITS].reshape(len(views), len(again), -1).mean(axis=0)
        logits[again, DIGITS] = mean / _STEADIER
    return np.asarray(np.exp(calibrated(logits, features, calibration).digits), np.float64)


def _darkened(pixels: Pixels) -> Pixels:
    """Faint pencil made as dark as a pen; what is dark already stays as it is."""
    import numpy as np

    inside = pixels[:, 9:-9, 9:-9].min(axis=3).reshape(len(pixels), -1)
    depth = _PAPER - np.percentile(inside, 2, axis=1)
    factor = np.clip(_DARK / np.maximum(depth, 20), 1.0, _MOST)[:, None, None, None]
    dark = np.clip(_PAPER - (_PAPER - pixels.astype(np.float32)) * factor, 0, 255)
    return np.asarray(dark, np.uint8)


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
