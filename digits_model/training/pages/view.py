"""Where a place of the page lands in the photo: curled paper, pinhole, lens.

The paper is a cylinder in the mathematician's sense: bent in one direction only, so that
distances along it are kept (a developable sheet, the usual model of book pages in document
dewarping, e.g. Cao, Ding and Liu, ICDAR 2003). It is seen by a pinhole camera with one radial
lens coefficient. Both directions, page to photo and back, are exact to numerical precision.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.layout import Box, Layout
from papernudge.digits_model.training.pages.spec import PageSpec

Points = npt.NDArray[np.float64]

_STEP = 0.02  # cells between the nodes of the bent profile
_NOWHERE = 1e6  # cells
_STEEPEST = 1.0  # radians: beyond, the paper would hide itself
_MOST = {"gutter": 1.0, "wave": 1.0, "fold": 0.45, "roll": 1.0}  # radians of bend, by kind


@dataclass(eq=False)
class Profile:
    """The bent paper across its curl: at arc length s its angle, and its place x, z."""

    start: float
    angle: Points
    x: Points
    z: Points
    steps: tuple[Points, Points, Points] = field(init=False)
    """From each node to the next: of the angle, of x, of z."""

    def __post_init__(self) -> None:
        """Takes the steps once."""
        self.steps = np.diff(self.angle), np.diff(self.x), np.diff(self.z)

    def at(self, s: Points) -> tuple[Points, Points, Points]:
        """x, z and angle at arc lengths s, continued straight beyond both ends."""
        where = (s - self.start) / _STEP
        low = np.minimum(np.maximum(where.astype(np.int64), 0), len(self.x) - 2)
        part = where - low
        turns, across, down = self.steps
        x = self.x.take(low) + part * across.take(low)
        z = self.z.take(low) + part * down.take(low)
        inside = np.minimum(np.maximum(part, 0), 1)
        return x, z, self.angle.take(low) + inside * turns.take(low)


def _bend_shape(spec: PageSpec, box: Box) -> tuple[Points, Points]:
    """How the paper bends: arc lengths from its middle, and at each the share of the angle."""
    chance = stream(spec.seed, "profile", spec.curl_kind)
    u, v, w = (float(x) for x in chance.uniform(0, 1, 3))
    reach = float(np.hypot(box[2] - box[0], box[3] - box[1])) + 2
    s = np.arange(-reach, reach + _STEP, _STEP)
    if spec.curl_kind == "gutter":
        shape = np.exp(-np.abs(s + 5 + 1.5 * u) / (3.5 + 4.5 * v)) * (1 if w < 0.8 else -1)
    elif spec.curl_kind == "wave":
        shape = np.sin(2 * np.pi * (s / (9 + 14 * u) + v))
    elif spec.curl_kind == "fold":
        shape = np.tanh((s - (6 * u - 3)) / 0.25) * (1 if w < 0.5 else -1)
    else:
        shape = np.clip(s / 9, -1.5, 1.5) * (1 if w < 0.5 else -1)
    return s, shape


def _profile(s: Points, shape: Points, centre: float, amount: float) -> Profile:
    """Bent by ``amount`` radians at most, level at ``centre``."""
    angle = np.clip(amount * shape, -_STEEPEST, _STEEPEST)
    angle = angle - angle[len(angle) // 2]
    x, z = np.cumsum(np.cos(angle)) * _STEP, np.cumsum(np.sin(angle)) * _STEP
    x, z = x - x[len(x) // 2], z - z[len(z) // 2]
    return Profile(centre + s[0], angle, x + centre, z)


def _axis(spec: PageSpec) -> Points:
    a = np.radians(spec.curl_axis)
    return np.array([np.cos(a), np.sin(a)])


class View:
    """Page (cells) to photo (pixels) and back."""

    def __init__(self, spec: PageSpec, layout: Layout) -> None:
        """Aims, frames and bends as the spec says."""
        self.spec, self.layout = spec, layout
        self.wide, self.high = spec.width, spec.height
        self._axis, self._across = _axis(spec), np.array([-_axis(spec)[1], _axis(spec)[0]])
        t = layout.target
        self._aim = np.array([(t[0] + t[2]) / 2, (t[1] + t[3]) / 2, 0.0])
        self._focal = max(spec.width, spec.height) / 2 / np.tan(np.radians(spec.fov / 2))
        self._turned = _rotation(spec)
        self._middle: Points = np.array([(self.wide - 1) / 2, (self.high - 1) / 2])
        self._shift = np.zeros(2)
        self._far = 30.0
        self.profile: Profile | None = None
        self.curl = 0.0
        self._frame()
        if spec.curl > 0:
            self._bend()

    def to_photo(self, page: Points, lens: bool = True) -> Points:
        """Places (n, 2) of the page, cells, to raster pixels (n, 2)."""
        body = np.empty((len(page), 3))
        if self.profile is None:
            body[:, :2], body[:, 2] = page, 0.0
        else:
            x, z, _ = self.profile.at(page @ self._axis)
            body[:, :2] = self._from_bend(x, page @ self._across)
            body[:, 2] = -z
        seen = (body - self._aim) @ self._turned.T
        away = np.maximum(seen[:, 2:] + self._far, 0.5)
        ideal = self._focal * seen[:, :2] / away + self._shift
        return (self._bent(ideal) if lens else ideal) + self._middle

    def to_page(self, photo: Points) -> tuple[Points, Points]:
        """Raster pixels (n, 2) to places of the page (n, 2), cells, and the paper's angle (n,)."""
        rays = np.ones((len(photo), 3))
        x, y = photo.T - self._middle[:, None]
        for k, ideal in enumerate(self._unbent(x, y)):
            rays[:, k] = (ideal - self._shift[k]) / self._focal
        rays = rays @ self._turned
        eye = self._aim - np.array([0, 0, self._far]) @ self._turned
        # A ray above the paper's horizon meets it nowhere: it is sent far off the page.
        down, lost = np.maximum(rays[:, 2], 1e-3), rays[:, 2] < 1e-3
        hit, angle = self._met(rays[:, :2], down, eye)
        hit[lost] = _NOWHERE
        return hit, angle

    def _met(self, sideways: Points, down: Points, eye: Points) -> tuple[Points, Points]:
        """Where rays from the eye (3,), which move sideways (n, 2) and down (n,), meet the paper:
        places of the page (n, 2), and the paper's angle there (n,).
        """
        if self.profile is None:
            hit, far = np.empty((len(down), 2)), -eye[2] / down
            for k in (0, 1):  # one by one: numpy is slow along rows of two
                hit[:, k] = eye[k] + sideways[:, k] * far
            return hit, np.zeros(len(down))
        # Newton on the arc length: the ray's place at the height of the paper there.
        slope = sideways @ self._axis / down
        start = eye[:2] @ self._axis
        s = start - eye[2] * slope
        for _ in range(6):
            x, z, angle = self.profile.at(s)
            miss = start + (-z - eye[2]) * slope - x
            rate = -np.sin(angle) * slope - np.cos(angle)
            rate[np.abs(rate) < 0.2] = -0.2
            s = s - miss / rate
        _, z, angle = self.profile.at(s)
        t = eye[:2] @ self._across + (-z - eye[2]) / down * (sideways @ self._across)
        return self._from_bend(s, t), angle

    def _from_bend(self, s: Points, t: Points) -> Points:
        """Places (n, 2) that lie s (n,) across the bend and t (n,) along it."""
        out = np.empty((len(s), 2))
        for k in (0, 1):
            out[:, k] = s * self._axis[k] + t * self._across[k]
        return out

    def _frame(self) -> None:
        """Distance and shift that bring the target into the frame as the spec says."""
        spec = self.spec
        rim = outline(self.layout.target)
        for _ in range(4):
            at = self.to_photo(rim, lens=False)
            low, high = at.min(axis=0), at.max(axis=0)
            room = np.array([self.wide, self.high])
            self._far *= float(np.max((high - low) / (room * spec.share)))
        for _ in range(2):
            at = self.to_photo(rim, lens=False)
            low, high = at.min(axis=0), at.max(axis=0)
            loose = np.maximum(np.array([self.wide, self.high]) - (high - low), 0) / 2
            wanted = self._middle + loose * 0.9 * np.array([spec.off_x, spec.off_y])
            self._shift = self._shift + wanted - (low + high) / 2
        if spec.cut:
            self._cut()

    def _cut(self) -> None:
        """Pushes the first grid over the frame's edge."""
        box = self.layout.target_grid
        at = self.to_photo(outline(box), lens=False)
        low, high = at.min(axis=0), at.max(axis=0)
        size = self.cell_px(box) * self.spec.cut_cells
        self._shift = (
            self._shift
            + {
                "left": np.array([-low[0] - size, 0]),
                "right": np.array([self.wide - 1 - high[0] + size, 0]),
                "top": np.array([0, -low[1] - size]),
                "bottom": np.array([0, self.high - 1 - high[1] + size]),
            }[self.spec.cut]
        )

    def _bend(self) -> None:
        """Finds the bend at which the first grid's crossings leave the best homography by the
        wanted amount, or comes as near as the paper can be bent (a gutter reaches about 0.3)
        without hiding a part of what it shows.
        """
        spec, amount = self.spec, 0.25
        if spec.curl_kind not in _MOST:
            raise ValueError(f"expected one of {sorted(_MOST)}, got {spec.curl_kind!r}")
        most = _MOST[spec.curl_kind]
        shape = _bend_shape(spec, self.layout.page)
        for _ in range(5):
            self._bend_by(shape, amount)
            if abs(self.curl - spec.curl) < 0.03 * spec.curl or amount >= most:
                break
            step = np.clip(spec.curl / max(self.curl, 1e-4), 0.3, 3)
            amount = float(np.clip(amount * step, 0.005, most))
        for _ in range(8):
            if self._all_seen():
                break
            amount *= 0.75
            self._bend_by(shape, amount)

    def _bend_by(self, shape: tuple[Points, Points], amount: float) -> None:
        first = self.layout.target_grid
        middle = np.array([(first[0] + first[2]) / 2, (first[1] + first[3]) / 2])
        self.profile = _profile(*shape, float(middle @ self._axis), amount)
        self._frame()
        bent = curl_of(self.to_photo(crossings(first), lens=False))
        self.curl = bent * (self._first_lines() / 9)

    def _first_lines(self) -> int:
        """How many cells the first grid has along its side."""
        places = self.layout.places
        return places[0].lines if places and places[0].what == "puzzle" else 9

    def _all_seen(self) -> bool:
        """Whether no place of the page in the frame is hidden behind another part of it."""
        page = np.concatenate([crossings(place.box)[::3] for place in self.layout.places])
        at = self.to_photo(page)
        inside = ((at > -1) & (at < [self.wide, self.high])).all(axis=1)
        if not inside.any():
            return True
        back, _ = self.to_page(at[inside])
        return bool(np.abs(back - page[inside]).max() < 0.01)

    def cell_px(self, box: Box) -> float:
        """Median side of a cell of the page in the first grid's box, pixels."""
        ninth = cell_side(self.to_photo(crossings(box), lens=False))
        return ninth * (9 / self.layout.target_side)

    def _unbent(self, x: Points, y: Points) -> tuple[Points, Points]:
        """Lens: photo to ideal, x (n,) and y (n,) in pixels from the middle."""
        r2 = (x * x + y * y) / (self.wide**2 + self.high**2) * 4
        grow = 1 + self.spec.lens * r2
        return x * grow, y * grow

    def _bent(self, ideal: Points) -> Points:
        """Lens: ideal to photo, the inverse of :meth:`_unbent` by iteration."""
        if not self.spec.lens:
            return ideal
        scale = 4 / (self.wide**2 + self.high**2)
        straight = ideal.T.copy()  # x and y as rows: numpy is quick along them
        seen = straight
        for _ in range(12):
            squares = seen * seen
            r2 = np.minimum((squares[0] + squares[1]) * scale, 4.0)
            seen = straight / (1 + self.spec.lens * r2)
        return seen.T


