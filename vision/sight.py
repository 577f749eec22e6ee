"""What of each cell can be seen, and how far the looks may be trusted there.

The looks see evenly lit cells: what a thumb covers, light washes out or a shadow blackens is blank
to them, and on a page unlike those they learned from they are surer than they should be. A network
that sees the whole grid as it was photographed says what can be seen (``digits_model/seen.py``). A
small logistic model weighs its chances with how sure a look is of a cell: fitted by
``digits_model/training/fit_trust.py`` on photos with harms of all kinds, whose puzzles neither the
looks nor the network ever saw, and on drawn pages. What is asked about in harmed cells follows
rules that ``digits_model/training/fit_sight.py`` fits on such photos as they are read.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.seen import CELL, MARGIN, Seen, seen
from papernudge.hints.layout import NEWSPAPER, around
from papernudge.vision.advice import Ails
from papernudge.vision.even import without_diagonals
from papernudge.vision.flatten import quad_mesh
from papernudge.vision.hidden import Hidden
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.patches import flat_sheet

Chances = npt.NDArray[np.float64]
Cells = npt.NDArray[np.int64]
Sheet = npt.NDArray[np.uint8]

TRUST = ("seen", "whole", "crossed", "trusted", "sure")
"""What the columns of :func:`evidence` hold."""
WEIGHTS = np.array([-2.366, 0.157, 0.011, -0.02, 0.27, 0.764])
"""Start, then one for each of TRUST."""
HAND_WEIGHTS = np.array([-2.174, 0.907])
"""The same for the page's word on whose hand a digit in a harmed cell is, by several exposures:
start, and one for its log-odds for "handwritten", which are cut off at MOST_SURE."""
MOST_ODDS, MOST_SURE = 8.0, 12.0
"""Greatest log-odds of the network, and of a look (as -log of its chance to be wrong)."""

UNSEEN = 0.5
"""A cell is not seen where it has less chance to be."""
BLANK_SIGNS = ("seen", "whole", "crossed", "trusted", "laid", "wrong", "marked")
"""What speaks for or against a cell that looks blank being so: the network's log-odds, the log of
the look's chance to be wrong, the share of the grid's cells that look marked."""
BLANK_WEIGHTS = np.array([3.611, -0.5, 0.013, -0.057, -0.469, -0.039, 0.37, 1.212])
"""Start, then one for each of BLANK_SIGNS: log-odds for there being ink, or less than half of the
cell to be seen."""
BLANK_LIMIT, BLANK_LIMIT_BESIDE, BLANK_LIMIT_WELL = -4.5, -6.0, -5.6
"""Log-odds from which on it is not seen; where part of it is hidden beside a cell that is poorly
seen; and of such a one that is seen well itself: of 4,974 harmed grids, judged anew by what was
kept of them, the first alone leaves 16 silent, all three 8, for a question more on every eleventh.
"""
HARDLY = 4.0
"""Log-odds by the network below which a cell is so poorly seen that something lies there."""
MOST_HIDDEN = 15
"""With more hidden cells than this a new photo is less work than their questions."""
MOST_UNCLEAR = 7.0
"""With more wrong cells than this to be expected of 81, hidden ones aside, a page is beyond
reading: cells are wrong together there, where the reading takes them one by one."""
MOST_BENT = 0.9
"""Greatest chance of what is read where the mesh is bent."""
SAFE, SAFE_PART, SAFE_ENTRY = 0.985, 0.95, 0.8
"""A given in a harmed part of the page must be so likely by its looks alone, an entry of which part
may be hidden, and any other entry: the rules say what to expect of all, but a misread given
misleads them."""
SAFE_UNEASY, SAFE_ENTRY_UNEASY = 0.9, 0.8
"""The same of any cell of an uneasy page."""
GIVEN_SIGNS = ("own", "unsure", "right", "alike", "least", "mean")
"""What speaks against the hand that a digit is read as, for these towards it: log-odds by the cell
itself; logs of the chances that the digit, and the whole reading of the cell, are
wrong, of how many cells are read as of this hand; the least and the mean of the
page's log-odds in several exposures."""
GIVEN_WEIGHTS = np.array([-13.964, -0.258, 0.112, 0.151, 4.014, 0.277, -0.656])
ENTRY_WEIGHTS = np.array([0.129, -0.176, 0.131, 0.842, 0.09, 0.03, 0.049])
"""Start, then one for each of GIVEN_SIGNS: log-odds for another hand than a given's, an entry's, or
another digit."""
GIVEN_LIMIT, ENTRY_LIMIT = -4.5, -4.0
"""Log-odds from which on a given is asked about, and an entry: in 1,809 harmed grids this alone
found 32 wrong givens, the nearest at -3.9, and no wrong entry that its hand did not give away."""
SAFE_HAND, SAFE_HAND_WHOLE = 4.0, 3.5
"""Log-odds that the page must give for a hand where it was seen in one exposure only, and for an
entry's where part of it may be hidden; and for any other entry's in a harmed cell: of the entries
of 1,177 harmed grids that no chance asked about 11 were none, all of them below 3, and 147
others."""
SAFE_HAND_PART, SAFE_HAND_LITTLE, SAFE_HAND_EDGE = 4.5, 6.0, 7.5
"""The same of an entry of which part is hidden, and of which little may be seen, for a veil makes
strokes of print (in 630 more grids under thumbs, glare and shadows one such at 3.8, another at
5.4); and of one in a cell that is not harmed, but where a cover's shadow may end (one at 6.1)."""
_SPOILT, _BLOCKY = 1.0, 3.0
"""With more wrong cells than the first to be expected of a photo whose blocks stand out more than
the second (undamaged ones: 1.2 to 2), compression took digits for others: they look whole."""
WAY_MARGIN, _CLEAR_WAY = 10.0, 25.0
"""Nats by which the vote on which way is up must be won, and on an uneasy page: ten undamaged
photos are won by 87 to 275, legible ones under the strongest harms by 13 and more; noise won one
that lay on its side by 12."""
FEW_MARKS = 4
"""With no more marks than this the vote can hardly be won by so much: each is asked about."""
_PLAIN_PAGE = 0.2
"""But only where no more wrong cells than this are to be expected."""
_SEEN, _WHOLE, _CROSSED_BY, _TRUSTED = 0, 1, 2, 3
_STEADY = 2.0
"""Log-odds by the network to be read right from which on a mesh that strayed there was put back."""
_PLAIN, _LITTLE, _EDGE = 3.5, 4.0, -3.0
"""Log-odds by the network to be seen from which on a cell is as of an undamaged page; below which
little may be seen of one that is partly hidden; and to be crossed from which on an edge may lie
there."""
_PART = 5.0
"""Log-odds by the network to be whole below which part of a cell may be hidden."""
_AILING = 1.5
"""With more wrong cells than this to be expected a page ails as a whole: it is blurred, noisy or
compressed."""
_REMAINS, _MOSTLY_WHOLE = (1, 3, 6), -3.0
"""Digits that half of another one looks like, of a 4, a 7 or an 8; and log-odds to be whole below
which a cell may show one's half."""
_HALVES, _HALF_WHOLE, _WELL = (3, 6), 1.0, 6.0
"""Half an 8 looks quite whole: the same of these, unless the cell is seen by more than the last."""
_ODD, _UNEASY = 3, 0.7
"""But for so many odd ones with more than this nothing on the page is taken at its own word: a
few scrawls are the rules' to settle, not a page full of them."""
_UPSIDE = 2.0
"""With more than this a page whose way up was not won clearly may be read lying on its side."""
_BENT = 0.08
"""Log of a cell's area to that of its neighbours from which on the mesh is bent where a line was
not seen: undamaged photos stay below 0.07 in 995 cells of 1000. Where none was it is anyway."""
_FOLDED = 0.5
"""The same from which on it is folded though they were: a creased paper reaches 0.3."""
_CROSSED = 2
"""Cells that look crossed by lines from which on lines are looked for."""
_WHITE, _BLACK = 250, 45
"""Grey levels at which a camera tells nothing from more light, or hardly anything from less."""
_ALL, _PITCH = 0.98, 12
"""Share of a cell with the lines around it from which on nothing is there if so much is white, or
no lighter than the second: ink in deep shadow can still be told from paper."""
_SHARE = 0.2
"""Share of a cell at these levels from which on light is to blame."""


