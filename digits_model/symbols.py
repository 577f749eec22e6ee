"""Reads cells of boards that hold more than nine digits: numbers of two figures and letters.

A network of its own, so that those of the newspaper's grid stay as they are. It takes the same
patches as :mod:`papernudge.digits_model.scores`.
"""

from __future__ import annotations

import functools
import hashlib
import json
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import session_of

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

    def digits(self, side: int, printed: str = "") -> Floats:
        """Log-probabilities of blank and the digits of a board: float64 (N, side + 1).

        ``side``: how many digits it has, at most 16. ``printed``: ``"figures"`` or ``"letters"``
        where it is known how 10 and more stand there; else either counts. Probabilities of what
        the board can't hold are shared out among the rest.
        """
        if not 1 <= side <= 16:
            raise ValueError(f"expected a board of at most 16 digits, got {side}")
        held = self.signs[:, : FIGURES.start]
        if side < 10:
            return _of_one(held[:, : side + 1])
        figures, letters = self.signs[:, FIGURES], self.signs[:, LETTERS]
        beyond = {
            "figures": figures,
            "letters": letters,
        }.get(printed, np.logaddexp(figures, letters))
        return _of_one(np.concatenate([held, beyond[:, : side - 9]], axis=1))

    def letters(self) -> Floats:
        """Log-odds float64 (N,) that a cell holds a letter and no number of two figures."""
        parts = [np.logaddexp.reduce(self.signs[:, part], axis=1) for part in (LETTERS, FIGURES)]
        return np.asarray(parts[0] - parts[1])


def _of_one(logs: Floats) -> Floats:
    return np.asarray(logs - np.logaddexp.reduce(logs, axis=1, keepdims=True))


@functools.cache
def manifest() -> dict[str, Any]:
    """The manifest of symbols.onnx: hash, input, classes, data, training, figures, calibration."""
    text = resources.files(__package__).joinpath("symbols.json").read_text("utf-8")
    return dict(json.loads(text))


@functools.cache
def shipped() -> Any:
    """The onnxruntime session of the network that ships."""
    data = resources.files(__package__).joinpath("symbols.onnx").read_bytes()
    if hashlib.sha256(data).hexdigest() != manifest()["sha256"]:
        raise RuntimeError(
            "symbols.onnx is not the file its manifest describes; install papernudge again"
        )
    return session_of(data)


def logits(patches: npt.NDArray[np.uint8], session: Any = None) -> Floats:
    """Uncalibrated logits float64 (N, OUTPUTS) of patches uint8 (N, SIDE, SIDE, 3)."""
    if not len(patches):
        return np.zeros((0, OUTPUTS))
    planes = np.ascontiguousarray(patches.transpose(0, 3, 1, 2)).astype(np.float32)
    found = (session or shipped()).run(None, {"patches": planes})[0]
    return np.asarray(found, np.float64)


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
