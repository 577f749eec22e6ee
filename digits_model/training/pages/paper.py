"""The paper itself: tone, grain, what shines through, creases and stains."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import Supplies
from papernudge.digits_model.training.pages.sheet import Raster, Sheet, blank, inked_parts
from papernudge.digits_model.training.pages.spec import PageSpec

TILE = 2048
"""Side of the cached tiles of texture, pixels."""
_PATCH = 1024  # of grain: small, since each strength of it is kept
_BAND = 64
"""Rows that are toned and grained at once, few enough to stay in the processor's cache: they
divide three quarters of a patch, after which the grain repeats."""
_COARSE = 6  # page pixels a node of the slow tones


@lru_cache(maxsize=1)
def fibres() -> Raster:
    """A tile of paper fibres, grey around 128 with a standard deviation of about 24."""
    import cv2

    chance = stream(0, "fibres")
    field = np.zeros((TILE, TILE), np.float32)
    for sx, sy, weight in ((0.8, 0.8, 0.8), (3.0, 0.7, 0.7), (0.7, 2.5, 0.5), (9.0, 7.0, 0.6)):
        noise = chance.standard_normal((TILE, TILE), dtype=np.float32)
        layer = cv2.GaussianBlur(noise, (0, 0), sx, sigmaY=sy)
        field += weight * layer / float(layer.std())
    return np.asarray(np.clip(128 + 24 * field / field.std(), 0, 255), np.uint8)


@lru_cache(maxsize=1)
def graphite() -> Raster:
    """A tile of a pencil's grain: 255 where it marks fully, dark where it skips."""
    import cv2

    noise = stream(0, "graphite").standard_normal((TILE, TILE), dtype=np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), 0.9)
    return np.asarray(np.clip(165 + 95 * soft / soft.std(), 0, 255), np.uint8)


@lru_cache(maxsize=12)
def mottled(tenths: int) -> Raster:
    """A tile of print that covers unevenly: 255 full ink, ``tenths`` 0 to 10 how unevenly."""
    import cv2

    coarse = cv2.GaussianBlur(fibres()[:512, :512], (0, 0), 1.5)
    both = cv2.addWeighted(coarse, 1.0, fibres()[512:1024, 512:1024], 0.6, -90)
    return np.asarray(
        cv2.convertScaleAbs(both, alpha=tenths / 8, beta=255 - 150 * tenths / 8), np.uint8
    )


@lru_cache(maxsize=12)
def _grained(grain: int) -> Raster:
    """Three equal channels of fibres, weaker or stronger: 255 at the lightest."""
    import cv2

    part = cv2.convertScaleAbs(
        fibres()[:_PATCH, :_PATCH], alpha=grain / 1000, beta=255 - 128 * grain / 1000 - grain / 40
    )
    return np.asarray(cv2.merge([part, part, part]), np.uint8)


