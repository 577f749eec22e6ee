"""Draws scenes on a photo: crop, turn upright, tracing paper, pencil, tabs, caption."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from papernudge.cli.base.breaking import lines_of
from papernudge.cli.pictures.signs import Scene, Sign, Slip, Stroke, Tab
from papernudge.cli.pictures.typeface import letters_for
from papernudge.vision.mesh import placed as laid

Raster = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]

# Blue, green, red. The two inks differ in hue for every kind of colour vision (blue and orange)
# and in lightness too, for grey prints.
PAPER = (236, 246, 250)
INKS = {"blue": (150, 66, 18), "orange": (12, 84, 214), "grey": (84, 78, 74)}
TEXT = (52, 42, 38)
ROOM = (1.85, 1.35, 1.85, 1.2)  # cells kept around the grid: left, top, right, bottom
VEIL = 0.55  # share of tracing paper where nothing is to be looked at
LARGEST_UPSCALE_SIDE = 1200


@dataclass(frozen=True, eq=False)
class Placed:
    """A scene and the crossings it lies on: float64 (rows + 1, columns + 1, 2), raster
    pixels.
    """

    scene: Scene
    crossings: Points

    def to_raster(self, points: Points) -> Points:
        """Grid units to raster pixels, (N, 2); outside the grid its rim goes on straight."""
        return laid(self.crossings, points)


@dataclass(frozen=True, slots=True)
class View:
    """Where raster pixels come to lie: ``box`` x0, y0, x1, y1 of the raster, scaled by ``scale``,
    then turned clockwise by ``turns`` quarters.
    """

    box: tuple[float, float, float, float]
    scale: float
    turns: int

    @property
    def flat(self) -> tuple[int, int]:
        """Width and height before turning."""
        x0, y0, x1, y1 = self.box
        return max(1, round((x1 - x0) * self.scale)), max(1, round((y1 - y0) * self.scale))

    def apply(self, points: Points) -> Points:
        """Raster pixels to picture pixels."""
        p = (points - np.array(self.box[:2])) * self.scale
        width, height = self.flat
        x, y = p[:, 0], p[:, 1]
        turned = [(x, y), (height - 1 - y, x), (width - 1 - x, height - 1 - y), (y, width - 1 - x)]
        return np.stack(turned[self.turns % 4], axis=1)


def sketch(
    pixels: Raster, turns: int, placed: Sequence[Placed], side: int, caption: str, close: bool
) -> Raster:
    """The finished picture, uint8 (H, W, 3), blue, green, red, upright, neither side over ``side``.

    ``pixels``: the photo's raster; ``turns``: quarter turns clockwise that make it upright;
    ``close``: crop to the first scene's grid with room for tabs, else the whole photo.
    """
    view, strip = framed(pixels.shape, turns, placed, side, caption, close)
    canvas = _cut(pixels, view)
    canvas = _with_tracing_paper(canvas, view, placed)
    for one in placed:
        _draw(canvas, view, one)
    if strip is None:
        return canvas
    return np.vstack([canvas, _as_wide(strip, canvas.shape[1])])[:side]


def framed(
    shape: tuple[int, ...],
    turns: int,
    placed: Sequence[Placed],
    side: int,
    caption: str,
    close: bool,
) -> tuple[View, Raster | None]:
    """Where the raster's pixels come to lie in the picture that ``sketch`` draws of the same
    words, and the strip with legend and caption, None where there is none.

    ``shape``: of the raster, height and width first.
    """
    box = _close_box(placed[0]) if close and placed else (0, 0, shape[1], shape[0])
    wide, high = box[2] - box[0], box[3] - box[1]
    if turns % 2:
        wide, high = high, wide
    most = min(side / wide, side / high, max(1.0, LARGEST_UPSCALE_SIDE / max(wide, high)))
    legend = placed[0].scene.legend if close and placed else []
    scale, strip = _fitted(caption, legend, wide, high, most, side)
    return View(box, scale, turns % 4), strip


def _as_wide(strip: Raster, width: int) -> Raster:
    """The strip cut or filled up to a width that rounding made a pixel or so different."""
    out = np.empty((strip.shape[0], width, 3), np.uint8)
    out[:] = PAPER
    shared = min(width, strip.shape[1])
    out[:, :shared] = strip[:, :shared]
    return out


def _fitted(
    caption: str,
    legend: Sequence[Sign],
    wide: float,
    high: float,
    most: float,
    side: int,
) -> tuple[float, Raster | None]:
    """The largest scale at which picture, legend and caption fit into ``side``, and the strip with
    legend and caption.

    Where text and legend would take too much from a small picture, the legend goes; of a text that
    would do so alone, only the first sentence stands there.
    """
    if not caption and not legend:
        return most, None
    short = caption.split(". ")[0] + ". …"
    short = short if len(short) < len(caption) else caption
    for text, some in ((caption, legend), (caption, ()), (short, legend), (short, ())):
        for part in (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5):
            scale = most * part
            width = round(wide * scale)
            room = min(side - round(high * scale), round((0.5 if part >= 0.6 else 0.58) * side))
            signs = _legend(some, width)
            if not text:
                if signs is not None and signs.shape[0] <= room:
                    return scale, signs
                continue
            strip = _caption(text, width, room - (0 if signs is None else signs.shape[0]))
            if strip is not None:
                return scale, strip if signs is None else np.vstack([signs, strip])
    return most, None


def _legend(signs: Sequence[Sign], width: int) -> Raster | None:
    """Each sign beside its name, as many a row as fit: uint8 (h, width, 3)."""
    if not signs:
        return None
    size = max(11, round(width / 32))
    box = round(1.7 * size)
    names = [letters_of(sign.name, size) for sign in signs]
    places, x, y = [], size, round(0.5 * size)
    for name in names:
        if x > size and x + box + 0.4 * size + name.shape[1] > width - size:
            x, y = size, y + round(1.25 * box)
        places.append((x, y))
        x += round(box + 0.5 * size + name.shape[1] + 1.1 * size)
    strip = np.empty((y + box + round(0.2 * size), width, 3), np.uint8)
    strip[:] = PAPER
    for sign, name, (left, top) in zip(signs, names, places, strict=True):
        tracks = [
            (Stroke(line, sign.ink, 0.045), line * box + np.array([left, top], np.float64))
            for line in sign.lines
        ]
        _pencil(strip, tracks, box, INKS[sign.ink])
        put_letters(
            strip, name, left + box + round(0.4 * size), top + (box - name.shape[0]) // 2, TEXT
        )
    return strip


def _close_box(placed: Placed) -> tuple[float, float, float, float]:
    left, top, right, bottom = ROOM
    high, wide = placed.crossings.shape[0] - 1, placed.crossings.shape[1] - 1
    rim = np.array(
        [
            (-left, -top),
            (wide + right, -top),
            (wide + right, high + bottom),
            (-left, high + bottom),
        ],
        np.float64,
    )
    points = placed.to_raster(rim)
    # Where the photo is tilted, its own rectangle must still hold the grid's corners and tabs.
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _cut(pixels: Raster, view: View) -> Raster:
    """The part of the photo under the view, on paper where the view looks beyond the photo."""
    import cv2

    height, width = pixels.shape[:2]
    x0, y0, x1, y1 = view.box
    flat_width, flat_height = view.flat
    cx0, cy0 = max(0, int(np.floor(x0))), max(0, int(np.floor(y0)))
    cx1, cy1 = min(width, int(np.ceil(x1))), min(height, int(np.ceil(y1)))
    left = min(max(0, round((cx0 - x0) * view.scale)), flat_width - 1)
    top = min(max(0, round((cy0 - y0) * view.scale)), flat_height - 1)
    w = min(flat_width - left, max(1, round((cx1 - cx0) * view.scale)))
    h = min(flat_height - top, max(1, round((cy1 - cy0) * view.scale)))
    # Down to a third, the four pixels that linear interpolation reads stand well enough for the
    # average: no jaggedness to be seen, at a sixth of the time.
    how = cv2.INTER_AREA if view.scale < 0.33 else cv2.INTER_LINEAR
    if view.scale > 1:
        how = cv2.INTER_CUBIC
    part = np.asarray(cv2.resize(pixels[cy0:cy1, cx0:cx1], (w, h), interpolation=how), np.uint8)
    part = _lit(part)
    rims = (top, flat_height - top - h, left, flat_width - left - w)
    if any(rims):
        part = np.asarray(
            cv2.copyMakeBorder(part, *rims, cv2.BORDER_CONSTANT, value=PAPER), np.uint8
        )
    turns = {1: cv2.ROTATE_90_CLOCKWISE, 2: cv2.ROTATE_180, 3: cv2.ROTATE_90_COUNTERCLOCKWISE}
    if view.turns:
        part = np.asarray(cv2.rotate(part, turns[view.turns]), np.uint8)
    return part


def _lit(part: Raster) -> Raster:
    """A dim photo made lighter, so that its paper looks like paper; others as they are."""
    import cv2

    paper = float(np.percentile(part[::16, ::16, 1], 85))
    if not 20 < paper < 205:
        return part
    return np.asarray(cv2.convertScaleAbs(part, alpha=min(2.2, 215 / paper)), np.uint8)


def _with_tracing_paper(canvas: Raster, view: View, placed: Sequence[Placed]) -> Raster:
    """Everything outside the windows seen through thin paper."""
    import cv2

    if not any(one.scene.windows for one in placed):
        return canvas
    mask = np.zeros(canvas.shape[:2], np.uint8)
    for one in placed:
        for window in one.scene.windows:
            rim = view.apply(one.to_raster(_rim(window)))
            cv2.fillPoly(mask, [_fixed(rim)], 255, cv2.LINE_AA, 4)
    veiled = cv2.convertScaleAbs(canvas, alpha=1 - VEIL, beta=VEIL * min(PAPER))
    tint = [VEIL * (level - min(PAPER)) for level in PAPER]
    veiled = cv2.add(veiled, np.array([*tint, 0.0]))
    cv2.copyTo(canvas, mask, veiled)
    return np.asarray(veiled, np.uint8)


def _rim(window: tuple[float, float, float, float]) -> Points:
    """The edge of a window with bevelled corners; one of a single cell stays inside its lines."""
    grow = -0.05 if window[2] - window[0] == 1 == window[3] - window[1] else 0.01
    x0, y0, x1, y1 = window[0] - grow, window[1] - grow, window[2] + grow, window[3] + grow
    b = 0.12
    rim = np.array(
        [
            (x0 + b, y0), (x1 - b, y0), (x1, y0 + b), (x1, y1 - b),
            (x1 - b, y1), (x0 + b, y1), (x0, y1 - b), (x0, y0 + b), (x0 + b, y0),
        ]
    )  # fmt: skip
    along = np.linspace(0, 8, 65)
    return np.stack([np.interp(along, np.arange(9), rim[:, k]) for k in (0, 1)], axis=1)


def _draw(canvas: Raster, view: View, placed: Placed) -> None:
    scene = placed.scene
    cell = _cell_size(view, placed)
    tracks = [(s, view.apply(placed.to_raster(s.line))) for s in scene.strokes]
    _halo(canvas, tracks, cell)
    for name in INKS:
        _pencil(canvas, [t for t in tracks if t[0].ink == name], cell, INKS[name])
    for slip in scene.slips:
        middle = view.apply(placed.to_raster(np.array([(slip.x, slip.y)])))[0]
        _draw_slip(canvas, slip, middle, cell)
    taken: list[Box] = []
    for tab in scene.tabs:
        foot = view.apply(placed.to_raster(np.array([(tab.x, tab.y)])))[0]
        taken.append(_draw_tab(canvas, tab, foot, cell, taken))


def _cell_size(view: View, placed: Placed) -> float:
    steps = np.linalg.norm(np.diff(placed.crossings, axis=1), axis=2)
    return float(np.median(steps)) * view.scale


Track = tuple[Stroke, Points]


def _halo(canvas: Raster, tracks: Sequence[Track], cell: float) -> None:
    """Light paper under every stroke, so that pencil shows on dark and on busy ground."""
    import cv2

    layer = np.zeros(canvas.shape[:2], np.uint8)
    for stroke, points in tracks:
        thick = max(3, round((stroke.width + 0.05) * cell))
        cv2.polylines(layer, [_fixed(points)], False, 190, thick, cv2.LINE_AA, 4)
    _lay(canvas, layer, PAPER, None)


def _pencil(
    canvas: Raster, tracks: Sequence[Track], cell: float, colour: tuple[int, int, int]
) -> None:
    """A broad soft pass and a narrow hard one, with the grain of paper."""
    import cv2

    if not tracks:
        return
    layer = np.zeros(canvas.shape[:2], np.uint8)
    for stroke, points in tracks:
        thick = max(1, round(stroke.width * cell))
        cv2.polylines(layer, [_fixed(points)], False, 215, thick, cv2.LINE_AA, 4)
        if thick > 2:
            shifted = points + 0.18 * thick
            cv2.polylines(layer, [_fixed(shifted)], False, 255, thick // 2, cv2.LINE_AA, 4)
    _lay(canvas, layer, colour, _grain())


def _fixed(points: Points) -> npt.NDArray[np.int32]:
    """Fixed-point coordinates with four binary places, as cv2 draws them."""
    return np.round(points * 16).astype(np.int32)


@lru_cache(maxsize=1)
def _grain() -> npt.NDArray[np.float32]:
    noise = np.random.default_rng(9).normal(0.93, 0.09, (256, 256))
    return np.clip(noise, 0.55, 1.0).astype(np.float32)


def _lay(
    canvas: Raster,
    layer: Raster,
    colour: tuple[int, int, int],
    grain: npt.NDArray[np.float32] | None,
) -> None:
    """Blends a colour over the canvas where the layer covers it; strokes touch few pixels."""
    at = np.flatnonzero(layer > 0)
    alpha = layer.ravel()[at].astype(np.float32) / 255
    if grain is not None:
        y, x = np.divmod(at, layer.shape[1])
        alpha *= grain[y % 256, x % 256]
    flat = canvas.reshape(-1, 3)
    under = flat[at].astype(np.float32)
    flat[at] = (under + (np.array(colour, np.float32) - under) * alpha[:, None]).astype(np.uint8)


# ---------------------------------------------------------------- tabs and captions


Box = tuple[int, int, int, int]


def _draw_slip(canvas: Raster, slip: Slip, middle: Points, cell: float) -> None:
    """Light print on a dark slip with round ends."""
    import cv2

    size = max(8, round(0.42 * cell))
    letters = letters_of(slip.text, size)
    h, w = letters.shape
    radius = max(5.0, 0.34 * cell, 0.75 * h)
    reach = max(0.0, w / 2 - 0.45 * radius)
    ends = middle + np.array([(-reach, 0.0), (reach, 0.0)])
    cv2.polylines(
        canvas, [_fixed(ends)], False, INKS["blue"], max(1, round(2 * radius)), cv2.LINE_AA, 4
    )
    put_letters(canvas, letters, round(middle[0] - w / 2), round(middle[1] - h / 2), PAPER)


def _draw_tab(canvas: Raster, tab: Tab, foot: Points, cell: float, taken: Sequence[Box]) -> Box:
    """A slip of paper whose point touches the margin at ``foot``, pixels; where it lies."""
    import cv2

    size = max(11, round(0.38 * cell))
    letters = letters_of(tab.text, size)
    h, w = letters.shape
    pad, tip = round(0.45 * size), round(0.5 * size)
    width, height = w + 2 * pad, round(1.55 * size)
    x, y = _tab_place(tab.side, foot, width, height, tip, canvas.shape)
    x, y = _free_place(tab.side, (x, y, x + width, y + height), taken, canvas.shape)
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    point = (int(foot[0]), int(foot[1]))
    hull = cv2.convexHull(np.array([*corners, point], np.int32))
    cv2.fillPoly(canvas, [hull], (244, 251, 253), cv2.LINE_AA)
    cv2.polylines(canvas, [hull], True, INKS[tab.ink], max(1, round(0.03 * cell)), cv2.LINE_AA)
    put_letters(canvas, letters, x + pad, y + (height - h) // 2, TEXT)
    return x, y, x + width, y + height


def _free_place(
    side: str, box: Box, taken: Sequence[Box], shape: tuple[int, ...]
) -> tuple[int, int]:
    """Left top corner of a tab, moved along its margin until it lies over no other tab."""
    x0, y0, x1, y1 = box
    along = side in ("top", "bottom")
    span, step = (shape[1], (x1 - x0) // 4) if along else (shape[0], (y1 - y0) // 4)
    for turn in range(2 * (span // max(1, step)) + 1):
        away = (turn + 1) // 2 * step * (1 if turn % 2 else -1)
        x, y = (x0 + away, y0) if along else (x0, y0 + away)
        inside = 0 <= x <= shape[1] - (x1 - x0) and 0 <= y <= shape[0] - (y1 - y0)
        moved = (x, y, x + x1 - x0, y + y1 - y0)
        if inside and not any(_overlap(moved, other) for other in taken):
            return x, y
    return x0, y0


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _tab_place(
    side: str, foot: Points, width: int, height: int, tip: int, shape: tuple[int, ...]
) -> tuple[int, int]:
    """Left top corner of a tab, kept inside the picture."""
    fx, fy = float(foot[0]), float(foot[1])
    x, y = {
        "left": (fx - tip - width, fy - height / 2),
        "right": (fx + tip, fy - height / 2),
        "top": (fx - width / 2, fy - tip - height),
        "bottom": (fx - width / 2, fy + tip),
    }[side]
    most_x, most_y = max(2, shape[1] - width - 3), max(2, shape[0] - height - 3)
    return int(min(max(2, x), most_x)), int(min(max(2, y), most_y))


def letters_of(text: str, size: int) -> Raster:
    """Text as a mask, uint8 (h, w), 255 where ink is."""
    from PIL import Image, ImageDraw

    font = letters_for(text, size)
    x0, y0, x1, y1 = font.getbbox(text)
    image = Image.new("L", (max(1, int(x1 - x0) + 2), max(1, int(y1 - y0) + 2)))
    ImageDraw.Draw(image).text((1 - x0, 1 - y0), text, fill=255, font=font)
    return np.asarray(image, np.uint8)


def put_letters(
    canvas: Raster, letters: Raster, x: int, y: int, colour: tuple[int, int, int]
) -> None:
    """Lays a mask of letters on the canvas with its left top corner at (x, y)."""
    h = min(letters.shape[0], canvas.shape[0] - y)
    w = min(letters.shape[1], canvas.shape[1] - x)
    if h <= 0 or w <= 0 or x < 0 or y < 0:
        return
    alpha = letters[:h, :w, None].astype(np.float32) / 255
    under = canvas[y : y + h, x : x + w].astype(np.float32)
    canvas[y : y + h, x : x + w] = (under + (np.array(colour, np.float32) - under) * alpha).astype(
        np.uint8
    )


def _caption(text: str, width: int, room: int) -> Raster | None:
    """The sentence under the picture, uint8 (h, width, 3); None if ``room`` rows are too few.

    The letters are large enough for a picture that fills a phone's width, and a quarter smaller
    where the text would not fit otherwise.
    """
    largest = max(12, round(width / 26))
    for size in sorted({largest, max(12, round(0.87 * largest)), max(12, round(0.75 * largest))})[
        ::-1
    ]:
        lines = _wrapped(text, width - 2 * size, size)
        height = round(len(lines) * 1.4 * size + 1.3 * size)
        if height <= room:
            break
    else:
        return None
    strip = np.empty((height, width, 3), np.uint8)
    strip[:] = PAPER
    for n, line in enumerate(lines):
        letters = letters_of(line, size)
        base = letters_of("Rx", size).shape[0]
        top = round(0.75 * size + n * 1.4 * size) + base - _ascent(line, size)
        put_letters(strip, letters, size, top, TEXT)
    return strip


def _ascent(text: str, size: int) -> int:
    """Rows from the top of this text's ink to its base line."""
    font = letters_for(text, size)
    top = font.getbbox(text)[1]
    base = font.getbbox("x")[3]
    return int(base - top) + 1


def _wrapped(text: str, width: int, size: int) -> list[str]:
    font = letters_for(text, size)
    return lines_of(text, lambda line: font.getlength(line) <= width)