@dataclass(frozen=True, eq=False)
class AsRead:
    """What cells are read as: ``digits`` int (N,), 0 for blank; ``printed`` bool (N,);
    ``right``: chances (N,) that both are right.
    """

    digits: Cells
    printed: npt.NDArray[np.bool_]
    right: Chances


@dataclass(frozen=True, eq=False)
class Sight:
    """What of a grid can be seen.

    ``hidden``: the cells that can't be seen, and why; ``signs``: float64 (N, 4), log-odds by which
    the looks are trusted, None to trust them fully; ``bent``: cells unlike their neighbours in
    size beside hidden ones, where the mesh may lie beside the lines, and all marks where too few
    stand to tell which way is up; ``ailing``: whether so much of the page is unclear that no look
    on it is taken at its own word, ``uneasy``: or no cell; ``poor``: of a page beyond reading a
    word that there is advice for; ``hands``: float64 (N, 3), least, greatest and mean log-odds for
    "handwritten" in several exposures, None where there was one.
    """

    hidden: Mapping[int, Hidden] = field(default_factory=dict)
    signs: Chances | None = None
    bent: frozenset[int] = frozenset()
    ailing: bool = False
    uneasy: bool = False
    poor: str | None = None
    hands: Chances | None = None

    def trusted(self, digits: Chances, cells: Cells | None = None) -> Chances:
        """A look's log-probabilities (N, n + 1) of ``cells``, or of all, as far as it is trusted.

        No look is made surer. A hidden cell's says nothing.
        """
        share = self.share(digits, cells)[:, None]
        return np.asarray(np.log(share * np.exp(digits) + (1 - share) / digits.shape[1]))

    def share(self, digits: Chances, cells: Cells | None = None) -> Chances:
        """The chance, (N,), that a look's chances count at all; else it says nothing."""
        cells = np.arange(len(digits)) if cells is None else cells
        none = 1 / digits.shape[1]
        most = np.exp(digits.max(axis=1))
        right = most
        if self.signs is not None:
            # Where nothing befell the page the looks' own chances are calibrated.
            weighed = self.ailing | self._harmed()[cells]
            right = np.where(weighed, np.minimum(self.right(digits, cells), most), most)
        share = np.clip((right - none) / np.maximum(most - none, 1e-9), 0.0, 1.0)
        share[np.isin(cells, list(self.hidden))] = 0.0
        return np.asarray(share)

    def trusted_hand(self, hand: Chances, digits: Chances) -> Chances:
        """Log-odds for "handwritten", (N,), as far as looks with these ``digits`` are trusted.

        What a look misses altogether may be by either hand: its word on the hand counts as much as
        its word that something stands there. Lines and light across a printed digit make it look
        written.
        """
        if self.signs is not None:
            hand = self._weighed(hand)
        share = self.share(digits)
        marked = share * (1 - np.exp(digits[:, 0]))
        missed = (1 - share) * (1 - 1 / digits.shape[1]) + 1e-12
        chance = marked / (1 + np.exp(-np.clip(hand, -40, 40))) + missed / 2
        return np.asarray(np.log(chance) - np.log(np.maximum(marked + missed - chance, 1e-300)))

    def weighed(self, digits: Chances) -> Sight:
        """The same, with how the page fares as a whole by the looks' first words on it.

        ``digits``: their log-probabilities (N, n + 1).
        """
        unsure = np.sort(1 - self.right(digits, np.arange(len(digits))))
        uneasy = bool(unsure[:-_ODD].sum() > _UNEASY * max(1.0, len(digits) / 81))
        return replace(self, ailing=self.wrong(digits) > _AILING, uneasy=uneasy)

    def wrong(self, digits: Chances) -> float:
        """How many of 81 cells to expect wrong, hidden ones aside; ``digits``: by the looks."""
        seen = np.array([c for c in range(len(digits)) if c not in self.hidden], np.int64)
        return float((1 - self.right(digits[seen], seen)).sum()) * (81 / len(digits))

    def right(self, digits: Chances, cells: Cells) -> Chances:
        """Chance that the likeliest reading of each of ``cells`` is right, (N,)."""
        assert self.signs is not None
        weighed = WEIGHTS[0] + evidence(self.signs[cells], digits) @ WEIGHTS[1:]
        right = 1 / (1 + np.exp(-weighed))
        most = np.where(np.isin(cells, list(self.bent)), MOST_BENT, 1.0)
        return np.asarray(np.minimum(right, most))

    def _harmed(self) -> npt.NDArray[np.bool_]:
        """Cells, bool (N,), that something has befallen, as far as the network says."""
        assert self.signs is not None
        harmed = harmed_by(self.signs)
        harmed[list(self.bent)] = True
        return harmed

    def unclear(self, many: int = 81) -> npt.NDArray[np.bool_]:
        """Cells, bool (N,), that what befell the page concerns; on an uneasy page all.

        ``many``: how many cells there are.
        """
        if self.signs is None:
            return np.zeros(many, np.bool_)
        return np.asarray(self._harmed() | self.uneasy)

    def suspects(
        self, digits: Chances, hand: Chances, own: Chances | None = None, read: AsRead | None = None
    ) -> frozenset[int]:
        """Cells to be asked about however likely the rest of the page makes what was read there.

        Where a page is harmed, cells are wrong together: what the rules say of one by the others
        is little comfort. ``digits``: log-probabilities (N, n + 1) by the looks; ``hand``: log-odds
        (N,) for "handwritten", ``own``: the cells' own; ``read``: the reading, None for what the
        looks say.
        """
        if self.signs is None:
            return frozenset(self.bent)
        every = np.arange(len(digits))
        read = read or AsRead(digits.argmax(axis=1), hand < 0, np.ones(len(digits)))
        unseen = np.isin(every, list(self.hidden))
        read = replace(read, digits=np.where(unseen, 0, read.digits))
        harmed, right = self._harmed(), self.right(digits, every)
        marked = read.digits > 0
        bent = np.isin(every, list(self.bent))
        part = self.signs[:, _WHOLE] < _PART
        low = right < np.where(read.printed, SAFE, np.where(part, SAFE_PART, SAFE_ENTRY))
        unsafe = bent | (marked & harmed & ((self.signs[:, _TRUSTED] < 0) | low))
        unsafe |= read.printed & self._remains(read.digits)
        if self.uneasy:
            unsafe |= marked & (right < np.where(read.printed, SAFE_UNEASY, SAFE_ENTRY_UNEASY))
        edge = harmed | self.uneasy | (self.signs[:, _CROSSED_BY] > _EDGE)
        unsafe |= marked & edge & self._other_hand(digits, hand, own, read)
        # What looks marked and is called blank, the page decided against the look.
        unsafe |= ~marked & (digits.argmax(axis=1) > 0) & harmed & (right < SAFE)
        return frozenset(np.flatnonzero(unsafe).tolist())

    def _remains(self, digits: Cells) -> npt.NDArray[np.bool_]:
        """Cells, bool (N,), that may show the rest of another digit."""
        assert self.signs is not None
        whole, sees = self.signs[:, _WHOLE], self.signs[:, _SEEN]
        rest = np.isin(digits, _REMAINS) & (whole < _MOSTLY_WHOLE)
        half = np.isin(digits, _HALVES) & (whole < _HALF_WHOLE) & (sees < _WELL)
        return np.asarray(rest | half)

    def _other_hand(
        self, digits: Chances, hand: Chances, own: Chances | None, read: AsRead
    ) -> npt.NDArray[np.bool_]:
        """Cells, bool (N,), that another hand may have written than they are read as."""
        assert self.signs is not None
        word, unclear = self._weighed(hand), self.unclear(len(hand))
        if self.hands is None or own is None:
            return np.asarray(unclear & (np.abs(word) < SAFE_HAND))
        faint = ~read.printed & (word < self._least_hand(unclear))
        rows = hand_signs(digits, own, read, self.hands)
        by = np.where(read.printed[:, None], GIVEN_WEIGHTS, ENTRY_WEIGHTS)
        limit = np.where(read.printed, GIVEN_LIMIT, ENTRY_LIMIT)
        other = by[:, 0] + (by[:, 1:] * rows).sum(axis=1) > limit
        return np.asarray(faint | (unclear & other))

    def _least_hand(self, unclear: npt.NDArray[np.bool_]) -> Chances:
        """Log-odds that the page must give for an entry's hand, (N,)."""
        assert self.signs is not None
        whole, sees = self.signs[:, _WHOLE], self.signs[:, _SEEN]
        least = np.where(whole < _PART, SAFE_HAND, SAFE_HAND_WHOLE)
        hidden = np.where(sees < _LITTLE, SAFE_HAND_LITTLE, SAFE_HAND_PART)
        least = np.where(whole < 0, hidden, least)
        return np.where(unclear, least, SAFE_HAND_EDGE)

    def _weighed(self, hand: Chances) -> Chances:
        """The page's word on hands, (N,), as far as it counts in harmed cells."""
        weighed = HAND_WEIGHTS[0] + HAND_WEIGHTS[1] * np.clip(hand, -MOST_SURE, MOST_SURE)
        return np.asarray(np.where(self._harmed(), weighed, hand))


