"""Runs the classifier: patches in, calibrated scores out.

A small network looks at every cell by itself. Cells of which it is unsure are looked at again by a
larger one, which is also told what the first made of all cells of the page: which typeface and
which hand are at work there.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model import tensors
from papernudge.digits_model.files import manifest_of, network_of, session_of
from papernudge.digits_model.one_size import one_size

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scores:
    """What the classifier says of N cells, each cell by itself.

    ``digits``: float64 (N, 10), log-probabilities, index 0 blank, each row sums to 1 in
    probability. ``hand``: float64 (N,), log-odds that the mark is handwritten. ``notes``: float64
    (N, 9), log-odds of each small note. ``struck``: float64 (N,), log-odds that something is
    struck out. ``turned``: float64 (N, 4), log-probabilities that 0 to 3 clockwise quarter turns
    bring the patch upright, where all are alike beforehand. ``features``: float32 (N, 128), for
    likeness within one page. ``closer``: looks closer at cells that turn out to matter.
    """

    digits: Floats
    hand: Floats
    notes: Floats
    struck: Floats
    turned: Floats
    features: npt.NDArray[np.float32]
    closer: Closer | Kept | Asked | None = None

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
    return manifest_of(__package__, "manifest")


@functools.cache
def reader() -> str:
    """Which reader is at work here: the version, and the beginning of the digit model's hash."""
    from importlib import metadata

    try:
        version = metadata.version("papernudge")
    except metadata.PackageNotFoundError:  # run from a bare tree
        version = "unknown"
    return f"{version} {str(manifest()['sha256'])[:16]}"


def model_bytes(name: str = "model") -> bytes:
    """The ONNX file of the first look (``model``), of the ``closer`` one or of the ``notes``.

    Raises RuntimeError where the file is not the one that the manifest describes.
    """
    return network_of(__package__, name, manifest() if name == "model" else manifest()[name])


@functools.cache
def _session(name: str = "model") -> Any:
    return session_of(model_bytes(name))


def _log_softmax(logits: Floats) -> Floats:
    shifted = logits - logits.max(axis=1, keepdims=True)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)))


@dataclass(frozen=True, eq=False)
class Looks:
    """The onnxruntime sessions of the first and the closer look: :func:`shipped` or others."""

    first: Any
    closer: Any

    @classmethod
    def held(cls, folder: Path, first: str, closer: str) -> Looks:
        """Those of ``first``.onnx and ``closer``.onnx in ``folder``."""
        return cls(*(session_of((folder / f"{n}.onnx").read_bytes()) for n in (first, closer)))


@functools.cache
def shipped() -> Looks:
    """The looks that ship."""
    return Looks(_session("model"), _session("closer"))


def first_look(
    pixels: npt.NDArray[np.uint8], session: Any = None
) -> tuple[Floats, npt.NDArray[np.float32]]:
    """Uncalibrated logits float64 (N, 25) and features float32 (N, 128), each cell by itself.

    ``pixels``: uint8 (N, 48, 48, 3) as in ``papernudge.vision.patches.Patches``. ``session``:
    another model's, for experiments. Runs in pieces of 81 so that the activations of a piece
    stay in the processor's cache.
    """
    session = session or shipped().first
    logits, features = [], []
    for start in range(0, len(pixels), 81):
        piece = np.ascontiguousarray(pixels[start : start + 81].transpose(0, 3, 1, 2))
        out = session.run(None, {"patches": piece.astype(np.float32)})
        logits.append(out[0])
        features.append(out[1])
    if not logits:
        return np.zeros((0, tensors.OUTPUTS)), np.zeros((0, tensors.FEATURES), np.float32)
    return np.concatenate(logits).astype(np.float64), np.concatenate(features)


