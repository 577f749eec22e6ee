"""Many looks at the cells of a practised position.

Few cells of a sheet hold ink, so each of them can be looked at many times, by both networks: moved,
enlarged and turned a little, faint pencil made darker, and what is written brought to one size in
the middle, whatever size the hand writes. That something stands there is judged as it lies in its
cell; which digit it is, by all views.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from papernudge.vision.mesh import Mesh

    Chances = npt.NDArray[np.float64]
    Features = npt.NDArray[np.float32]
    Pixels = npt.NDArray[np.uint8]

TURNED = ((0, 0, 1.0, 8), (0, 0, 1.0, -5))
"""Further views beside those of every unsure cell: turned by degrees against the clock, as hands
lean to the right more than to the left.
"""
SIZED = ((20, 0), (24, 0), (28, 0), (24, 8), (24, -8), (24, 15), (24, -15))
"""Heights that what is written is brought to, pixels of a patch, and how far it is turned then,
degrees against the clock.
"""
_PLAIN = 0.9999
"""A cell that is blank with this chance at first sight is not looked at again."""
_STEADIER = 0.9
"""The mean of many views is less often sure of what is wrong than one look: its temperature is
lower by this factor, found on 300 drawn sheets by other hands than the figures'."""
_DARK, _MOST = 150.0, 3.0


@dataclass(frozen=True, eq=False)
class Glimpse:
    """What one look makes of a grid.

    ``pixels``: uint8 (81, 48, 48, 3), its patches; ``logits`` and ``features``: the network's;
    ``chances``: float64 (81, 10), of nothing (index 0) and the digits.
    """

    raster: Pixels
    mesh: Mesh
    pixels: Pixels
    logits: Chances
    features: Features
    chances: Chances


@dataclass(frozen=True, eq=False)
class Seen:
    """What the cells of a grid look like, each by itself.

    ``chances``: float64 (81, 10), of nothing (index 0) and the digits. ``features``: float32
    (81, F), for likeness between what is written in two cells; zeros in cells that were not looked
    at again.
    """

    chances: Chances
    features: Features


def glimpse(raster: Pixels, mesh: Mesh) -> Glimpse:
    """Looks once at each cell of a grid.

    ``raster``: uint8 (H, W, 3), blue, green, red; ``mesh``: of the grid, upright.
    """
    import numpy as np

    from papernudge.digits_model.scores import calibrated, first_look, manifest
    from papernudge.vision.patches import cut_patches

    pixels = cut_patches(raster, mesh).pixels
    logits, features = first_look(pixels)
    said = calibrated(logits, features, manifest()["calibration"])
    return Glimpse(raster, mesh, pixels, logits, features, np.exp(said.digits))


def page_of(grids: Sequence[Glimpse]) -> Features:
    """What the closer look is told of a sheet's cells: float32 (T, C), all that hold something.

    One hand fills all positions of a sheet, so all of them tell what it is like. On a page without
    any other writing a lone pale mark is taken for one that was rubbed out; a sheet is empty by
    design, so only what it holds is told.
    """
    import numpy as np

    from papernudge.digits_model.scores import context
    from papernudge.digits_model.tensors import CONTEXT

    pages = [np.zeros((0, CONTEXT), np.float32)]
    for once in grids:
        held = once.chances[:, 0] < 0.5
        pages.append(context(once.logits, once.features)[held | ~held.any()])
    return np.concatenate(pages)


def seen(once: Glimpse, cells: Sequence[int], page: Features) -> Seen:
    """Looks again at those of the cells that are not plainly blank. ``page``: :func:`page_of`."""
    import numpy as np

    from papernudge.digits_model.scores import manifest

    chances, likenesses = once.chances.copy(), np.zeros_like(once.features)
    again = np.array([cell for cell in cells if chances[cell, 0] < _PLAIN], np.int64)
    if len(again):
        fine = _fine(once.raster, once.mesh)[again]
        chances[again], likenesses[again] = _by_all_views(
            once.pixels[again], fine, page, manifest()["calibration"]
        )
    return Seen(chances, likenesses)