def lay_on_paper(sheet: Sheet, spec: PageSpec, held: Supplies) -> None:
    """Multiplies the printed sheet by its paper."""
    import cv2

    high, wide = sheet.pixels.shape[:2]
    slow = _slow_tones(sheet, spec, held)
    tones = blank(high, wide, 3)
    cv2.resize(slow, (wide, high), dst=tones, interpolation=cv2.INTER_LINEAR)
    grain, step = round(spec.grain * 12) * 15, _PATCH * 3 // 4
    x, y = (int(v) for v in stream(spec.seed, "paper").integers(0, _PATCH // 4, 2))
    for top in range(0, high, _BAND):
        band = sheet.pixels[top : top + _BAND]
        toned = cv2.multiply(band, tones[top : top + _BAND], scale=1 / 255)
        if not grain:
            band[:] = toned
            continue
        rows = _grained(grain)[y + top % step :][: len(band)]
        for left in range(0, wide, step):
            part, into = toned[:, left : left + step], band[:, left : left + step]
            cv2.multiply(part, rows[:, x : x + part.shape[1]], dst=into, scale=1 / 255)
    _creases(sheet, spec)
    _specks(sheet, spec)


def _slow_tones(sheet: Sheet, spec: PageSpec, held: Supplies) -> Raster:
    """Tone, show-through, stains and ring, small: uint8 (h, w, 3), 255 leaves white."""
    import cv2

    high, wide = (max(2, n // _COARSE) for n in sheet.pixels.shape[:2])
    field = np.empty((3, high, wide), np.float32)  # blue, green, red: numpy is quick along rows
    field[:] = np.array(spec.tone)[:, None, None]
    chance = stream(spec.seed, "tones")
    clouds = cv2.resize(
        chance.standard_normal((5, 5)).astype(np.float32),
        (wide, high),
        interpolation=cv2.INTER_CUBIC,
    )
    field *= 1 + 0.012 * clouds
    if spec.through > 0:
        field *= 1 - spec.through * 0.2 * _behind(spec, held, wide, high, sheet.scale / _COARSE)
    per_cell = sheet.scale / _COARSE
    for k in range(spec.stains + int(spec.ring)):
        spot = stream(spec.seed, "stain", k)
        x, y = (
            (spot.uniform(-1, 10) - sheet.x0) * per_cell,
            (spot.uniform(-1, 10) - sheet.y0) * per_cell,
        )
        ring = spec.ring and k == spec.stains
        size = float(spot.uniform(2.2, 3.6) if ring else np.exp(spot.uniform(-2.2, 0.6))) * per_cell
        # Three sizes away a stain is too weak to change a number of the field.
        reach = 3 * max(size, 0.6) + 1
        left, right = np.clip([x - reach, x + reach], 0, wide).astype(int)
        top, foot = np.clip([y - reach, y + reach], 0, high).astype(int)
        yy, xx = np.mgrid[top:foot, left:right].astype(np.float32)
        away = np.hypot(xx - x, (yy - y) * spot.uniform(0.9, 1.2)) / max(size, 0.6)
        away *= 1 + 0.06 * np.sin(
            np.arctan2(yy - y, xx - x) * spot.integers(2, 6) + spot.uniform(0, 6)
        )
        edge = np.exp(-(((away - 1) / (0.06 if ring else 0.12)) ** 2))
        body = np.zeros_like(away) if ring else 1 / (1 + np.exp(np.minimum((away - 1) * 14, 60)))
        depth = float(spot.uniform(0.1, 0.35))
        brown = np.array([1.0, 0.72, 0.5], np.float32)[:, None, None]
        field[:, top:foot, left:right] *= 1 - depth * np.clip(0.6 * body + 0.7 * edge, 0, 1) * brown
    return np.asarray(cv2.merge(list(np.clip(field, 0, 255).astype(np.uint8))), np.uint8)


def _behind(
    spec: PageSpec, held: Supplies, wide: int, high: int, per_cell: float
) -> npt.NDArray[np.float32]:
    """What the other side prints, mirrored and blurred: text lines, a picture, a headline."""
    import cv2

    chance = stream(spec.seed, "behind")
    lines = held.text(spec.text + 1)["lines"]
    out = np.zeros((high, wide), np.float32)
    step = max(2, int(per_cell * chance.uniform(0.4, 0.7)))
    made: dict[int, npt.NDArray[np.float64]] = {}
    first = int(chance.integers(0, step))
    for top in range(first, high - step, step):
        chosen = int(chance.integers(len(lines)))
        if chosen not in made:
            made[chosen] = _mirrored(lines[chosen], step, wide)
        out[top : top + step] = made[chosen]
    for _ in range(int(chance.integers(0, 4))):
        x, y = int(chance.integers(0, wide)), int(chance.integers(0, high))
        w, h = (int(v * per_cell) for v in chance.uniform(2, 9, 2))
        out[y : y + h, x : x + w] = chance.uniform(0.3, 0.9)
    return np.clip(cv2.GaussianBlur(out, (0, 0), 0.8), 0, 1).astype(np.float32)


def _mirrored(strip: Raster, high: int, wide: int) -> npt.NDArray[np.float64]:
    """A strip of text from behind, repeated over a width: (high, wide), 1.5 where full of ink."""
    import cv2

    size = (max(2, int(strip.shape[1] * high / strip.shape[0])), high)
    line = cv2.resize(strip, size, interpolation=cv2.INTER_AREA)
    line = np.tile(line, (1, wide // line.shape[1] + 1))[:, :wide]
    return np.asarray(line[:, ::-1] / 255.0 * 1.5)


def _creases(sheet: Sheet, spec: PageSpec) -> None:
    """Sharp folds: a light line beside a dark one."""
    import cv2

    for k in range(spec.creases):
        chance = stream(spec.seed, "crease", k)
        x, y = (chance.uniform(0, 9, 2) - [sheet.x0, sheet.y0]) * sheet.scale
        a = chance.uniform(0, np.pi) if chance.random() < 0.6 else chance.choice([0.0, np.pi / 2])
        along = np.linspace(-9, 9, 15) * sheet.scale
        bow = np.cumsum(chance.normal(0, 0.03 * sheet.scale, 15))
        pts = np.stack(
            [x + along * np.cos(a) - bow * np.sin(a), y + along * np.sin(a) + bow * np.cos(a)], 1
        )
        thick = max(1, int(sheet.scale * chance.uniform(0.015, 0.05)))
        low = np.clip(
            np.floor(pts.min(axis=0)).astype(int) - thick - 2,
            0,
            [sheet.pixels.shape[1], sheet.pixels.shape[0]],
        )
        high = np.clip(
            np.ceil(pts.max(axis=0)).astype(int) + thick + 3,
            0,
            [sheet.pixels.shape[1], sheet.pixels.shape[0]],
        )
        if (high <= low).any():
            continue
        for level, off in (
            (float(chance.uniform(0.05, 0.25)), 0),
            (-float(chance.uniform(0.02, 0.1)), thick),
        ):
            mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
            line = np.round((pts - low + off) * 8).astype(np.int32)
            cv2.polylines(mask, [line], False, 255, thick, cv2.LINE_AA, 3)
            change, where = cv2.subtract if level > 0 else cv2.add, sheet.pixels[low[1] :, low[0] :]
            for part, left, top in inked_parts(mask):
                by = cv2.cvtColor(cv2.convertScaleAbs(part, alpha=abs(level)), cv2.COLOR_GRAY2BGR)
                under = where[top : top + len(by), left : left + by.shape[1]]
                under[:] = change(under, by)


TABLES = 12
"""Kinds of table top."""


def _specks(sheet: Sheet, spec: PageSpec) -> None:
    """Small dark things that are no digit: at most an eighth of a cell, a scratch a quarter."""
    import cv2

    for k in range(spec.specks):
        chance = stream(spec.seed, "speck", k)
        x, y = (float(v) for v in chance.uniform(-0.5, 9.5, 2))
        long = float(
            chance.uniform(0.1, 0.25) if chance.random() < 0.25 else chance.uniform(0.015, 0.12)
        )
        thin = (
            long * float(chance.uniform(0.08, 0.2))
            if long > 0.12
            else long * float(chance.uniform(0.5, 1))
        )
        side = max(3, round(1.4 * long * sheet.scale) + 2)
        mask = np.zeros((side, side), np.uint8)
        axes = (max(4, round(4 * long * sheet.scale)), max(3, round(4 * thin * sheet.scale)))
        middle = (side * 4, side * 4)
        turn = float(chance.uniform(0, 180))
        cv2.ellipse(mask, middle, axes, turn, 0, 360, 255, -1, cv2.LINE_AA, 3)
        level = int(chance.integers(20, 140))
        sheet.stamp(mask, x, y, (level, level, level), float(chance.uniform(0.5, 1)))


@lru_cache(maxsize=TABLES)
def table_top(kind: int) -> Raster:
    """What lies under the paper, a tile (1024, 1024, 4): wood, cloth, stone or plain in blue,
    green and red, and 0 for the ink laid on it.
    """
    import cv2

    chance = stream(kind, "table")
    base = np.array(
        [[60, 95, 140], [70, 70, 75], [160, 165, 170], [120, 90, 70], [40, 60, 90], [190, 200, 205]]
    )[kind % 6]
    grain = [(40.0, 1.2), (1.5, 1.5), (6.0, 6.0)][kind % 3]
    noise = chance.standard_normal((1024, 1024), dtype=np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), grain[0], sigmaY=grain[1])
    soft = soft / soft.std() + 0.3 * noise
    field = np.zeros((1024, 1024, 4))
    field[..., :3] = base * (1 + 0.13 * soft[..., None])
    return np.asarray(np.clip(field, 0, 255), np.uint8)
