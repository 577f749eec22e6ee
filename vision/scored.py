"""What the networks say of a board's cells, told in the board's own digits.

Boards of up to nine digits are read by the looks that know nine, larger ones by a network of their
own. What these take for a digit that the board does not have is no evidence for any other: it is
spread over all that may stand there, so that the cell stays open and is asked about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.digits_model import symbols
from papernudge.digits_model.scores import Closer, Scores, score
from papernudge.digits_model.symbols import FIGURES, LETTERS
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.vision.sight import AsRead

Floats = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Scorer = Callable[[Pixels], Scores]

KNOWN = 9
"""Digits that the looks know."""
UNFIT = 0.5
"""A cell of a board of fewer or more digits whose likeliest one by the ink has less chance is asked
about whatever the rules make likely there: it may hold one that the board does not have."""
AT_ONCE = np.array([0.31, 0.346, 0.79, 0.713, 0.792, -0.383])
BY_VIEWS = np.array([0.38, 0.448, 0.989, 0.741, 0.69, -0.796])
"""What the two networks' words weigh together on boards of more than nine digits, after one look
at a cell and after many: of the network that knows all signs for nothing, a figure, and a number of
two or a letter; of the one that knows nine digits for nothing and a figure; and a start for what it
does not know."""
UNSURE = 0.002
"""A cell of which one look leaves more doubt than this is looked at from many views."""
PLAIN = 0.999
"""Givens that are no puzzle together are asked about with less chance by the ink than this: of 170
that a look misread on eight pages 3 had more."""
SURE_HAND, SURE_HAND_OF_MANY = 3.0, 4.0
"""Log-odds for the hand that a mark is read as below which that is asked, on boards of up to nine
digits and of more, as it is where the page speaks against the cell. Of 15,920 marks on the former
105, of which 13 were of the other hand; of those that are not asked about 2 were. Of 23,502 on the
latter 64, of which 10 were, and 2."""
SURE_BLANK = 0.98
"""So is one that looks blank with less than this, however many blanks there are: of 6,300 blanks on
boards of more than nine digits 13 have less, and 6 of these are none; of the others all are."""
_VOTE, _STYLE = 4.0, 3.0
"""Nats that a cell may at most speak for letters or for numbers of two figures, and by which a page
must have them for one of both to be all that stands there."""
_KEPT = 0.3
"""With less chance than this for what the page's way allows, what is left of it counts less."""
_STRUCK = -20.0
"""Log-odds that a number of two figures, or a letter, is struck out: nobody looks for that."""
_NOTES = -20.0
"""Log-odds of each small note on boards of more than nine digits: none is looked for there."""


def scores_of(pixels: Pixels, layout: Layout, scorer: Scorer = score) -> Scores:
    """The scores of one grid's cells: ``digits`` (N, n + 1) and ``notes`` (N, n) for its n digits.

    ``pixels``: uint8 (N, 48, 48, 3) as of ``papernudge.vision.patches.Patches``; ``layout``: the
    board; ``scorer``: the classifier of the nine digits.
    """
    said, side = scorer(pixels), layout.side
    if side == KNOWN:
        return said
    if side > KNOWN:
        signs, hand = read_signs(pixels, said)
        notes = np.full((len(pixels), side), _NOTES)
        digits = folded(signs, side)
        # To a look that knows one figure a cell, two are one that is struck out.
        struck = np.where(
            digits.argmax(axis=1) > KNOWN, np.minimum(said.struck, _STRUCK), said.struck
        )
        return replace(said, digits=digits, hand=hand, notes=notes, struck=struck, closer=None)
    closer = said.closer
    if isinstance(closer, Closer):
        closer = _Fewer(closer.pixels, closer.page, closer.calibration, closer.looks, side)
    return replace(
        said, digits=of_board(said.digits, side), notes=said.notes[:, :side], closer=closer
    )


def read_signs(pixels: Pixels, said: Scores) -> tuple[Floats, Floats]:
    """Log-probabilities (N, 24) of signs, and log-odds (N,) for "handwritten", by both networks.

    ``said``: what the look that knows nine digits makes of the cells.
    """
    logits = symbols.logits(pixels)
    signs = together(symbols.normed(logits), said.digits, AT_ONCE)
    unsure = np.flatnonzero(signs.max(axis=1) < np.log(1 - UNSURE))
    if len(unsure):
        views = symbols.normed(symbols.many_views(pixels[unsure]))
        signs[unsure] = together(views, said.digits[unsure], BY_VIEWS)
    more = np.exp(np.logaddexp.reduce(signs[:, FIGURES.start :], axis=1))
    own = symbols.calibrated(logits, symbols.manifest()["calibration"]).hand
    # Each network knows its own signs' writers better.
    hand = more / (1 + np.exp(-own)) + (1 - more) / (1 + np.exp(-said.hand))
    hand = np.clip(hand, 1e-12, 1 - 1e-12)
    return signs, np.log(hand / (1 - hand))