def evidence(signs: Chances, digits: Chances) -> Chances:
    """What speaks for a look being right, float64 (N, 5), in the order of TRUST.

    ``signs``: (N, 4) from :func:`signs_of`; ``digits``: log-probabilities (N, n + 1).
    """
    wrong = np.maximum(1 - np.exp(digits.max(axis=1)), np.exp(-MOST_SURE))
    return np.column_stack([signs, -np.log(wrong)])


def hand_signs(digits: Chances, own: Chances, read: AsRead, hands: Chances) -> Chances:
    """What speaks about the hand that each cell is read as, float64 (N, 6), by GIVEN_SIGNS.

    ``digits``, ``own``, ``read``: as of :meth:`Sight.suspects`; ``hands``: as of
    :class:`Sight`.
    """
    way = np.where(read.printed, -1.0, 1.0)
    alone = way * np.clip(own, -MOST_SURE, MOST_SURE)
    unsure = np.log(np.maximum(1 - np.exp(digits[np.arange(len(digits)), read.digits]), 1e-6))
    wrong = np.log(np.maximum(1 - read.right, np.exp(-10.0)))
    marked = read.digits > 0
    printed = float((marked & read.printed).sum())
    alike = np.log1p(np.where(read.printed, printed, marked.sum() - printed))
    least = np.where(read.printed, -hands[:, 1], hands[:, 0])
    return np.column_stack([alone, unsure, wrong, alike, least, way * hands[:, 2]])


