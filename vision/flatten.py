"""From a rough outline to the mesh of a grid's 10×10 crossings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from papernudge.hints.catalogue import message
from papernudge.hints.layout import NEWSPAPER
from papernudge.vision.failure import Failure
from papernudge.vision.lines import Segments, frame_half_widths, measure, ranked, slope
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.tuned import several, tuned, whole

Grey = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Flat:
    """A mesh with the evidence for it.

    ``support``: float (2, 10), for horizontals and verticals the share of each line's nine
    segments that are seen where the mesh says; ``contrast``: grey levels, median darkness of the
    seen segments; ``segments``: the last measurement; ``framed``: of the sides of each block the
    share that is seen, least of the nine.
    """

    mesh: Mesh
    support: Points
    contrast: float
    evidence: Points
    segments: Segments
    framed: float = 1.0
    cut: bool = False

    @property
    def is_nine(self) -> bool:
        """Whether all the lines of a 9×9 grid are there.

        Lines around blocks must be plain to see, the thin ones at least as a crowd: print
        that the blur all but swallowed still counts. A grid may lack its whole frame if every
        line inside it is plain.
        """
        if self.framed < _FRAMED:
            return False
        if self.has_blocks:
            # A line far fainter than its kind means that the mesh left it somewhere.
            thin = np.sort(self.evidence[:, _THIN].ravel())
            usual = float(ranked(thin))
            least = min(_THIN_LEAST * max(1.0, usual), _PLAIN)
            return bool(usual > _THIN_USUAL and thin[3] > _THIN_FOURTH and thin[0] > least)
        inner, rim = self.evidence[:, 1:9], self.evidence[:, [0, 9]]
        whole = self.support[:, 1:9]
        bare = (rim < _NO_LINE) & (self.support[:, [0, 9]] < _BARE)
        seen = inner.min() > _INNER_LEAST and whole.min() > _INNER_WHOLE
        return bool(seen and bare.all())

    @property
    def has_blocks(self) -> bool:
        """Whether the lines around blocks are plain to see.

        One side of the frame may be lost in a shadow or a curl if all else is there.
        """
        if self.framed < _FRAMED:
            return False
        block = self.evidence[:, _BLOCK]
        clear = (block > _BLOCK_LEAST) & (self.support[:, _BLOCK] > _BLOCK_SHARE)
        if clear.all():
            return bool(np.sort(block.ravel())[2] > _BLOCK_THIRD)
        if clear.sum() != 7 or not clear[:, 1:3].all():
            return False
        thin = float(ranked(self.evidence[:, _THIN].ravel()))
        plain = thin > _LOST_THIN and block[clear].min() > _LOST_BLOCK
        return bool(plain and block.min() > _LOST_SIDE)

    @property
    def drawn_blocks(self) -> npt.NDArray[np.bool_]:
        """Lines between blocks and those sides of the frame that are drawn, bool (2, 10)."""
        drawn = np.zeros((2, 10), bool)
        drawn[:, [3, 6]] = True
        drawn[:, [0, 9]] = self.evidence[:, [0, 9]] > _NO_LINE
        return drawn

    @property
    def sure(self) -> bool:
        """Whether no other mesh for the same place could be better."""
        return self.score > _SURE_SCORE and float(self.support.min()) > _SURE_LINE

    @property
    def score(self) -> float:
        """How well the lines bear the mesh out, 0 to 1, to choose between meshes."""
        sure = np.clip(self.evidence / _WHOLE_SURE, 0.0, 1.0)
        return float((sure.mean() + self.support.mean()) / 2)

    @property
    def outline(self) -> Points:
        """Outer corners of the frame's ink, (4, 2), clockwise from the mesh's top left.

        The mesh's own corners are the middles of the frame's lines.
        """
        c = self.mesh.crossings
        top, bottom, left, right = frame_half_widths(self.segments)
        return np.stack(
            [
                c[0, 0] + left * (c[0, 0] - c[0, 1]) + top * (c[0, 0] - c[1, 0]),
                c[0, 9] + right * (c[0, 9] - c[0, 8]) + top * (c[0, 9] - c[1, 9]),
                c[9, 9] + right * (c[9, 9] - c[9, 8]) + bottom * (c[9, 9] - c[8, 9]),
                c[9, 0] + left * (c[9, 0] - c[9, 1]) + bottom * (c[9, 0] - c[8, 0]),
            ]
        )


Pass = tuple[float, ...]
# Of each pass: reach, cells; stiffness of the page; the least of a usual deviation, cells; and the
# least agreement of lines and page: a candidate that agrees less is given up.
_PASSES = several("flatten._PASSES")
_MORE_PASSES = several("flatten._MORE_PASSES")
_NEAR_PASSES = several("flatten._NEAR_PASSES")
_AT_ONCE = several("flatten._AT_ONCE")
"""What suffices on a flat page whose frame was seen well."""
_WORTH_MORE = tuned("flatten._WORTH_MORE")
"""Share of segments that must be seen for more passes to be tried."""
_LAST_REACH = tuned("flatten._LAST_REACH")
"""How far a line may lie from the mesh in the last, local correction."""
_LAST_STIFFNESS = tuned("flatten._LAST_STIFFNESS")
"""Stiffness of the page in that correction, against lines that are surely seen."""
_BLOCK = [0, 3, 6, 9]
_THIN = [1, 2, 4, 5, 7, 8]
_NO_LINE = tuned("flatten._NO_LINE")
"""Standard errors below which a side of the frame does not count as seen."""
_PLAIN = tuned("flatten._PLAIN")
"""Standard errors from which on a thin line is there, however much plainer the others are."""
_BARE = tuned("flatten._BARE")
"""Share of a side below which it does not."""
_FRAMED = tuned("flatten._FRAMED")
"""Share of each block's sides that must be seen."""
_CLOSE = tuned("flatten._CLOSE")
"""A segment this near to the page model, in cells, counts as seen there."""
_SURE_SCORE = tuned("flatten._SURE_SCORE")
"""Score from which on no other mesh for the same place could be better."""
_SURE_LINE = tuned("flatten._SURE_LINE")
"""Share of each line's segments that such a mesh shows."""
_WHOLE_SURE = tuned("flatten._WHOLE_SURE")
"""Evidence beyond which a line is no surer."""
_THIN_USUAL = tuned("flatten._THIN_USUAL")
"""Evidence of the usual thin line of a 9×9, at least."""
_THIN_FOURTH = tuned("flatten._THIN_FOURTH")
"""That of the fourth faintest."""
_THIN_LEAST = tuned("flatten._THIN_LEAST")
"""That of the faintest, also as a share of the usual one's."""
_INNER_LEAST = tuned("flatten._INNER_LEAST")
"""Evidence of each line inside a grid without a frame."""
_INNER_WHOLE = tuned("flatten._INNER_WHOLE")
"""Share of each such line that is seen."""
_BLOCK_LEAST = tuned("flatten._BLOCK_LEAST")
"""Evidence of a line around blocks, at least."""
_BLOCK_SHARE = tuned("flatten._BLOCK_SHARE")
"""Share of it that is seen, at least."""
_BLOCK_THIRD = tuned("flatten._BLOCK_THIRD")
"""Evidence of the third faintest of these."""
_LOST_THIN = tuned("flatten._LOST_THIN")
"""Usual evidence of thin lines where one side of the frame may be lost."""
_LOST_BLOCK = tuned("flatten._LOST_BLOCK")
"""That of the seven other lines around blocks, at least."""
_LOST_SIDE = tuned("flatten._LOST_SIDE")
"""That of the lost side itself."""
_OUTLIER = tuned("flatten._OUTLIER")
"""Usual deviations at which a segment counts no more (Tukey's biweight)."""
_LAST_DEVIATION = tuned("flatten._LAST_DEVIATION")
"""Usual deviation in the last correction, at least."""
_SEEN_SHARE = tuned("flatten._SEEN_SHARE")
"""Darkness of a seen segment, shares of the usual line's."""
_SEEN_LEAST = tuned("flatten._SEEN_LEAST")
"""The same at least."""
_AGREES = tuned("flatten._AGREES")
"""How near to the page model what is dark must lie to agree with it."""
_ON = tuned("flatten._ON")
"""Half a line's width where its darkness is looked for."""
_BESIDE = tuned("flatten._BESIDE")
"""Where the paper beside it begins."""
_BESIDE_TO = tuned("flatten._BESIDE_TO")
"""And where that ends."""
_EDGE = tuned("flatten._EDGE")
"""How near to the photo's edge a line has one side only."""
_ACROSS = tuned("flatten._ACROSS")
"""What bending across a line costs beside bending along it."""
_MIXED = tuned("flatten._MIXED")
"""What twisting costs beside bending."""