def together(signs: Floats, digits: Floats, weights: Floats) -> Floats:
    """Both networks' words as one, log-probabilities (N, 24): a conditional logit (D. McFadden,
    1974), fitted by ``digits_model/training/fit_scored.py``.

    ``signs``: log-probabilities (N, 24) of the network that knows them all; ``digits``: (N, 10), of
    the one that knows nine digits far better; ``weights``: AT_ONCE or BY_VIEWS.
    """
    own, more, plain = slice(1, FIGURES.start), slice(FIGURES.start, None), signs[:, 0]
    said = np.empty_like(signs)
    said[:, 0] = weights[0] * plain + weights[3] * digits[:, 0]
    said[:, own] = weights[1] * signs[:, own] + weights[4] * digits[:, 1:]
    said[:, more] = weights[2] * signs[:, more] + weights[5]
    return np.asarray(said - np.logaddexp.reduce(said, axis=1, keepdims=True))


def folded(signs: Floats, side: int) -> Floats:
    """Log-probabilities (N, side + 1) of blank and the digits of one grid, from those of signs.

    ``signs``: float64 (N, 24) as of :class:`papernudge.digits_model.symbols.Symbols`. A page prints
    10 and more either as numbers of two figures or as letters, for all cells: they vote.
    """
    ways = [np.logaddexp.reduce(signs[:, part], axis=1) for part in (FIGURES, LETTERS)]
    # What neither speaks for has no vote.
    some = np.logaddexp(*ways) > np.log(0.5)
    votes = float(np.clip(ways[0] - ways[1], -_VOTE, _VOTE)[some].sum())
    both = np.array([votes / 2, -votes / 2])
    if abs(votes) < _STYLE:
        both[:] = 0.0
    shares = np.exp(both - np.logaddexp(*both))
    plain = np.exp(signs[:, : FIGURES.start])
    chances = np.zeros((len(signs), side + 1))
    for share, part in zip(shares, (FIGURES, LETTERS), strict=True):
        more = np.exp(signs[:, part])
        kept = np.concatenate([plain, more], axis=1)
        known = kept.sum(axis=1, keepdims=True)
        kept *= np.minimum(1.0, known / _KEPT) / np.maximum(known, 1e-300)
        chances += share * kept[:, : side + 1]
    none = np.maximum(1 - chances.sum(axis=1, keepdims=True), 1e-9)
    chances += none / (side + 1)
    return np.asarray(np.log(chances / chances.sum(axis=1, keepdims=True)))


def of_board(digits: Floats, side: int) -> Floats:
    """Log-probabilities (N, 10) of blank and nine digits as those of blank and ``side`` digits,
    (N, side + 1).
    """
    if digits.shape[1] == side + 1:
        return digits
    chances = np.exp(digits)
    none = chances[:, side + 1 :].sum(axis=1, keepdims=True)
    return np.asarray(np.log(chances[:, : side + 1] + none / (side + 1)))


def unfit(digits: Floats) -> frozenset[int]:
    """Cells of a board of other than nine digits, (N, side + 1) as of :func:`scores_of`, that may
    hold one which it does not have, or faint pencil.
    """
    if digits.shape[1] == KNOWN + 1:
        return frozenset()
    least = np.where(digits.argmax(axis=1) == 0, np.log(SURE_BLANK), np.log(UNFIT))
    return frozenset(np.flatnonzero(digits.max(axis=1) < least).tolist())


def of_no_puzzle(ink: Floats, givens: npt.NDArray[np.int64], layout: Layout) -> frozenset[int]:
    """Givens to ask about on a board other than the newspaper's where they are no puzzle together.

    Of a typeface that a look does not know it misreads one sign as another wherever it stands: that
    is likelier than a misprint, and no sign is worth what it is elsewhere. ``ink``:
    log-probabilities (N, side + 1) of each cell by itself; ``givens``: (N,), 0 for none.
    """
    if layout is NEWSPAPER:
        return frozenset()
    printed = np.flatnonzero(givens)
    return frozenset(printed[ink[printed, givens[printed]] < np.log(PLAIN)].tolist())


def of_either_hand(hand: Floats, own: Floats, read: AsRead, layout: Layout) -> frozenset[int]:
    """Marks on a board other than the newspaper's of which to ask who wrote them.

    What a page says of hands was learnt from newspaper grids; a board of few cells has few examples
    of each, and one of many digits few of each digit. ``hand``: log-odds (N,) for "handwritten" by
    the page; ``own``: the cells' own.
    """
    if layout is NEWSPAPER:
        return frozenset()
    way = np.where(read.printed, -1.0, 1.0)
    least = SURE_HAND if layout.side <= KNOWN else SURE_HAND_OF_MANY
    either = (way * hand < least) | (way * own < 0)
    return frozenset(np.flatnonzero((read.digits > 0) & either).tolist())


@dataclass(frozen=True, eq=False)
class _Fewer(Closer):
    """A closer look at a board of fewer digits."""

    side: int = KNOWN

    def digits(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Log-probabilities of blank and the digits, float64 (len(cells), side + 1)."""
        return of_board(super().digits(cells), self.side)