def context(logits: Floats, features: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """What the closer look is told of a page's cells by the first: float32 (N, CONTEXT).

    ``logits`` and ``features`` as from :func:`first_look`.
    """
    digits = np.exp(_log_softmax(logits[:, tensors.DIGITS]))
    hand = 1 / (1 + np.exp(-logits[:, tensors.HAND, None]))
    return np.concatenate([features, digits, hand], axis=1).astype(np.float32)


def closer_look(
    pixels: npt.NDArray[np.uint8], page: npt.NDArray[np.float32], session: Any = None
) -> Floats:
    """Uncalibrated logits float64 (N, 25) of some cells of a page; those of the turn say nothing.

    ``pixels``: uint8 (N, 48, 48, 3), the page upright; ``page``: float32 (T, CONTEXT), what
    :func:`context` says of all its cells.
    """
    if not len(pixels):
        return np.zeros((0, tensors.OUTPUTS))
    cells = np.ascontiguousarray(pixels.transpose(0, 3, 1, 2)).astype(np.float32)
    session = session or shipped().closer
    logits = session.run(None, {"patches": cells[None], "page": page[None]})[0][0]
    return np.asarray(logits, np.float64)


def unsure(logits: Floats) -> Floats:
    """How unsure a look is of each cell, 0 to 1: float64 (N, 25) to (N,).

    The chance that the digit is another, or twice the smaller chance of hand or print where
    something stands, or of struck out or not, whichever is largest.
    """
    digits = np.exp(_log_softmax(logits[:, tensors.DIGITS]))
    hand, struck = (2 / (1 + np.exp(np.abs(logits[:, k]))) for k in (tensors.HAND, tensors.STRUCK))
    hand = np.where(digits[:, 0] < 0.5, hand, 0.0)
    return np.asarray(np.maximum(np.maximum(1 - digits.max(axis=1), hand), struck))


def _inked(pixels: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
    """Which cells, (N,), hold ink, judged by the page's darkest, not by the model.

    What lies on its side is no digit that the model knows.
    """
    inner = pixels[:, _RIM:-_RIM, _RIM:-_RIM]
    inner = np.minimum(np.minimum(inner[..., 0], inner[..., 1]), inner[..., 2])
    inner = inner.reshape(len(pixels), -1)
    dark = tensors.PAPER - np.percentile(inner, 4, axis=1)
    most = np.sort(dark)[-9:].mean()
    return np.asarray(dark > max(_LEAST_DARK, 0.3 * most))


def _empty(pixels: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
    """Which cells, (N,), show nothing but grain; the networks know none without a grid's lines."""
    import cv2

    soft: Any = cv2.blur(pixels.reshape(-1, *pixels.shape[2:]), (3, 3))
    inner = soft.reshape(pixels.shape)[:, _RIM:-_RIM, _RIM:-_RIM].reshape(len(pixels), -1, 3)
    return np.asarray((np.ptp(inner, axis=1) < _GRAIN).all(axis=1))


def _turned(logits: Floats, pixels: npt.NDArray[np.uint8]) -> Floats:
    """Logits of the turn, (N, 4), as if all turns were alike beforehand; even without ink."""
    turned = logits[:, tensors.TURNED] - np.log(_TRAINED_TURNS)
    turned[~_inked(pixels)] = 0.0
    return np.asarray(turned)


def turn_votes(turned: Floats) -> Floats:
    """For each turn the sum of the cells' log-probabilities, (N, 4) to float64 (4,).

    Each vote is floored so that no single smudge decides.
    """
    return np.asarray(np.maximum(turned, np.log(1e-2)).sum(axis=0))


VIEWS = ((-2, 0, 1.0, 0), (2, 0, 1.0, 0), (0, -2, 1.0, 0), (0, 2, 1.0, 0), (0, 0, 1.15, 0))
"""Further looks at an unsure cell: moved right and down by pixels, enlarged, turned by degrees."""
HEIGHTS = (20, 24, 28)
"""Heights, pixels, that what stands in such a cell is brought to for still further looks."""
STEADIER = 0.914
"""Many views together are less often sure of what is wrong than one look: of the digits their
temperature is lower by this factor, by log-loss on drawn and real cells of unseen puzzles."""
UNSURE = 0.00005
"""A cell of which the first look is more unsure than this is looked at closer."""
UNSURE_STILL = 0.005
"""One of which the closer look is more unsure than this is looked at from several views."""
_TRAINED_TURNS = (0.8, 0.2 / 3, 0.2 / 3, 0.2 / 3)
"""How often each turn was shown in training: a bias that 40 votes together would swear by."""
_RIM, _LEAST_DARK = 11, 20.0
_GRAIN, _BEYOND_DOUBT = 8, 12.0
"""A cell whose softened grey levels differ by less holds nothing (the faintest marks of 60,000 hard
and real cells: by 21); by so much its logit for blank leads then."""


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
    pixels: npt.NDArray[np.uint8], looks: Looks | None = None
) -> tuple[Floats, npt.NDArray[np.float32]]:
    """Uncalibrated logits float64 (N, 25) and features float32 (N, 128) of one page's cells.

    Unsure cells take the logits of the closer look, and where that is unsure too what
    :func:`_many_views` make of them. A page that does not lie upright is not looked at closer.
    """
    logits, features, _ = _looked(pixels, looks or shipped())
    return logits, features


def _looked(
    pixels: npt.NDArray[np.uint8], looks: Looks
) -> tuple[Floats, npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """As :func:`outputs`, and what the first look made of the page, by :func:`context`."""
    logits, features = first_look(pixels, looks.first)
    page = context(logits, features)
    if not len(logits):
        return logits, features, page
    logits[:, tensors.TURNED] = _turned(logits, pixels)
    if turn_votes(_log_softmax(logits[:, tensors.TURNED])).argmax():
        return logits, features, page
    asked = slice(0, tensors.TURNED.start)
    again = np.flatnonzero(unsure(logits) > UNSURE)
    if len(again):
        empty = _empty(pixels[again])
        none = again[empty]
        logits[none, tensors.DIGITS.start] = (
            logits[none, tensors.DIGITS].max(axis=1) + _BEYOND_DOUBT
        )
        again = again[~empty]
    logits[again, asked] = closer_look(pixels[again], page, looks.closer)[:, asked]
    again = again[unsure(logits[again]) > UNSURE_STILL]
    if len(again):
        logits[again, asked] = _many_views(pixels[again], page, looks.closer)[:, asked]
    return logits, features, page


def worth_a_finer_look(scores: Scores) -> npt.NDArray[np.int64]:
    """Numbers of the cells that may hold small notes: what :func:`note_scores` is asked about.

    Those in which some note has a hundredth of a chance; where a big digit stands beyond doubt,
    a quarter.
    """
    open_ = scores.digits[:, 0] > np.log(1e-3)
    return np.flatnonzero(scores.notes.max(axis=1) > np.where(open_, np.log(1 / 99), -1.0))


def note_scores(fine: npt.NDArray[np.uint8]) -> Floats:
    """Log-odds of each small note, float64 (N, 9), from fine patches, uint8 (N, 80, 80).

    The patches are those of ``papernudge.vision.patches.cut_fine``, all of one page: its cells
    tell each other who writes there.
    """
    if not len(fine):
        return np.zeros((0, 9))
    logits = _session("notes").run(None, {"patches": fine[:, None].astype(np.float32)})[0]
    return np.asarray(logits, np.float64) / float(manifest()["notes"]["temperature"])


@dataclass(frozen=True, eq=False)
class Closer:
    """Looks closer at cells of one page when asked: the reading knows best which of them matter.

    ``pixels``: uint8 (N, 48, 48, 3), all patches of the page; ``page``: float32 (N, CONTEXT), see
    :func:`context`; ``calibration``: the manifest's.
    """

    pixels: npt.NDArray[np.uint8]
    page: npt.NDArray[np.float32]
    calibration: dict[str, Any]
    looks: Looks | None = None

    def digits(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Log-probabilities of blank and the digits, float64 (len(cells), 10), from all views."""
        session = (self.looks or shipped()).closer
        logits = _many_views(self.pixels[cells], self.page, session)
        return _digits(logits, self.calibration)


@dataclass(frozen=True, eq=False)
class Kept:
    """A closer look that some cells need no more: ``said``, float64 (N, 10), stands for those of
    ``which``, bool (N,).
    """

    closer: Closer
    which: npt.NDArray[np.bool_]
    said: Floats

    def digits(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Log-probabilities of blank and the digits, float64 (len(cells), 10)."""
        out, open_ = self.said[cells], ~self.which[cells]
        if open_.any():
            out[open_] = self.closer.digits(cells[open_])
        return out


@dataclass(frozen=True, eq=False)
class Asked:
    """What a closer look has said of every cell: float64 (N, 10), as :meth:`Closer.digits`."""

    said: Floats

    def digits(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Log-probabilities of blank and the digits, float64 (len(cells), 10)."""
        return np.asarray(self.said[cells])


def _many_views(
    pixels: npt.NDArray[np.uint8], page: npt.NDArray[np.float32], session: Any
) -> Floats:
    """Logits (N, 25) of the closer look by many views of each cell.

    The mean over the patches as they are and VIEWS of them (averaging over views: A. Krizhevsky,
    I. Sutskever and G. Hinton, NeurIPS 2012). Which digit a hand wrote, if any, is told half by
    them and half by looks at what is written brought to each of HEIGHTS. That drops a neighbour's
    ink and the hand's own size, and fails where two things stand in one cell: neither is heard
    alone. Print has one size all over the page and lies where it should: it is only read so.
    """
    views = [pixels, *(viewed(pixels, view) for view in VIEWS)]
    sized = [one_size(pixels, height) for height in HEIGHTS]
    seen = closer_look(np.concatenate([*views, *sized]), page, session)
    seen = seen.reshape(len(views) + len(sized), len(pixels), -1)
    lying, brought = seen[: len(views)].mean(axis=0), seen[len(views) :].mean(axis=0)
    which = slice(tensors.DIGITS.start + 1, tensors.DIGITS.stop)
    some = np.logaddexp.reduce(lying[:, which], axis=1, keepdims=True)
    share = 0.5 / (1 + np.exp(-lying[:, tensors.HAND, None]))
    both = (1 - share) * _log_softmax(lying[:, which]) + share * _log_softmax(brought[:, which])
    lying[:, which] = some + _log_softmax(both)
    lying[:, tensors.DIGITS] /= STEADIER
    return np.asarray(lying)


def _digits(logits: Floats, calibration: dict[str, Any]) -> Floats:
    digits = _log_softmax(logits[:, tensors.DIGITS] / calibration["digits"]["temperature"])
    floor = float(calibration["digits"]["floor"])
    return np.asarray(np.log((1 - floor) * np.exp(digits) + floor / 10))


def calibrated(
    logits: Floats, features: npt.NDArray[np.float32], calibration: dict[str, Any]
) -> Scores:
    """Logits to chances that mean what they say, by the manifest's ``calibration``.

    Temperature scaling (Guo et al., "On calibration of modern neural networks", ICML 2017), one
    temperature per head, and a floor: with probability ``floor`` the model's answer
    is taken to be no evidence at all (a smudge, a mesh a cell off), so that no single cell can
    claim more certainty than the calibration data supports.
    """
    return Scores(
        _digits(logits, calibration),
        logits[:, tensors.HAND] / calibration["hand"]["temperature"],
        logits[:, tensors.NOTES] / calibration["notes"]["temperature"],
        logits[:, tensors.STRUCK] / calibration["struck"]["temperature"],
        _log_softmax(logits[:, tensors.TURNED]),
        features,
    )


def score(pixels: npt.NDArray[np.uint8], looks: Looks | None = None) -> Scores:
    """Calibrated scores of the N patches of one page, uint8 (N, 48, 48, 3).

    ``looks``: other sessions than the shipped ones, for experiments.
    """
    logits, features, page = _looked(pixels, looks or shipped())
    calibration = manifest()["calibration"]
    said = calibrated(logits, features, calibration)
    return replace(said, closer=Closer(pixels, page, calibration, looks))


def looked_at(pixels: npt.NDArray[np.uint8], page: Scores) -> Scores:
    """Calibrated scores of N further pictures, uint8 (N, 48, 48, 3), of cells of a page.

    ``page``: what was said of all its cells, with a look that can be asked again.
    """
    told = page.closer
    assert isinstance(told, Closer)
    looks = told.looks or shipped()
    _, features = first_look(pixels, looks.first)
    logits = closer_look(pixels, told.page, looks.closer)
    again = np.flatnonzero(unsure(logits) > UNSURE_STILL)
    if len(again):
        logits[again] = _many_views(pixels[again], told.page, looks.closer)
    return calibrated(logits, features, told.calibration)
