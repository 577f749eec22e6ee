"""What kind of grid a lattice of lines is.

Whether it is one of nine plain 3×3 blocks is weighed by logistic regression, fitted by
``digits_model/training/fit_kind.py`` on drawn pages with grids of all kinds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER
from papernudge.vision.flatten import Flat
from papernudge.vision.lines import look, mesh_segments, outward, ranked, strips
from papernudge.vision.mesh import Points, placed
from papernudge.vision.tuned import tuned, whole

Grey = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

_SIDE, _MANY = NEWSPAPER.side, NEWSPAPER.many
_ROW, _COLUMN = np.array([NEWSPAPER.place(cell) for cell in NEWSPAPER.cells]).T
"""Those of each cell."""
_BLOCK_OF = np.array(NEWSPAPER.blocks).reshape(_SIDE, _SIDE)
_PARTED = [line for line in range(1, _SIDE) if (_BLOCK_OF[line] != _BLOCK_OF[line - 1]).all()]
"""Lines along which blocks meet, and the others inside."""
_THIN = [line for line in range(1, _SIDE) if line not in _PARTED]

LOOKS = (
    *("blocks", "blocks at all", "two classes", "misfits", "elsewhere", "light blocks", "sure"),
    *("goes on", "goes on, no blocks", "runs on, no blocks"),
    *("empty, no blocks", "full, no blocks"),
    *("caged", "diagonals"),
)
"""What the columns of :func:`evidence` hold."""
WEIGHTS = np.array([
    5.917, -2.07, -4.774, 2.941, -4.787, -6.842, -15.69, 1.115, -7.022, 0.509, -7.777, -74.053,
    -9.287, -16.66, -8.097
])  # fmt: skip
"""Start, then one for each of LOOKS."""


@dataclass(frozen=True, slots=True)
class Traits:
    """What a lattice of 9×9 cells looks like.

    ``blocks``: how much more ink the lines between blocks carry than those inside them, a ratio
    (1: all alike). ``thin_blocks``: share of segments between blocks that are thin, and
    ``thick_inside``: share of segments inside blocks that are thick; both 0.5 where all lines
    are alike. ``split``: how many times heavier the thick ones of all segments are than the thin
    ones, wherever they lie. ``heavier``: share of pairs of one segment between blocks and one
    inside in which the former carries more ink, 0.5 where all are alike or blocks are of another
    shape. ``sure_blocks``: how many standard errors more ink the segments between
    blocks carry than the others. ``goes_on``: share of lines that run on beyond the frame, on the
    second worst of the four sides (beside one there may be text), ``runs_on`` on the worst.
    ``inked``: share of cells in which something stands. ``caged``: share of cells with a second
    line inside one to three sides.
    ``diagonal``: how much the two diagonals stand out from the other cells, 0 to 1.
    ``between``: how many of the nine places half-way between two lines hold a line as well, in
    the direction in which more do: a mesh that took every second line lies on two grids.
    """

    blocks: float
    thin_blocks: float
    thick_inside: float
    split: float
    heavier: float
    sure_blocks: float
    goes_on: float
    runs_on: float
    inked: float
    caged: float
    diagonal: float
    between: int

    @property
    def halves(self) -> bool:
        """Whether the mesh passed over lines that are as plain as its own."""
        return self.between >= _BETWEEN


def chance_plain(traits: Traits) -> float:
    """Chance that a lattice is a grid of nine plain 3×3 blocks and of no other kind."""
    odds = float(WEIGHTS[0] + evidence(traits) @ WEIGHTS[1:])
    return 1 / (1 + math.exp(-odds))


def evidence(traits: Traits) -> Points:
    """All that speaks for it, float64 (14,), in the order of LOOKS."""
    blocks = min(max(math.log(max(traits.blocks, 1e-3)), -0.3), 1.2)
    split = min(max(math.log(max(traits.split, 1e-3)), 0.0), 1.2)
    # What speaks against a lattice of which no blocks are to be seen says nothing where they are.
    none = 1 - math.tanh(blocks / 0.3)
    sure = min(max(traits.sure_blocks, 0.0), 10.0) / 10
    elsewhere = max(split - max(blocks, 0.0), 0.0) * (1 - math.tanh(blocks / 0.15))
    misfit = traits.thin_blocks + traits.thick_inside
    looks = (
        *(blocks, math.tanh(blocks / 0.15), split, split * misfit**2, elsewhere),
        *(split * (1 - traits.heavier), sure),
        *(traits.goes_on**2, traits.goes_on * none, traits.runs_on * none),
        *(max(0.25 - traits.inked, 0.0) * none, max(traits.inked - 0.9, 0.0) * 10 * none),
        *(10 * min(traits.caged, 0.3) ** 2, traits.diagonal**4),
    )
    return np.array(looks)


def traits(grey: Grey, flat: Flat) -> Traits:
    """Looks at a flattened lattice. ``grey``: uint8 (H, W), what it was measured in."""
    mass = flat.segments.core()
    thick, thin = mass[:, _PARTED].ravel(), mass[:, _THIN].ravel()
    heavy, light = float(ranked(thick)), max(float(ranked(thin)), 1e-3)
    between = float(np.sqrt(max(heavy, 1e-3) * light))
    seen = _cells(grey, flat)
    inked = _inked(seen, flat)
    return Traits(
        heavy / light,
        float((thick < between).mean()),
        float((thin > between).mean()),
        _split(mass[:, 1:-1]),
        float((thick[:, None] > thin).mean()),
        _sure_blocks(thick, thin),
        *_goes_on(grey, flat),
        float(inked.mean()),
        _caged(grey, flat),
        _diagonal(seen, flat),
        _between(grey, flat),
    )


def _between(grey: Grey, flat: Flat) -> int:
    """How many lines lie half-way between two of the mesh's, in the direction that has more."""
    c = flat.mesh.crossings
    ends, across = [], []
    for lines in (c, c.transpose(1, 0, 2)):
        middle, over = (lines[:-1] + lines[1:]) / 2, np.diff(lines, axis=0)
        # Near where it crosses the other lines, which no digit reaches, not even a column of 1s.
        along = 0.1 * (middle[:, 2:] - middle[:, :-2])
        ends.append(np.stack([middle[:, 1:-1] - along, middle[:, 1:-1] + along], axis=2))
        across.append(np.stack([over[:, 1:-1]] * 2, axis=2))
    seen = look(grey, np.array(ends, np.float32), np.array(across, np.float32), 0.2)
    there = seen.strength > max(0.5 * flat.contrast, 2.5)
    return int((there.mean(axis=2) > 0.8).sum(axis=1).max())