def blank_signs(signs: Chances, laid: Chances, digits: Chances) -> Chances:
    """What speaks about cells that look blank, float64 (N, 7), in the order of BLANK_SIGNS.

    ``signs``: (N, 4) from :func:`signs_of`; ``laid``: the network's chances, (N,); ``digits``:
    log-probabilities (N, n + 1) by the looks.
    """
    chance = np.clip(laid, 1e-4, 1 - 1e-4)
    wrong = np.log(np.maximum(1 - np.exp(digits.max(axis=1)), np.exp(-MOST_SURE)))
    marked = np.full(len(digits), float((digits.argmax(axis=1) > 0).mean()))
    return np.column_stack([signs, np.log(chance / (1 - chance)), wrong, marked])


def signs_of(said: Seen) -> Chances:
    """The network's chances as log-odds, float64 (N, 4)."""
    chances = np.column_stack([said.seen, said.whole, said.crossed, said.trusted])
    low = 1 / (1 + np.exp(MOST_ODDS))
    chances = np.clip(chances, low, 1 - low)
    return np.asarray(np.log(chances / (1 - chances)))


def harmed_by(signs: Chances) -> npt.NDArray[np.bool_]:
    """Cells, bool (N,), that something has befallen, by the network's log-odds (N, 4)."""
    crossed, hidden = signs[:, _CROSSED_BY] > 0, signs[:, _WHOLE] < 0
    return np.asarray(crossed | hidden | (signs[:, _SEEN] < _PLAIN), np.bool_)


