"""Runs the classifier: patches in, calibrated scores out."""

from __future__ import annotations

import functools
import hashlib
import json
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model import layout

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scores:
    """What the classifier says of N cells, each cell by itself.

    ``digits``: float64 (N, 10), log-probabilities, index 0 blank, each row sums to 1 in
    probability. ``hand``: float64 (N,), log-odds that the mark is handwritten. ``notes``: float64
    (N, 9), log-odds of each small note. ``struck``: float64 (N,), log-odds that something is
    struck out. ``turned``: float64 (N, 4), log-probabilities that 0 to 3 clockwise quarter turns
    bring the patch upright. ``features``: float32 (N, 128), for likeness within one page.
    """

    digits: Floats
    hand: Floats
    notes: Floats
    struck: Floats
    turned: Floats
    features: npt.NDArray[np.float32]

    def part(self, start: int, stop: int) -> Scores:
        """The scores of patches ``start`` to ``stop``."""
        return Scores(
            self.digits[start:stop],
            self.hand[start:stop],
            self.notes[start:stop],
            self.struck[start:stop],
            self.turned[start:stop],
            self.features[start:stop],
        )


@functools.cache
def manifest() -> dict[str, Any]:
    """The model's manifest: hash, geometry, class order, data and licences, accuracy."""
    text = resources.files(__package__).joinpath("manifest.json").read_text("utf-8")
    return dict(json.loads(text))


def model_bytes(name: str = "model") -> bytes:
    """The ONNX file of the classifier, or of the ``notes``, checked against the manifest's hash.

    Raises RuntimeError where the file is not the one that the manifest describes: calibration
    of another model would make every chance a lie.
    """
    data = resources.files(__package__).joinpath(f"{name}.onnx").read_bytes()
    told = manifest() if name == "model" else manifest()[name]
    if hashlib.sha256(data).hexdigest() != told["sha256"]:
        raise RuntimeError(
            f"{name}.onnx is not the file its manifest describes; install papernudge again"
        )
    return data