def _by_all_views(
    pixels: Pixels, fine: Pixels, page: Features, calibration: dict[str, Any]
) -> tuple[Chances, Features]:
    """Chances (N, 10) and features (N, F) of N cells of which there are patches of both kinds.

    ``page``: what the closer look is told, as :func:`papernudge.digits_model.scores.context`.
    """
    import numpy as np

    from papernudge.digits_model.one_size import one_size
    from papernudge.digits_model.scores import VIEWS, closer_look, first_look, viewed
    from papernudge.digits_model.tensors import DIGITS

    def mean(views: list[Pixels], logits: Any) -> Chances:
        rows = np.asarray(logits, np.float64).reshape(len(views), len(pixels), -1)
        return np.asarray(rows.mean(axis=0) / calibration["digits"]["temperature"])

    lying = [pixels, *(viewed(pixels, view) for view in VIEWS + TURNED)]
    sized = [one_size(pixels, height, turn, fine) for height, turn in SIZED]
    dark = [_darkened(pixels)]
    first, of_first = (first_look(np.concatenate(views)) for views in (lying, sized))
    closer = closer_look(np.concatenate([*lying, *sized, *dark]), page)[:, DIGITS]
    parts = np.split(closer, np.cumsum([len(pixels) * len(v) for v in (lying, sized)]))
    said = [mean(v, logits) for v, logits in zip((lying, sized, dark), parts, strict=True)]
    many = len(lying)
    by_first = mean(sized, of_first[0][:, DIGITS])
    digits = ((many * said[0] + said[2]) / (many + 1) + said[1] + by_first) / 3
    nothing = (_odds(said[0]) + _odds(mean(lying, first[0][:, DIGITS]))) / 2
    floor = float(calibration["digits"]["floor"])
    chances = (1 - floor) * _together(nothing, digits[:, 1:] / _STEADIER) + floor / 10
    return chances, of_first[1].reshape(len(sized), len(pixels), -1).mean(axis=0)


def _odds(logits: Chances) -> Chances:
    """Log-odds (N,) that nothing stands there, from logits (N, 10)."""
    import numpy as np

    return np.asarray(logits[:, 0] - np.logaddexp.reduce(logits[:, 1:], axis=1))


def _together(nothing: Chances, digits: Chances) -> Chances:
    """Chances (N, 10) from log-odds (N,) that nothing stands there and logits (N, 9) of what."""
    import numpy as np

    blank = 1 / (1 + np.exp(-nothing))
    share = np.exp(digits - np.logaddexp.reduce(digits, axis=1)[:, None])
    return np.concatenate([blank[:, None], (1 - blank)[:, None] * share], axis=1)


def _darkened(pixels: Pixels) -> Pixels:
    """Faint pencil made as dark as a pen; what is dark already stays as it is."""
    import numpy as np

    from papernudge.digits_model.tensors import PAPER

    inside = pixels[:, 9:-9, 9:-9].min(axis=3).reshape(len(pixels), -1)
    depth = PAPER - np.percentile(inside, 2, axis=1)
    factor = np.clip(_DARK / np.maximum(depth, 20), 1.0, _MOST)[:, None, None, None]
    dark = np.clip(PAPER - (PAPER - pixels.astype(np.float32)) * factor, 0, 255)
    return np.asarray(dark, np.uint8)


def _fine(raster: Pixels, mesh: Mesh) -> Pixels:
    """All cells at twice the scale of patches: uint8 (81, 96, 96, 3)."""
    import numpy as np

    from papernudge.vision.patches import CELL, FINE, MARGIN, SIDE, even_light, flat_sheet

    scale = FINE // CELL
    side = scale * SIDE
    sheet = even_light(flat_sheet(raster, mesh, FINE, scale * MARGIN), FINE)
    windows = np.lib.stride_tricks.sliding_window_view(sheet, (side, side), axis=(0, 1))
    cells = windows[::FINE, ::FINE].transpose(0, 1, 3, 4, 2)
    return np.ascontiguousarray(cells.reshape(-1, side, side, 3))