def _beside_hidden(signs: Chances) -> npt.NDArray[np.bool_]:
    """Cells, bool (N,), of which part is hidden and that touch one which is hardly seen."""
    side = math.isqrt(len(signs))
    wide = np.pad(signs[:, _SEEN].reshape(side, side), 1, constant_values=MOST_ODDS)
    near = np.min([wide[1 + y : 1 + y + side, 1 + x : 1 + x + side] for y, x in _BESIDE], axis=0)
    return np.asarray((near.reshape(-1) < HARDLY) & (signs[:, _WHOLE] < 0))


def sheet_of(raster: npt.NDArray[np.uint8], mesh: Mesh) -> Sheet:
    """The grid with its surroundings, as photographed: uint8 (S, S, 3).

    ``raster``: uint8 (H, W, 3), blue, green, red.
    """
    return flat_sheet(raster, mesh, CELL, MARGIN)


@dataclass(frozen=True, eq=False)
class View:
    """A grid as photographed, with what the network says of its cells.

    ``sheet``: uint8 (S, S, 3) of :func:`sheet_of`; ``outside``: bool (N,), cells whose middle lies
    beyond the photo; ``bent``: cells whose size is unlike their neighbours'; ``strained``: those at
    crossings that were found off the sheet.
    """

    sheet: Sheet
    said: Seen
    outside: npt.NDArray[np.bool_]
    bent: frozenset[int]
    strained: frozenset[int] = frozenset()

    @classmethod
    def of(
        cls,
        raster: npt.NDArray[np.uint8],
        mesh: Mesh,
        strained: npt.NDArray[np.bool_] | None = None,
        diagonals: bool = False,
    ) -> View:
        """``raster``: uint8 (H, W, 3), blue, green, red; ``mesh``: the grid's, upright;
        ``strained``: bool (N,); ``diagonals``: whether the board shows its own.
        """
        sheet = sheet_of(raster, mesh)
        if diagonals:
            sheet = without_diagonals(sheet, MARGIN, mesh.side)
        outside = _outside(mesh.crossings, (raster.shape[1], raster.shape[0]))
        which = frozenset() if strained is None else frozenset(np.flatnonzero(strained).tolist())
        return cls(sheet, seen(sheet), outside, _bent(mesh), which)

    @property
    def crossed(self) -> bool:
        """Whether lines or edges that are no strokes may run through the grid."""
        return int((self.said.crossed > 0.5).sum()) >= _CROSSED

    def sight(self, digits: Chances) -> Sight:
        """What can be seen. ``digits``: log-probabilities (N, n + 1) by the first looks."""
        blank = digits.argmax(axis=1) == 0
        signs = signs_of(self.said)
        # There is nothing in a blank cell that shows it, and what may stand in its hidden part is
        # not known either.
        inked = BLANK_WEIGHTS[0] + blank_signs(signs, self.said.laid, digits) @ BLANK_WEIGHTS[1:]
        beside = np.where(signs[:, _SEEN] < _WELL, BLANK_LIMIT_BESIDE, BLANK_LIMIT_WELL)
        limit = np.where(_beside_hidden(signs), beside, BLANK_LIMIT)
        unseen = np.where(blank, harmed_by(signs) & (inked > limit), self.said.seen < UNSEEN)
        hidden = self.hidden(unseen | (blank & (_bare(self.sheet) | self.outside)))
        side = math.isqrt(len(digits))
        # So far a mesh may bend along a cover.
        near = {c for one in hidden for c in around(side, one, 2)}
        # Why the mesh strayed where nothing is to be seen is not known.
        plain = ~harmed_by(signs) & (signs[:, _TRUSTED] < _STEADY)
        bent = frozenset(c for c in self.bent if c in near) | (
            self.strained & frozenset(np.flatnonzero(plain).tolist())
        )
        return Sight(hidden, signs, bent - hidden.keys()).weighed(digits)

    def hidden(self, unseen: npt.NDArray[np.bool_]) -> dict[int, Hidden]:
        """Why these cells, bool (N,), can't be seen."""
        light = _light(self.sheet)
        cells = np.flatnonzero(unseen).tolist()
        return {c: _why(c, self.said, light, self.outside) for c in cells}


