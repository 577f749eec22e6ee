"""What a careful person could still read: limits that presets keep.

A page beyond them has no right answer, and a reader that says so is right: such pages belong to
tests of the quality judgement, made by overriding fields, not to tests of reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from papernudge.digits_model.training.pages.layout import lay_out
from papernudge.digits_model.training.pages.spec import (
    NOTE_OF_ENTRY,
    SMALLEST_NOTE,
    PageSpec,
)
from papernudge.digits_model.training.pages.view import View, crossings


@dataclass(frozen=True, slots=True)
class Limits:
    """``digit`` and ``note``: how many standard deviations of the blur they are high at least;
    ``digit_px`` and ``note_px``: how many pixels they are high at least;
    ``signal``: how many of the noise a stroke is darker than paper; ``light``: how much of the
    full light is left in the darkest corner; ``packing``: a stroke is darker than paper by this
    divided by the JPEG quality at least. The standard's luminance table takes steps of 50
    to 100 grey levels at quality 50 where strokes are, and swallows what is fainter. ``narrow``:
    how many pixels the narrowest cell of a whole grid has across, which a roll squeezes. What is
    written counts as high as it is in that cell.
    """

    digit: float
    note: float
    digit_px: float
    note_px: float
    signal: float
    light: float
    packing: float
    narrow: float


LIMITS = {
    "easy": Limits(14.0, 9.0, 7.0, 12.0, 20.0, 0.55, 2400.0, 11.0),
    "newspaper": Limits(10.0, 8.0, 7.0, 12.0, 11.0, 0.42, 2400.0, 11.0),
    "hard": Limits(9.0, 7.0, 7.0, 10.5, 9.0, 0.33, 2400.0, 11.0),
    "cruel": Limits(7.0, 5.0, 0.0, 6.0, 6.0, 0.25, 0.0, 0.0),
}
"""``digit_px``: dots of a line printer's smallest type, 5 by 7 (common practice, no source)."""
LARGEST_NOTE = 0.3
"""Height to which notes are enlarged at most, cells."""


def upright_cell(spec: PageSpec) -> float:
    """About how many pixels the smallest cell of the main grids has, turned as it is but before the
    tilt.
    """
    layout = lay_out(spec)
    target = layout.target
    wide, high = target[2] - target[0], target[3] - target[1]
    c, s = abs(np.cos(np.radians(spec.turn))), abs(np.sin(np.radians(spec.turn)))
    room = min(spec.width / (wide * c + high * s), spec.height / (wide * s + high * c))
    return float(spec.share * room) * layout.least_unit


def far_cell(spec: PageSpec) -> float:
    """About how many pixels the shorter side of the farthest cell has under the tilt."""
    tilt = np.radians(spec.tilt)
    return float(upright_cell(spec) * np.cos(tilt) * (1 - 0.3 * np.sin(tilt)))


def narrowest_cell(spec: PageSpec) -> float:
    """Pixels across the narrowest cell of the grids that lie wholly in the frame.

    Across is the way in which a tilt, a fold or a roll squeezes it most; infinity without such.
    """
    layout = lay_out(spec)
    view = View(spec, layout)
    least = np.inf
    for place in layout.places:
        if place.what not in {"puzzle", "neighbour"}:
            continue
        many = place.lines + 1
        at = view.to_photo(crossings(place.box, place.lines)).reshape(many, many, 2)
        if (at < 0).any() or (at > [spec.width - 1, spec.height - 1]).any():
            continue
        right, down = np.diff(at, axis=1)[:-1], np.diff(at, axis=0)[:, :-1]
        area = np.abs(right[..., 0] * down[..., 1] - right[..., 1] * down[..., 0])
        long = np.maximum(np.linalg.norm(right, axis=-1), np.linalg.norm(down, axis=-1))
        least = min(least, float((area / long).min()))
    return float(least)


def least_cell(spec: PageSpec) -> float:
    """Pixels across the cells in which things are smallest: :func:`narrowest_cell` if it is known.

    :func:`far_cell` where that is less, or no grid lies wholly in the frame.
    """
    return min(far_cell(spec), narrowest_cell(spec))


def smallest_note(spec: PageSpec) -> float:
    """Height in cells of the smallest notes: nobody writes them nearly as large as entries."""
    return SMALLEST_NOTE * min(spec.note_high, NOTE_OF_ENTRY * spec.entry_high)