_NO_LATTICE = Failure("flatten", "no lattice", message("no lattice"))


def quad_mesh(corners: Points, side: int = NEWSPAPER.side) -> Points:
    """The (S + 1, S + 1, 2) crossings of a flat page whose outer corners are ``corners`` (4, 2)."""
    return project(homography(corners), lattice(side))


def lattice(side: int = NEWSPAPER.side) -> Points:
    """Places of the crossings on the unit square, (S + 1, S + 1, 2)."""
    at = np.linspace(0.0, 1.0, side + 1)
    return np.stack(np.meshgrid(at, at), axis=-1)


def homography(corners: Points) -> Points:
    """The 3×3 map from the unit square to ``corners`` (top-left, clockwise)."""
    import cv2

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(unit, corners.astype(np.float32)), np.float64)


def project(matrix: Points, places: Points) -> Points:
    """Applies a homography to points (..., 2)."""
    full = places @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(full[..., :2] / full[..., 2:3], np.float64)


def _averages(side: int) -> Points:
    """((S + 1) S, (S + 1)²): a segment's offset is the mean of the shifts at its two ends."""
    lines = side + 1
    matrix = np.zeros((lines, side, lines, lines))
    line, cell = np.meshgrid(np.arange(lines), np.arange(side), indexing="ij")
    matrix[line, cell, line, cell] = 0.5
    matrix[line, cell, line, cell + 1] = 0.5
    return matrix.reshape(lines * side, lines * lines)