def harmed_under(raster: npt.NDArray[np.uint8], mesh: Mesh) -> npt.NDArray[np.bool_]:
    """Cells, bool (N,), that something has befallen where this mesh has them."""
    return harmed_by(signs_of(View.of(raster, mesh).said))


def hidden_under(
    raster: npt.NDArray[np.uint8], corners: Points, side: int = NEWSPAPER.side
) -> Mapping[int, Hidden]:
    """The cells that can't be seen of a grid whose lines could not be followed, and why.

    ``corners``: (4, 2), raster x/y, clockwise from the reader's top left; ``side``: how many
    rows it has.
    """
    mesh = Mesh(quad_mesh(corners, side), np.zeros((side + 1, side + 1), np.bool_))
    view = View.of(raster, mesh)
    return view.hidden(view.said.seen < UNSEEN)


def blamed(hidden: Mapping[int, Hidden]) -> str:
    """What hides most of the cells: a word that there is advice for."""
    reasons = list(hidden.values())
    return str(max(dict.fromkeys(reasons), key=reasons.count))


def _outside(crossings: Points, size: tuple[int, int]) -> npt.NDArray[np.bool_]:
    """Cells whose middle lies beyond the photo, bool (N,); ``size``: width, height."""
    middles = (crossings[1:, 1:] + crossings[:-1, :-1]) / 2
    beyond = ((middles < 0) | (middles > np.array(size) - 1.0)).any(axis=2)
    return np.asarray(beyond.reshape(-1), np.bool_)


