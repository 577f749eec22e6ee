"""From the page to the raster: one resampling, then light, blur, noise, tone and JPEG."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.paper import TABLES, table_top
from papernudge.digits_model.training.pages.sheet import Raster, Sheet, blank
from papernudge.digits_model.training.pages.spec import PageSpec
from papernudge.digits_model.training.pages.view import View

NODE = 8
"""Raster pixels between the nodes at which the way to the page is computed exactly."""
_BAND = 64
"""Raster rows that are resampled and lit at once, few enough to stay in the processor's cache:
a multiple of NODE that divides the side of a table top."""
_NOISE = 1536
_NO_MAP: Any = None  # the stubs do not know that one map may hold x and y


def expose(sheet: Sheet, spec: PageSpec, view: View) -> Raster:
    """The photo of the sheet: uint8 (height, width, 3), blue, green, red."""
    import cv2

    where, angle = _ways(sheet, view)
    image, laid = _taken(sheet, spec, where, _light(spec, angle))
    image = _blurred(image, spec)
    image = np.asarray(cv2.LUT(image, _tone(spec)), np.uint8)
    if spec.glare > 0:
        image = _glared(image, spec)
    if spec.sharpen > 0.05:
        soft = cv2.GaussianBlur(image, (0, 0), 1.2)
        image = np.asarray(
            cv2.addWeighted(image, 1 + spec.sharpen, soft, -spec.sharpen, 0), np.uint8
        )
    if laid is not None:
        _ink_over(image, laid, spec)
    image = _noisy(image, spec)
    if spec.jpeg:
        _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, spec.jpeg])
        image = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), np.uint8)
    return image


def _taken(
    sheet: Sheet, spec: PageSpec, where: npt.NDArray[np.float32], light: Raster
) -> tuple[Raster, Raster | None]:
    """The lit sheet on its table, sharp, and the ink that is laid on the photo, if any.

    ``where`` and ``light`` as :func:`_ways` and :func:`_light` give them, at each node.
    """
    import cv2

    # Four channels are resampled in half the time of three; laid ink travels in the fourth.
    pixels = blank(*sheet.pixels.shape[:2], 4)
    cv2.cvtColor(sheet.pixels, cv2.COLOR_BGR2BGRA, dst=pixels)
    image = blank(spec.height, spec.width, 3)
    laid = None
    if sheet.laid is not None:
        cv2.insertChannel(sheet.laid, pixels, 3)
        laid = np.empty(image.shape[:2], np.uint8)
    far = np.array(sheet.pixels.shape[1::-1], np.float32) - 2
    on_sheet = np.asarray(((where >= 1) & (where <= far)).all(axis=(1, 2)))
    for top in range(0, spec.height, _BAND):
        rows = slice(top, min(top + _BAND, spec.height))
        band = np.empty((rows.stop - rows.start, spec.width, 4), np.uint8)
        if not _around(on_sheet, rows).all():
            _lay_table(band, spec, top)
        cv2.remap(
            pixels,
            _between(where, rows, spec.width),
            _NO_MAP,
            cv2.INTER_LINEAR,
            dst=band,
            borderMode=cv2.BORDER_TRANSPARENT,
        )
        if laid is not None:
            cv2.extractChannel(band, 3, dst=laid[rows])
        flat = cv2.cvtColor(band, cv2.COLOR_BGRA2BGR)
        cv2.multiply(flat, _between(light, rows, spec.width), dst=image[rows], scale=1 / 200)
    return image, laid


def _around(nodes: npt.NDArray[Any], rows: slice) -> npt.NDArray[Any]:
    """The nodes on which the pixels of these rows depend."""
    return nodes[rows.start // NODE : -(-rows.stop // NODE) + 2]


def _between(nodes: npt.NDArray[Any], rows: slice, wide: int) -> npt.NDArray[Any]:
    """Values (h, w, n) at each node, one node more on every side, as values at each pixel of
    these rows, the first of which is a multiple of NODE.
    """
    import cv2

    part = _around(nodes, rows)
    size = (part.shape[1] * NODE, part.shape[0] * NODE)
    full = cv2.resize(part, size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(full[NODE : NODE + rows.stop - rows.start, NODE : NODE + wide])


def _ways(sheet: Sheet, view: View) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float64]]:
    """At each node (one node more on every side) its place on the sheet, sheet pixels
    (rows, columns, 2), and the paper's angle.
    """
    columns, rows = -(-view.wide // NODE) + 2, -(-view.high // NODE) + 2
    # A resize by a whole factor puts node i at pixel (i + 1/2)·NODE - 1/2.
    x = (np.arange(columns) - 1 + 0.5) * NODE - 0.5
    y = (np.arange(rows) - 1 + 0.5) * NODE - 0.5
    nodes = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    page, angle = view.to_page(nodes)
    where = np.empty((rows, columns, 2), np.float32)
    for k, start in enumerate((sheet.x0, sheet.y0)):
        on_sheet = ((page[:, k] - start) * sheet.scale).astype(np.float32)
        where[..., k] = np.clip(on_sheet.reshape(rows, columns), -30000, 30000)
    return where, angle.reshape(rows, columns)


def _lay_table(band: Raster, spec: PageSpec, top: int) -> None:
    """Fills the rows of the photo from ``top`` on, at most _BAND, with the table top: uint8
    (rows, width, 4), blue, green, red and nothing laid on it.
    """
    tile = table_top(spec.table % TABLES)
    part = tile[top % len(tile) :][: len(band)]
    for left in range(0, spec.width, len(tile)):
        band[:, left : left + len(tile)] = part[:, : spec.width - left]


def _light(spec: PageSpec, angle: npt.NDArray[np.float64]) -> Raster:
    """Light at each node, uint8 (rows, columns, 3), 200 for full light."""
    rows, columns = angle.shape
    x = (np.arange(columns) / (columns - 1) * 2 - 1)[None, :]
    y = (np.arange(rows) / (rows - 1) * 2 - 1)[:, None]
    off = (x**2 + y**2) / 2
    to = np.radians(spec.gradient_to)
    ramp = (x * np.cos(to) + y * np.sin(to)) / 2 + 0.5
    level = 1 - spec.gradient * ramp - spec.vignette * off
    # A lamp or window to one side: paper that turns away from it is darker.
    # Light from all around keeps it from going black.
    level = level * (0.45 + 0.55 * np.clip(np.cos(angle - 0.35) / np.cos(0.35), 0.1, 1.2))
    if spec.shadow > 0:
        level = level * (1 - spec.shadow * _shadow(spec, rows, columns))
    full = 200 * np.clip(level, 0.12, 1.25)
    drifts = (stream(spec.seed, "drift").normal(0, 1, 3) * spec.cast_drift).tolist()
    light = np.empty((rows, columns, 3), np.uint8)
    for k, (gain, drift) in enumerate(zip(spec.cast, drifts, strict=True)):
        light[..., k] = np.clip(full * (gain * (1 + drift * off)), 0, 255)
    return light


def _shadow(spec: PageSpec, rows: int, columns: int) -> npt.NDArray[np.float64]:
    """A hand's or phone's shadow from one side: 1 inside."""
    import cv2

    chance = stream(spec.seed, "shadow")
    a = chance.uniform(0, 2 * np.pi)
    centre = np.array([columns, rows]) * (0.5 + 0.62 * np.array([np.cos(a), np.sin(a)]))
    t = np.sort(chance.uniform(0, 2 * np.pi, 7))
    size = chance.uniform(0.3, 0.75) * min(rows, columns)
    blob = centre + size * (0.7 + 0.5 * chance.random((7, 1))) * np.stack([np.cos(t), np.sin(t)], 1)
    if chance.random() < 0.35:  # the straight edge of a phone
        side = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size * [0.6, 1.3]
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        blob = centre + side @ turn.T
    mask = np.zeros((rows, columns), np.uint8)
    cv2.fillPoly(mask, [np.round(blob * 8).astype(np.int32)], 255, cv2.LINE_AA, 3)
    soft = cv2.GaussianBlur(mask, (0, 0), max(0.4, spec.shadow_soft * min(rows, columns)))
    return np.asarray(soft / 255.0, np.float64)


def _blurred(image: Raster, spec: PageSpec) -> Raster:
    import cv2

    if spec.upscaled < 0.97:
        small = (
            max(8, int(image.shape[1] * spec.upscaled)),
            max(8, int(image.shape[0] * spec.upscaled)),
        )
        reduced = cv2.resize(image, small, interpolation=cv2.INTER_AREA)
        image = np.asarray(
            cv2.resize(reduced, (image.shape[1], image.shape[0]), interpolation=cv2.INTER_LINEAR),
            np.uint8,
        )
    if spec.focus_blur > 0.3:
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), spec.focus_blur), np.uint8)
    if spec.motion >= 1:
        image = _moved(image, spec.motion, np.radians(spec.motion_to))
    return image


def _moved(image: Raster, length: float, to: float) -> Raster:
    """A motion blur by halves: each pass averages the image moved on with it moved back.

    The picture as a whole stays in place to half a pixel, as the truth says it does.
    """
    import cv2

    part = length / 2
    ahead = np.array([np.cos(to), np.sin(to)])
    drift = np.zeros(2)
    while part >= 0.5:
        step = np.rint(part * ahead).astype(int)
        part /= 2
        if not step.any():
            continue
        on = np.rint(step / 2 - drift).astype(int)
        drift += on - step / 2
        pad = int(max(np.abs(on).max(), np.abs(on - step).max()))
        wider = cv2.copyMakeBorder(image, pad, pad, pad, pad, cv2.BORDER_REPLICATE)
        both = [_cut(np.asarray(wider, np.uint8), by + pad, image.shape) for by in (on, on - step)]
        image = np.asarray(cv2.addWeighted(both[0], 0.5, both[1], 0.5, 0), np.uint8)
    return image


def _cut(image: Raster, at: npt.NDArray[np.int64], shape: tuple[int, ...]) -> Raster:
    """The part of the image that begins at pixel x, y and has this shape."""
    x, y = (int(v) for v in at)
    return image[y : y + shape[0], x : x + shape[1]]


@lru_cache(maxsize=64)
def _tones(white: int, black: int, gamma: int) -> Raster:
    level = np.linspace(0, 1, 256) ** (gamma / 100)
    return np.asarray(np.clip(black + (white - black) * level, 0, 255), np.uint8)


def _tone(spec: PageSpec) -> Raster:
    return _tones(round(spec.white), round(spec.black), round(spec.gamma * 100))


def _glared(image: Raster, spec: PageSpec) -> Raster:
    """A patch of light mirrored in glossy paper."""
    import cv2

    chance = stream(spec.seed, "glare")
    high, wide = image.shape[0] // 8 + 1, image.shape[1] // 8 + 1
    y, x = np.mgrid[0:high, 0:wide]
    at, a = chance.uniform(0.15, 0.85, 2) * [wide, high], chance.uniform(0, np.pi)
    u, v = (
        (x - at[0]) * np.cos(a) + (y - at[1]) * np.sin(a),
        (y - at[1]) * np.cos(a) - (x - at[0]) * np.sin(a),
    )
    size = min(high, wide) * chance.uniform(0.08, 0.3)
    spot = spec.glare * np.exp(-((u / size) ** 2 + (v / (size * chance.uniform(0.5, 3))) ** 2))
    veil = cv2.resize(
        (spot * 255).astype(np.uint8),
        (image.shape[1], image.shape[0]),
        interpolation=cv2.INTER_LINEAR,
    )
    veil = cv2.merge([veil, veil, veil])
    lift = cv2.multiply(cv2.bitwise_not(image), veil, scale=1 / 255)
    return np.asarray(cv2.add(image, lift), np.uint8)


def _ink_over(image: Raster, mask: Raster, spec: PageSpec) -> None:
    """Lays ink over the photo, its edges softened a little."""
    import cv2

    soft = cv2.GaussianBlur(mask, (0, 0), 0.55)
    left, top, wide, high = cv2.boundingRect(soft)
    if not wide:
        return
    part, soft = (
        image[top : top + high, left : left + wide],
        soft[top : top + high, left : left + wide],
    )
    ink = [round(0.8 * level) for level in spec.pen_ink]
    bare = cv2.cvtColor(cv2.bitwise_not(soft), cv2.COLOR_GRAY2BGR)
    kept = cv2.multiply(part, bare, scale=1 / 255)
    cv2.add(kept, cv2.merge([cv2.convertScaleAbs(soft, alpha=v / 255) for v in ink]), dst=part)


@lru_cache(maxsize=4)
def _noise_tile(soft: int) -> Raster:
    """Noise around 128 with a standard deviation of 32; ``soft`` 0 fine to 3 blotchy."""
    import cv2

    chance = stream(soft, "noise")
    grey = chance.standard_normal((_NOISE, _NOISE, 1), dtype=np.float32)
    colour = chance.standard_normal((_NOISE, _NOISE, 3), dtype=np.float32)
    field = grey + 0.7 * cv2.GaussianBlur(colour, (0, 0), 0.6 + soft) * (1.5 + 2 * soft)
    if soft:
        field = cv2.GaussianBlur(field, (0, 0), 0.35 * soft)
    return np.asarray(np.clip(128 + 32 * field / field.std(), 0, 255), np.uint8)


def _noisy(image: Raster, spec: PageSpec) -> Raster:
    import cv2

    if spec.noise < 0.3:
        return image
    tile = _noise_tile(round(spec.noise_soft * 3))
    chance = stream(spec.seed, "noise")
    x, y = (int(v) for v in chance.integers(0, _NOISE // 4, 2))
    share, step = spec.noise / 32, _NOISE * 3 // 4
    out = blank(*image.shape)
    for top in range(0, image.shape[0], step):
        for left in range(0, image.shape[1], step):
            part = image[top : top + step, left : left + step]
            cut = tile[y : y + part.shape[0], x : x + part.shape[1]]
            into = out[top : top + step, left : left + step]
            cv2.addWeighted(part, 1, cut, share, -128 * share, dst=into)
    return out