@lru_cache
def bending(side: int = NEWSPAPER.side) -> Points:
    """Quadratic form of the bending energy of shifts on the crossings: ((S + 1)², (S + 1)²).

    Second differences along a line, across the lines and mixed, as of a thin plate (Duchon
    1977) on a lattice. Shifts, stretches and slants cost nothing, so that what isn't seen is
    continued straight.
    """
    lines = np.eye(side + 1)
    second = np.diff(lines, n=2, axis=0)
    first = np.diff(lines, axis=0)
    along = np.kron(lines, second)
    across = np.kron(second, lines)
    mixed = np.kron(first, first)
    return np.asarray(along.T @ along + _ACROSS * across.T @ across + _MIXED * mixed.T @ mixed)


_MODES = whole("flatten._MODES")
"""Shapes of a page that are told apart: sharper ones are noise, small systems solved at once."""


@lru_cache
def _modes(side: int) -> tuple[Points, Points, Points]:
    """The softest shapes of the page: ((S + 1)², K), their energies (K,), and what each gives at
    the segments ((S + 1) S, K).
    """
    if side != NEWSPAPER.side:
        energies, shapes = _soft(side)
    else:
        energies, shapes = np.linalg.eigh(bending(side))
    shapes = shapes[:, :_MODES]
    return shapes, np.maximum(energies[:_MODES], 0.0), _averages(side) @ shapes