def _sizes(crossings: Points) -> Chances:
    """How much each cell's area differs from the median of those around it, log, (N,)."""
    a, b = crossings[1:, 1:] - crossings[:-1, :-1], crossings[1:, :-1] - crossings[:-1, 1:]
    area = np.abs(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]) / 2
    logs = np.log(np.maximum(area, 1.0))
    wide = np.pad(logs, 1, mode="edge")
    last = len(logs) + 1
    near = [wide[1 + y : last + y, 1 + x : last + x] for y, x in _BESIDE]
    return np.asarray(np.abs(logs - np.median(near, axis=0)).reshape(-1), np.float64)


def _bent(mesh: Mesh) -> frozenset[int]:
    """Cells whose size is unlike that of those around them, unless their lines were seen there."""
    ends = [mesh.seen[:-1, :-1], mesh.seen[:-1, 1:], mesh.seen[1:, :-1], mesh.seen[1:, 1:]]
    seen_ends = np.sum(ends, axis=0).reshape(-1)
    limit = np.where(seen_ends == 4, _FOLDED, np.where(seen_ends > 0, _BENT, -1.0))
    return frozenset(np.flatnonzero(_sizes(mesh.crossings) > limit).tolist())


_BESIDE = [(y, x) for y in (-1, 0, 1) for x in (-1, 0, 1) if x or y]


def _light(sheet: Sheet) -> Chances:
    """Shares of each cell that are washed out and black, (N, 2)."""
    side = len(sheet) // CELL - 2 * MARGIN // CELL
    inner = sheet[MARGIN:-MARGIN, MARGIN:-MARGIN].reshape(side, CELL, side, CELL, 3)
    cells = inner[:, 3:-3, :, 3:-3].transpose(0, 2, 1, 3, 4).reshape(side * side, -1, 3)
    white = (cells.min(axis=2) >= _WHITE).mean(axis=1)
    black = (cells.max(axis=2) <= _BLACK).mean(axis=1)
    return np.column_stack([white, black])


def _bare(sheet: Sheet) -> npt.NDArray[np.bool_]:
    """Cells, bool (N,), of which not even the lines around them are there: all white or black."""
    wide = sheet[MARGIN - 1 : 1 - MARGIN, MARGIN - 1 : 1 - MARGIN]
    white, black = wide.min(axis=2) >= _WHITE, wide.max(axis=2) <= _PITCH
    at = range(0, len(sheet) - 2 * MARGIN, CELL)
    shares = [
        max(held[y : y + CELL + 2, x : x + CELL + 2].mean() for held in (white, black))
        for y in at
        for x in at
    ]
    return np.asarray(np.array(shares) > _ALL)


def _why(cell: int, said: Seen, light: Chances, outside: npt.NDArray[np.bool_]) -> Hidden:
    if outside[cell]:
        return Hidden.CUT_OFF
    white, black = light[cell]
    if said.laid[cell] > 0.5 or max(white, black) < _SHARE:
        return Hidden.COVERED
    return Hidden.WASHED_OUT if white > black else Hidden.TOO_DARK


def judged(
    sight: Sight, digits: Chances, crossed: bool, ails: Callable[[], Ails], way: float = np.inf
) -> Sight:
    """The sight of a grid, called poor where too much of it is hidden or unclear.

    ``digits``: the looks' log-probabilities (N, n + 1); ``crossed``: whether long lines were found;
    ``ails``: measures what is wrong with the photo; ``way``: by how many nats the vote on which way
    is up was won.
    """
    if sight.signs is None:
        return sight
    if len(sight.hidden) > MOST_HIDDEN * min(1.0, len(digits) / 81):
        return replace(sight, poor=blamed(sight.hidden))
    wrong = sight.wrong(digits)
    if wrong > _SPOILT and ails().blocks > _BLOCKY:
        return replace(sight, poor="compressed")
    upright = way > (WAY_MARGIN if wrong <= _UPSIDE else _CLEAR_WAY)
    if wrong <= MOST_UNCLEAR and upright:
        return sight
    marked = np.flatnonzero(digits.argmax(axis=1) > 0).tolist()
    if len(marked) <= FEW_MARKS and wrong <= _PLAIN_PAGE:
        return replace(sight, bent=sight.bent | frozenset(marked))
    return replace(sight, poor=ails().worst or ("crossed" if crossed else "unclear"))