def room_for_notes(spec: PageSpec) -> float:
    """Pixels that the smallest cell needs so that its notes can be as high as they must be."""
    return LIMITS[spec.preset].note_px / (SMALLEST_NOTE * LARGEST_NOTE)


def blur(spec: PageSpec) -> float:
    """All blur of the camera together, standard deviation in pixels."""
    box = spec.motion / 12**0.5
    return float(np.sqrt(spec.focus_blur**2 + box**2 + 0.3 / spec.upscaled**2))


def darkest(spec: PageSpec) -> float:
    """Share of the full light in the darkest corner."""
    shade = (1 - spec.gradient) * (1 - 0.8 * spec.vignette) * (1 - spec.shadow)
    return float(shade * min(spec.tone) / 255 * sorted(spec.cast)[1])


def signal(spec: PageSpec) -> float:
    """By how many grey levels the palest digits are darker than paper, in the darkest corner."""
    pale = 1 - float(np.mean(spec.given_ink)) / 255
    if spec.fill > 0 or spec.note_share > 0:
        pale = min(pale, spec.pen_cover * (1 - float(np.mean(spec.pen_ink)) / 255))
    if (spec.pen == "pencil" and spec.fill > 0) or (spec.note_pencil and spec.note_share > 0):
        pale = min(pale, 0.55 * spec.pen_cover)  # graphite is grey, and skips
    return float((spec.white - spec.black) * darkest(spec) * pale)


def legible(spec: PageSpec, fixed: set[str]) -> PageSpec:
    """The page with less curl, blur, shade and noise, as far as its preset's limits ask for it.

    Fields named in ``fixed`` stay. A page loses its notes where they would have hardly any
    pixels, and a pen is never thinner than the blur lets through.
    """
    limits = LIMITS[spec.preset]
    high = min(spec.digit_high, spec.entry_high if spec.fill > 0 else 1.0)
    least = max(limits.narrow, limits.digit_px / high)
    if spec.note_share > 0:  # as far as the tilt leaves room: that stays
        least = max(least, min(room_for_notes(spec), far_cell(spec)))
    for _ in range(8):
        if spec.curl == 0 or "curl" in fixed or narrowest_cell(spec) >= least:
            break
        spec = _changed(spec, fixed, curl=0.75 * spec.curl)
    cell = least_cell(spec)
    small = high * cell / limits.digit
    if spec.note_share > 0:
        wanted = max(spec.note_high, limits.note_px / cell / SMALLEST_NOTE)
        wanted = min(LARGEST_NOTE, wanted)
        entries = max(spec.entry_high, wanted / NOTE_OF_ENTRY)
        spec = _changed(spec, fixed, note_high=wanted, entry_high=entries)
        note = smallest_note(spec) * cell
        if note < 0.99 * limits.note_px:
            spec = _changed(spec, fixed, note_share=0.0)
        else:
            small = min(small, note / limits.note)
    pen = min(max(spec.pen_width, 0.6 * small / cell), 0.09)
    spec = _changed(spec, fixed, pen_width=pen)
    for _ in range(6):  # the sensor's own blur does not shrink with the rest
        if blur(spec) <= small:
            break
        keep = 0.98 * small / blur(spec)
        less = {"focus_blur": spec.focus_blur * keep, "motion": spec.motion * keep}
        spec = _changed(spec, fixed, upscaled=min(1.0, spec.upscaled / keep), **less)
    for _ in range(8):
        if darkest(spec) >= limits.light:
            break
        deep = spec.shadow if spec.gradient + spec.vignette > 0.15 else spec.shadow * 0.8
        less = {"gradient": spec.gradient * 0.7, "vignette": spec.vignette * 0.7}
        spec = _changed(spec, fixed, shadow=deep, **less)
    if spec.jpeg:
        least = min(90, round(limits.packing / signal(spec)))
        spec = _changed(spec, fixed, jpeg=max(spec.jpeg, least))
    # Blotches hide more than fine noise, and a small digit has few pixels to average over.
    most = signal(spec) / limits.signal / (1 + 0.4 * spec.noise_soft) * min(1.0, cell / 34)
    return _changed(spec, fixed, noise=max(0.4, min(spec.noise, most)))


def _changed(spec: PageSpec, fixed: set[str], **fields: Any) -> PageSpec:
    return replace(spec, **{name: value for name, value in fields.items() if name not in fixed})