def _soft(side: int) -> tuple[Points, Points]:
    """Energies and shapes of a page of other sizes, the softest first: products of the shapes of
    single lines, each with its own energy. What twisting mixes in is left out: all shapes at once
    would take longer than the fit.
    """
    second = np.diff(np.eye(side + 1), n=2, axis=0)
    energy, single = np.linalg.eigh(second.T @ second)
    slant = (np.diff(single, axis=0) ** 2).sum(axis=0)
    energies = energy[None] + _ACROSS * energy[:, None] + _MIXED * slant[:, None] * slant
    order = np.argsort(energies, axis=None, kind="stable")[:_MODES]
    return energies.ravel()[order], np.kron(single, single)[:, order]


def smooth(
    segments: Segments, hidden: npt.NDArray[np.bool_], stiffness: float, floor: float
) -> tuple[Points, Points]:
    """Fits the page's shift to the offsets seen; returns it (2, (S + 1)²) and what is left
    (2, (S + 1) S).

    Both in cells, in the order of Segments: the line, then along it. Iteratively reweighted
    least squares with Tukey's biweight, weighted by how clearly each line is seen; ``hidden``
    (2, S + 1, S) segments say nothing; ``floor`` is the least scale of a usual deviation, cells.
    """
    shapes, energies, at_segments = _modes(hidden.shape[-1])
    strong = np.maximum(segments.strength.reshape(2, -1).astype(np.float64), 0.0)
    many = strong.shape[1]
    usual = np.maximum(np.sort(strong, axis=1)[:, many * 4 // 5, None], 1e-6)
    trust = (np.minimum(strong / usual, 1.0) + 1e-3) * ~hidden.reshape(2, -1)
    offset = segments.offset.reshape(2, -1).astype(np.float64)
    weight = trust
    page = np.diag(stiffness * energies + 1e-6)
    for _ in range(4):
        weighted = at_segments.T * weight[:, None, :]
        pulled = weighted @ offset[..., None]
        share = np.linalg.solve(weighted @ at_segments + page, pulled)[..., 0]
        left = offset - share @ at_segments.T
        usual = 1.4826 * np.sort(np.abs(left), axis=1)[:, many // 2, None]
        scale = _OUTLIER * np.maximum(usual, floor)
        weight = trust * (np.clip(1 - (left / scale) ** 2, 0, None) ** 2 + 1e-4)
    shift = share @ shapes.T
    return shift, left


def moved_by(crossings: Points, shift: Points) -> Points:
    """Crossings shifted by what ``smooth`` found for horizontals and for verticals, cells."""
    down = slope(crossings)
    right = slope(crossings.transpose(1, 0, 2)).transpose(1, 0, 2)
    by = shift.reshape(2, *crossings.shape[:2])
    moved = crossings + by[0][..., None] * down + by[1].T[..., None] * right
    return np.asarray(moved, np.float64)


def flatten(grey: Grey, start: Points) -> Flat | Failure:
    """Refines a rough mesh to the printed lines.

    ``grey``: uint8 (H, W); ``start``: (10, 10, 2) crossings within about 0.4 cell of the truth,
    pixels of ``grey``. Each pass measures all 180 segments, fits a smooth correction and moves
    the mesh; the last also follows each line locally, which a fold needs. Where a line cannot
    be seen the smooth model stands, and ``seen`` says so.
    """
    start = np.asarray(start, np.float64)
    near = followed(grey, start, _AT_ONCE)
    if near is not None and (flat := _weighed(grey, near)).sure and flat.is_nine:
        return flat
    if not sane(start):  # sides without a line of their own stray farthest
        start = _unframed(start, np.ones((2, 10), bool))
    crossings = followed(grey, start, _PASSES)
    if crossings is None:
        return _NO_LATTICE
    flat = _weighed(grey, crossings)
    if flat.is_nine or flat.cut or flat.support.mean() < _WORTH_MORE:
        return flat
    # Most of it lies right: from there the rest may be reached, step by step.
    further = followed(grey, flat.mesh.crossings, _MORE_PASSES)
    if further is None:
        return flat
    again = _weighed(grey, further)
    return again if again.score > flat.score else flat


def refined(grey: Grey, starts: Sequence[Points]) -> Flat | None:
    """Refines a rough mesh that lies right to a small part of a cell.

    ``grey``: uint8 (H, W); ``starts``: (10, 10, 2) meshes, the likeliest first, of which later ones
    are tried where the lines do not bear out the earlier ones. Unlike :func:`flatten` it keeps to
    the start where lines are too faint to follow. None where every mesh folds.
    """
    best: Flat | None = None
    for start in starts:
        crossings = followed(grey, start, _NEAR_PASSES)
        if crossings is not None:
            best = better(best, _weighed(grey, crossings))
        if best is not None and best.sure:
            return best
    if best is None or not best.is_nine:
        wide = flatten(grey, starts[0])
        best = better(best, wide) if isinstance(wide, Flat) else best
    return best


def better(one: Flat | None, two: Flat) -> Flat:
    """The one that is a 9×9, or that its lines bear out more."""
    return two if one is None or (two.is_nine, two.score) > (one.is_nine, one.score) else one


def followed(grey: Grey, crossings: Points, passes: tuple[Pass, ...]) -> Points | None:
    """The mesh after each pass has measured and moved it, or None where there is no lattice."""
    for reach, stiffness, usual, least in passes:
        if not sane(crossings):
            return None
        segments = measure(grey, crossings, reach)
        hidden = beyond_edge(crossings, grey.shape)
        shift, left = smooth(segments, hidden, stiffness, usual)
        if _agreement(segments, left) < least:
            return None
        crossings = _continued(moved_by(crossings, shift), grey.shape)
    return crossings if sane(crossings) else None


def _weighed(grey: Grey, crossings: Points) -> Flat:
    """The last, local correction of a mesh (10, 10, 2), and the evidence for it."""
    segments = measure(grey, crossings, _LAST_REACH)
    hidden = beyond_edge(crossings, grey.shape)
    shift, left = smooth(segments, hidden, _LAST_STIFFNESS, _LAST_DEVIATION)
    strong = segments.strength.reshape(2, 90)
    lines = float(ranked(strong.ravel()))
    good = (np.abs(left) < _CLOSE) & (strong > max(_SEEN_SHARE * lines, _SEEN_LEAST))
    good = good.reshape(2, 10, 9)
    evidence = line_evidence(segments)
    moved = _continued(moved_by(crossings, shift), grey.shape)
    unseen = (evidence < _NO_LINE) & (good.mean(axis=2) < _BARE)
    mesh = Mesh(_unframed(moved, unseen), _seen(good))
    # What the photo's edge hides is neither for nor against.
    hidden[:, 1:9] = False
    lost = hidden.mean(axis=2) > 0.3
    evidence[lost] = _WHOLE_SURE
    support = (good | hidden).mean(axis=2)
    framed = _framed(good | hidden)
    return Flat(mesh, support, lines, evidence, segments, framed, bool(lost.any()))


def _framed(seen: npt.NDArray[np.bool_]) -> float:
    """Share of the sides of a block that is seen, the least of the nine; ``seen``: (2, 10, 9).

    A mesh that lies half on a smaller grid has blocks around which there is nothing.
    """
    sides = seen[:, _BLOCK].reshape(2, 4, 3, 3).mean(axis=-1)  # way, line, block along it
    across, down = sides
    around = across[:-1] + across[1:] + (down[:-1] + down[1:]).T
    return float(around.min()) / 4


def _continued(crossings: Points, shape: tuple[int, ...]) -> Points:
    """Crossings of the rims that the photo's edge hides, continued straight from inside."""
    out = _beyond(crossings, shape)
    if not out.any():
        return crossings
    fixed = crossings.copy()
    for lines, hidden in ((fixed, out), (fixed.transpose(1, 0, 2), out.T)):
        for rim, inner, next_inner in ((0, 1, 2), (-1, -2, -3)):
            straight = 2 * lines[inner] - lines[next_inner]
            lines[rim] = np.where(hidden[rim][:, None], straight, lines[rim])
    return fixed


def _unframed(crossings: Points, unseen: npt.NDArray[np.bool_]) -> Points:
    """Crossings of sides that have no line, continued from inside as the page bends there.

    ``unseen``: bool (2, 10). What was taken for such a side is the rim of a tint or nothing.
    """
    fixed = crossings.copy()
    for lines, gone in ((fixed, unseen[0]), (fixed.transpose(1, 0, 2), unseen[1])):
        for rim, way in ((0, 1), (9, -1)):
            if gone[rim]:
                a, b, c = (lines[rim + way * k] for k in (1, 2, 3))
                lines[rim] = 2 * a - b + 0.5 * (a - 2 * b + c).mean(axis=0)
    return fixed


def _beyond(crossings: Points, shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Crossings, bool (S + 1, S + 1), at or beyond the photo's edge, where a line has one side."""
    x, y = crossings[..., 0], crossings[..., 1]
    return (x < _EDGE) | (y < _EDGE) | (x > shape[1] - 1 - _EDGE) | (y > shape[0] - 1 - _EDGE)


def _agreement(segments: Segments, left: Points) -> float:
    """Share of the line strength seen that lies where the page model says, to 0.1 cell."""
    strong = np.maximum(segments.strength.reshape(2, -1), 0.0)
    usual = max(float(ranked(strong.ravel())), 1e-6)
    strong = np.minimum(strong, usual)  # pen strokes are stronger
    return float((strong * (np.abs(left) < _AGREES)).sum() / max(float(strong.sum()), 1e-6))


def line_evidence(segments: Segments) -> Points:
    """How surely each of the 20 lines is there, (2, 10), in standard errors.

    ``segments``: (2, 10, 9) measured at the final mesh. The median over a line's nine segments of
    how much darker its place is than the paper beside it, against the spread between them: a
    thin line may drown in the noise in every segment and still stand out from all nine.
    """
    at, dark = segments.across, segments.profile
    on = dark[..., np.abs(at) <= _ON].mean(axis=-1)
    beside = (np.abs(at) > _BESIDE) & (np.abs(at) < _BESIDE_TO)
    left, right = (
        dark[..., beside & (at < 0)].mean(axis=-1),
        dark[..., beside & (at > 0)].mean(axis=-1),
    )
    stands = on - (left + right) / 2
    middle = ranked(stands)
    spread = 1.4826 * ranked(np.abs(stands - middle[..., None]))
    return np.asarray(middle / (1.25 * spread / 3 + 0.3), np.float64)


def beyond_edge(crossings: Points, shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Segments, bool (2, S + 1, S), that lie on or beyond the photo's edge."""
    out = _beyond(crossings, shape)
    lines = np.stack([out, out.T])
    return np.asarray(lines[..., :-1] | lines[..., 1:])


def _seen(good: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Crossings (S + 1, S + 1) that a seen segment (2, S + 1, S) of either direction ends at."""
    ends = np.zeros((2, good.shape[1], good.shape[1]), bool)
    ends[..., :-1] |= good
    ends[..., 1:] |= good
    return np.asarray(ends[0] & ends[1].T)


def sane(crossings: Points) -> bool:
    """All cells convex, alike in turning sense and not absurd in size."""
    if not np.isfinite(crossings).all():
        return False
    right = np.diff(crossings, axis=1)
    down = np.diff(crossings, axis=0)
    area = right[:-1, :, 0] * down[:, :-1, 1] - right[:-1, :, 1] * down[:, :-1, 0]
    area2 = right[1:, :, 0] * down[:, 1:, 1] - right[1:, :, 1] * down[:, 1:, 0]
    low = min(float(area.min()), float(area2.min()))
    return low > 9.0 and float(area.max()) < 40.0 * low