def session_of(model: bytes) -> Any:
    """An onnxruntime session over an ONNX file's bytes, on one core."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    # One page is a few milliseconds of work: more threads cost more than they give.
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


@functools.cache
def _session(name: str = "model") -> Any:
    return session_of(model_bytes(name))


def _log_softmax(logits: Floats) -> Floats:
    shifted = logits - logits.max(axis=1, keepdims=True)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)))


def raw_outputs(
    pixels: npt.NDArray[np.uint8], session: Any = None
) -> tuple[Floats, npt.NDArray[np.float32]]:
    """Uncalibrated logits float64 (N, 25) and features float32 (N, 128).

    ``pixels``: uint8 (N, 48, 48, 3) as in ``papernudge.vision.patches.Patches``. ``session``:
    another model's, for experiments. Runs in pieces of 81 so that the activations of a piece
    stay in the processor's cache.
    """
    session = session or _session()
    logits, features = [], []
    for start in range(0, len(pixels), 81):
        piece = np.ascontiguousarray(pixels[start : start + 81].transpose(0, 3, 1, 2))
        out = session.run(None, {"patches": piece.astype(np.float32)})
        logits.append(out[0])
        features.append(out[1])
    if not logits:
        return np.zeros((0, layout.OUTPUTS)), np.zeros((0, layout.FEATURES), np.float32)
    return np.concatenate(logits).astype(np.float64), np.concatenate(features)


VIEWS = ((-2, 0, 1.0, 0), (2, 0, 1.0, 0), (0, -2, 1.0, 0), (0, 2, 1.0, 0), (0, 0, 1.15, 0))
"""Further looks at an unsure cell: moved right and down by pixels, enlarged, turned by degrees."""
UNSURE = 0.995
"""A cell whose likeliest digit has a smaller chance than this is looked at again."""
UNSURE_HAND = 4.0
"""So is one whose hand has log-odds nearer to even than this."""


def viewed(
    pixels: npt.NDArray[np.uint8], view: tuple[float, float, float, float]
) -> npt.NDArray[np.uint8]:
    """Patches, uint8 (N, S, S, 3), as ``view`` sees them: the numbers are those of VIEWS."""
    import cv2

    right, down, scale, turn = view
    middle = (pixels.shape[2] - 1) / 2
    move = cv2.getRotationMatrix2D((middle, middle), turn, scale)
    move[:, 2] += np.array([right, down])
    size = (pixels.shape[2], pixels.shape[1])
    out: Any = [cv2.warpAffine(p, move, size, borderMode=cv2.BORDER_REPLICATE) for p in pixels]
    return np.stack(out)


def outputs(
    pixels: npt.NDArray[np.uint8], session: Any = None
) -> tuple[Floats, npt.NDArray[np.float32]]:
    """Like :func:`raw_outputs`, but unsure cells are looked at again.

    Their logits are the mean over slightly moved and enlarged views (averaging over views: A.
    Krizhevsky, I. Sutskever and G. Hinton, NeurIPS 2012). On photos whose puzzles the model had
    not seen this mended a quarter of the unsure cells' errors, at two or three cells a photo.
    """
    logits, features = raw_outputs(pixels, session)
    if not len(logits):
        return logits, features
    digits = _log_softmax(logits[:, layout.DIGITS])
    marked = digits[:, 0] < np.log(0.5)
    again = digits.max(axis=1) < np.log(UNSURE)
    again |= marked & (np.abs(logits[:, layout.HAND]) < UNSURE_HAND)
    unsure = np.flatnonzero(again)
    if len(unsure):
        views = np.concatenate([viewed(pixels[unsure], view) for view in VIEWS])
        more = raw_outputs(views, session)[0].reshape(len(VIEWS), len(unsure), -1)
        logits[unsure] = (logits[unsure] + more.sum(axis=0)) / (1 + len(VIEWS))
    return logits, features


def worth_a_finer_look(scores: Scores) -> npt.NDArray[np.int64]:
    """Numbers of the cells that may hold small notes: what :func:`note_scores` is asked about.

    Cells that hold a big digit beyond doubt are left out, and those in which no note has a
    hundredth of a chance.
    """
    maybe = (scores.notes > np.log(1 / 99)).any(axis=1) & (scores.digits[:, 0] > np.log(1e-3))
    return np.flatnonzero(maybe)


def note_scores(fine: npt.NDArray[np.uint8]) -> Floats:
    """Log-odds of each small note, float64 (N, 9), from fine patches, uint8 (N, 80, 80).

    The patches are those of ``papernudge.vision.patches.cut_fine``.
    """
    if not len(fine):
        return np.zeros((0, 9))
    logits = _session("notes").run(None, {"patches": fine[:, None].astype(np.float32)})[0]
    return np.asarray(logits, np.float64) / float(manifest()["notes"]["temperature"])


def calibrated(
    logits: Floats, features: npt.NDArray[np.float32], calibration: dict[str, Any]
) -> Scores:
    """Logits to chances that mean what they say, by the manifest's ``calibration``.

    Temperature scaling (Guo et al., "On calibration of modern neural networks", ICML 2017), one
    temperature per head, and a floor: with probability ``floor`` the model's answer
    is taken to be no evidence at all (a smudge, a mesh a cell off), so that no single cell can
    claim more certainty than the calibration data supports.
    """
    digits = _log_softmax(logits[:, layout.DIGITS] / calibration["digits"]["temperature"])
    floor = float(calibration["digits"]["floor"])
    digits = np.log((1 - floor) * np.exp(digits) + floor / 10)
    return Scores(
        digits,
        logits[:, layout.HAND] / calibration["hand"]["temperature"],
        logits[:, layout.NOTES] / calibration["notes"]["temperature"],
        logits[:, layout.STRUCK] / calibration["struck"]["temperature"],
        _log_softmax(logits[:, layout.TURNED]),
        features,
    )


def score(pixels: npt.NDArray[np.uint8]) -> Scores:
    """Calibrated scores of N patches, uint8 (N, 48, 48, 3)."""
    logits, features = outputs(pixels)
    return calibrated(logits, features, manifest()["calibration"])