_BETWEEN = whole("find_kind._BETWEEN")
"""Lines between those of a mesh from which on it lies on more than one grid."""


def _sure_blocks(thick: Floats, thin: Floats) -> float:
    """How sure it is that segments ``thick`` (N,) carry more ink than ``thin`` (M,) ones.

    Welch's t (1947) of the logarithms.
    """
    least = max(0.3 * float(ranked(thin)), 1e-3)
    more, less = (np.log(np.maximum(part, least).astype(np.float64)) for part in (thick, thin))
    error = np.sqrt(more.var() / len(more) + less.var() / len(less))
    return float((more.mean() - less.mean()) / max(float(error), 1e-6))


def _split(mass: Floats) -> float:
    """Ratio of the two classes that part the segments' ink best (Otsu 1979, on logarithms)."""
    least = max(0.3 * float(ranked(mass.ravel())), 1e-3)  # lines that cannot be seen are no class
    ink = np.sort(np.log(np.maximum(mass.ravel().astype(np.float64), least)))
    count = np.arange(1, len(ink))
    low = np.cumsum(ink)[:-1] / count
    high = (ink.sum() - np.cumsum(ink)[:-1]) / (len(ink) - count)
    spread = count * (len(ink) - count) * (high - low) ** 2
    spread[: len(ink) // 10] = spread[-(len(ink) // 10) :] = 0.0  # a few outliers are no class
    best = int(spread.argmax())
    return float(np.exp(ranked(ink[best + 1 :]) - ranked(ink[: best + 1])))


def _goes_on(grey: Grey, flat: Flat) -> tuple[float, float]:
    """Share of inner lines that run on beyond the frame, on the second worst and worst side."""
    ends, over = outward(flat.mesh.crossings)
    beyond = look(grey, ends, over, 0.1)
    lines = beyond.strength > max(0.3 * flat.contrast, 3.0)
    size = np.array([grey.shape[1], grey.shape[0]]) - 1
    lines &= ((ends[..., 1, :] >= 0) & (ends[..., 1, :] <= size)).all(axis=-1)
    _, _, second, worst = np.sort(lines.mean(axis=1)).tolist()
    return second, worst


def _caged(grey: Grey, flat: Flat) -> float:
    """Share of cells with a line of its own 0.1 cells inside one, two or three of their sides.

    Four such sides are the rim of a tint, not a cage; and a cage's line runs into a corner,
    where a ring around a digit comes near the side in its middle alone.
    """
    least = max(0.35 * flat.contrast, 2.5)
    at, dark = flat.segments.across, flat.segments.profile
    second = [_second_line(at, d) > least for d in (dark, dark[..., ::-1])]
    share = _sides_share(second)
    if share < _CAGED:
        return share
    ends, over = mesh_segments(flat.mesh.crossings)
    seen = strips(grey, ends.reshape(-1, 2, 2), over.reshape(-1, 2, 2), at)
    dark = 255.0 - seen.astype(np.float32).reshape(2, _SIDE + 1, _SIDE, *seen.shape[1:])
    ends_too = [np.zeros_like(whole) for whole in second]
    for part in (slice(0, 2), slice(-2, None)):
        near = dark[..., part, :].mean(axis=-2)
        for there, d in zip(ends_too, (near, near[..., ::-1]), strict=True):
            there |= _second_line(at, d) > 0.7 * least
    second = [whole & there for whole, there in zip(second, ends_too, strict=True)]
    return _sides_share(second)


_CAGED = tuned("find_kind._CAGED")
"""Share of cells with such lines from which on they are looked at more closely."""


def _sides_share(second: list[npt.NDArray[np.bool_]]) -> float:
    """Share of cells with one to three sides that have a second line after or before theirs."""
    after, before = second
    sides = np.stack([after[0, :-1], before[0, 1:], after[1, :-1].T, before[1, 1:].T]).sum(axis=0)
    return float(((sides > 0) & (sides < 4)).mean())


def _second_line(at: Floats, dark: Floats) -> Floats:
    """How far a line 0.1 cells beside the main one stands out, of profiles (..., V)."""
    near = dark[..., (at > 0.08) & (at < 0.15)].max(axis=-1)
    gap = dark[..., (at > 0.03) & (at < 0.1)].min(axis=-1)
    paper = dark[..., (at > 0.17) & (at < 0.25)].min(axis=-1)
    return np.asarray(near - np.maximum(gap, paper), np.float32)


_RULED = tuned("find_kind._RULED")
"""What a rule from corner to corner says, beside a tint of as many cells."""
_TINT = tuned("find_kind._TINT")
"""How much darker than the cells beside it a tinted one is, grey levels."""


def _cells(grey: Grey, flat: Flat) -> Floats:
    """Grey levels inside each cell, float32 (81, 12, 12), from 0.06 to 0.94 of it."""
    import cv2

    at = np.linspace(0.06, 0.94, 12)
    inside = np.stack(np.meshgrid(at, at), axis=-1)
    cells = np.stack([_COLUMN, _ROW], axis=1)[:, None, None] + inside
    where = placed(flat.mesh.crossings, cells).astype(np.float32).reshape(_MANY, -1, 2)
    seen = cv2.remap(
        grey, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(seen, np.float32).reshape(_MANY, len(at), len(at))


def _diagonal(seen: Floats, flat: Flat) -> float:
    """How much the diagonals are marked, by a tint or by a rule from corner to corner."""
    paper = ranked(seen.reshape(_MANY, -1), 0.8)
    beside = np.where(_OFF[None], paper[None], 0.0) * _NEXT
    near = beside.sum(axis=1) / np.maximum((_NEXT * _OFF).sum(axis=1), 1)
    on = ~_OFF
    darker = float((paper[on] < near[on] - _TINT).mean())
    tinted = darker if float(ranked(paper[on])) < float(ranked(paper[_OFF])) - _TINT else 0.0
    falling, rising = seen[_ROW == _COLUMN], seen[_ROW + _COLUMN == _SIDE - 1][:, :, ::-1]
    side = np.concatenate([falling, rising])
    # Near the corners, where digits do not reach: on the diagonal and on both its sides.
    spot = np.array([1, 2, 9, 10])
    beyond = np.minimum(side[:, spot - 1, spot + 1], side[:, spot + 1, spot - 1])
    ruled = beyond - side[:, spot, spot] > max(0.12 * flat.contrast, 3.0)
    # Tints of other cells may fall on the diagonals by chance, rules from corner to corner do not.
    return max(tinted, float(ruled.mean()) * _RULED)


def _beside() -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Cells on neither diagonal, bool (81,), and which cells share a side, bool (81, 81)."""
    off = (_ROW != _COLUMN) & (_ROW + _COLUMN != _SIDE - 1)
    apart = np.abs(_ROW[:, None] - _ROW) + np.abs(_COLUMN[:, None] - _COLUMN)
    return off, apart == 1


_OFF, _NEXT = _beside()


def _inked(seen: Floats, flat: Flat) -> npt.NDArray[np.bool_]:
    """Which cells hold ink in their middle, bool (81,)."""
    middle = seen[:, 2:-2, 2:-2].reshape(_MANY, -1)
    light = ranked(middle, 0.85)
    ink = float(ranked(flat.segments.strength.ravel(), 0.8))
    return np.asarray(light - ranked(middle, 0.06) > max(0.4 * ink, 8.0))