def _rotation(spec: PageSpec) -> Points:
    """Page axes to camera axes: tilted first, then turned in the frame."""
    turn, tilt, to = np.radians([spec.turn, spec.tilt, spec.tilt_to])
    c, s = np.cos(turn), np.sin(turn)
    flat = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    k = np.array([-np.sin(to), np.cos(to), 0.0])
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    lean = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * cross @ cross
    return np.asarray(lean @ flat)


@lru_cache(maxsize=256)
def outline(box: Box, count: int = 5) -> Points:
    """Points along the rim of a box, not to be written to."""
    t = np.linspace(0, 1, count)
    x, y = box[0] + t * (box[2] - box[0]), box[1] + t * (box[3] - box[1])
    ends = np.full(count, 1.0)
    rim = np.concatenate(
        [
            np.stack([x, ends * box[1]], 1),
            np.stack([ends * box[2], y], 1),
            np.stack([x, ends * box[3]], 1),
            np.stack([ends * box[0], y], 1),
        ]
    )
    rim.flags.writeable = False
    return rim


def cell_side(photo: Points) -> float:
    """Median side of a cell of a grid of n lines whose crossings (n·n, 2) are given, in their
    unit.
    """
    many = round(len(photo) ** 0.5)
    at = photo.reshape(many, many, 2)
    steps = [np.linalg.norm(np.diff(at, axis=k), axis=2).ravel() for k in (0, 1)]
    return float(np.median(np.concatenate(steps)))


