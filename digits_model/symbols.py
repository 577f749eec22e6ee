"""Reads cells of boards that hold more than nine digits: numbers of two figures and letters.

A network of its own, so that those of the newspaper's grid stay as they are. It takes the same
patches as :mod:`papernudge.digits_model.scores`.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.files import manifest_of, network_of, session_of
from papernudge.digits_model.one_size import ink_box
from papernudge.digits_model.scores import VIEWS, viewed

Floats = npt.NDArray[np.float64]

FIGURES = slice(10, 17)
"""Classes of 10 to 16 as numbers of two figures."""
LETTERS = slice(17, 24)
"""Classes of A to G, which stand for 10 to 16."""
NAMES = ("blank", *map(str, range(1, 17)), *"ABCDEFG")
"""What each class is, in order; blank means no big sign, notes or not."""
OUTPUTS = len(NAMES) + 1
"""The classes' logits, and the logit that the mark is handwritten."""


@dataclass(frozen=True, eq=False)
class Symbols:
    """What stands in N cells, each cell by itself, calibrated.

    ``signs``: float64 (N, 24), log-probabilities in the order of NAMES. ``hand``: float64 (N,),
    log-odds that the mark is handwritten; says nothing of blank cells.
    """

    signs: Floats
    hand: Floats


def _of_one(logs: Floats) -> Floats:
    return np.asarray(logs - np.logaddexp.reduce(logs, axis=1, keepdims=True))


@functools.cache
def manifest() -> dict[str, Any]:
    """The manifest of symbols.onnx: hash, input, classes, data, training, figures, calibration."""
    return manifest_of(__package__, "symbols")


@functools.cache
def shipped() -> Any:
    """The onnxruntime session of the network that ships."""
    return session_of(network_of(__package__, "symbols", manifest()))


def logits(patches: npt.NDArray[np.uint8], session: Any = None) -> Floats:
    """Uncalibrated logits float64 (N, OUTPUTS) of patches uint8 (N, SIDE, SIDE, 3)."""
    if not len(patches):
        return np.zeros((0, OUTPUTS))
    planes = np.ascontiguousarray(patches.transpose(0, 3, 1, 2)).astype(np.float32)
    found = (session or shipped()).run(None, {"patches": planes})[0]
    return np.asarray(found, np.float64)


SHIFTS = (*VIEWS, (0, 0, 1.3, 0), (0, 0, 0.9, 0))
"""Further looks at an unsure cell, as VIEWS are."""
STRETCHES = ((1.0, 1.0), (1.3, 1.0), (1.3, 1.3))
"""Still further ones, with what stands there in the middle, wider and higher by these factors: the
figures of a number are narrower than any that stand alone."""
_WIDEST = 30.0
"""Pixels that nothing is stretched beyond, so that it stays within its cell."""


def many_views(patches: npt.NDArray[np.uint8]) -> Floats:
    """As :func:`logits`, the mean of many views of each cell."""
    if not len(patches):
        return logits(patches)
    views = [patches]
    views += [viewed(patches, view) for view in SHIFTS]
    views += [_stretched(patches, *by) for by in STRETCHES]
    return np.asarray(np.mean([logits(one) for one in views], axis=0))


def _stretched(patches: npt.NDArray[np.uint8], wider: float, higher: float) -> Any:
    """Patches with what stands in them in the middle and larger; as they are where nothing does."""
    import cv2

    out, middle = patches.copy(), (patches.shape[1] - 1) / 2
    for at, cell in enumerate(patches):
        box = ink_box(cell)
        if box is None:
            continue
        left, top, right, bottom = box
        wide = max(1.0, min(wider, _WIDEST / (right - left)))
        across, down = (left + right - 1) / 2, (top + bottom - 1) / 2
        move = np.array([[wide, 0, middle - wide * across], [0, higher, middle - higher * down]])
        out[at] = cv2.warpAffine(cell, move, cell.shape[:2], borderMode=cv2.BORDER_REPLICATE)
    return out


def normed(found: Floats) -> Floats:
    """Log-probabilities of the signs, float64 (N, 24), from logits (N, OUTPUTS), uncalibrated."""
    return _of_one(found[:, : len(NAMES)])


def calibrated(found: Floats, calibration: dict[str, float]) -> Symbols:
    """Logits as chances, with the temperatures of ``signs`` and ``hand``."""
    signs = _of_one(found[:, : len(NAMES)] / calibration["signs"])
    return Symbols(signs, found[:, len(NAMES)] / calibration["hand"])


def read(patches: npt.NDArray[np.uint8]) -> Symbols:
    """What stands in N cells.

    ``patches``: uint8 (N, SIDE, SIDE, 3), blue, green, red, as ``papernudge.vision.patches`` cuts
    them, upright.
    """
    return calibrated(logits(patches), manifest()["calibration"])