@lru_cache(maxsize=256)
def crossings(box: Box, side: int = 9) -> Points:
    """The crossings ((side + 1)², 2) of a grid of ``side`` cells each way at this box of the page,
    row by row, not to be written to.
    """
    many = side + 1
    u, v = np.meshgrid(np.linspace(box[0], box[2], many), np.linspace(box[1], box[3], many))
    at = np.stack([u.ravel(), v.ravel()], axis=1)
    at.flags.writeable = False
    return at


@lru_cache(maxsize=1)
def _even() -> tuple[Points, Points]:
    """The crossings of an even grid as x, y and 1 (100, 3), and the equations (200, 8) for the
    homography from there to a photo, without the two columns that depend on the photo.
    """
    c, r = (v.ravel() for v in np.meshgrid(np.arange(10.0) - 4.5, np.arange(10.0) - 4.5))
    own = np.stack([c / 4.5, r / 4.5, np.ones(100)], 1)
    factors = np.zeros((200, 8))
    factors[:100, :3] = factors[100:, 3:6] = own
    return own, factors


def curl_of(photo: Points) -> float:
    """Largest distance of crossings (100, 2) from the best homography, in cells."""
    even, factors = _even()
    middle, size = photo.mean(axis=0), photo.std()
    p = (photo - middle) / size
    ahead = np.concatenate([p[:, 0], p[:, 1]])
    factors = factors.copy()
    factors[:100, 6:] = -p[:, :1] * even[:, :2]
    factors[100:, 6:] = -p[:, 1:] * even[:, :2]
    fit = np.linalg.lstsq(factors, ahead, rcond=None)[0]
    h = np.append(fit, 1.0).reshape(3, 3)
    best = even @ h.T
    away = np.linalg.norm(best[:, :2] / best[:, 2:] - p, axis=1) * size
    cell = np.median(np.linalg.norm(np.diff(photo.reshape(10, 10, 2), axis=1), axis=2))
    return float(away.max() / cell)
