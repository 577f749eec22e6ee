"""Figures from logits: rates with intervals, temperature, reliability."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.digits_model import tensors
from papernudge.digits_model.training import labels
from papernudge.digits_model.training.intervals import two_sided

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.int8]


@dataclass(frozen=True)
class Rate:
    """How many of how many were right."""

    right: int
    of: int

    def interval(self) -> tuple[float, float]:
        """Exact 95 % interval."""
        return two_sided(self.right, self.of)

    def __str__(self) -> str:
        if not self.of:
            return "none"
        low, high = self.interval()
        rate = 100 * self.right / self.of
        return f"{rate:.3f} % of {self.of} (95 %: {100 * low:.3f}–{100 * high:.3f})"

    def as_json(self) -> dict[str, object]:
        """Right, of, and the interval."""
        return {
            "right": self.right,
            "of": self.of,
            "interval95": [round(v, 6) for v in self.interval()],
        }


def _rate(right: npt.NDArray[np.bool_]) -> Rate:
    return Rate(int(right.sum()), len(right))


def rates(logits: Floats, truth: Labels) -> dict[str, Rate]:
    """The rates that the manifest reports, each cell by itself.

    ``logits``: (N, OUTPUTS); ``truth``: (N, LABELS).
    """
    digit, hand = truth[:, labels.DIGIT], truth[:, labels.HAND]
    read = logits[:, tensors.DIGITS].argmax(axis=1)
    right = read == digit
    hand_right = np.asarray(np.equal(logits[:, tensors.HAND] > 0, hand == 1), np.bool_)
    noted = (truth[:, labels.NOTES] == 1).any(axis=1) & (digit == 0)
    blank = (digit == 0) & ~noted
    notes = (logits[:, tensors.NOTES] > 0) == (truth[:, labels.NOTES] == 1)
    known = truth[:, labels.STRUCK] != labels.UNKNOWN
    struck = truth[:, labels.STRUCK] == 1
    struck_right = (logits[:, tensors.STRUCK] > 0) == struck
    return {
        "digits, given": _rate(right[(digit > 0) & (hand == 0)]),
        "digits, entry": _rate(right[(digit > 0) & (hand == 1)]),
        "digits, all": _rate(right[digit > 0]),
        "blank or marked": _rate(((read == 0) == (digit == 0))[~noted]),
        "no big digit, notes": _rate((read == 0)[noted]),
        "blank": _rate((read == 0)[blank]),
        "given or entry": _rate(hand_right[hand != labels.UNKNOWN]),
        "notes exactly": _rate(notes.all(axis=1)[noted]),
        "no notes seen": _rate(~np.asarray((logits[:, tensors.NOTES] > 0).any(axis=1))[blank]),
        "struck known": _rate(struck_right[struck & known]),
        "not struck known": _rate(struck_right[~struck & known]),
        "all cells": _rate(right),
    }


def log_chances(logits: Floats, temperature: float, floor: float = 0.0) -> Floats:
    """Log-probabilities of the ten digits, float64 (N, 10)."""
    z = logits[:, tensors.DIGITS] / temperature
    z = z - z.max(axis=1, keepdims=True)
    p = np.exp(z)
    p /= p.sum(axis=1, keepdims=True)
    return np.asarray(np.log((1 - floor) * p + floor / 10 + 1e-300))


def fit_digits(logits: Floats, truth: Labels) -> dict[str, float]:
    """Temperature and floor with the least log-loss, by a plain search."""
    digit = truth[:, labels.DIGIT].astype(int)
    at = np.arange(len(digit))
    best = min(
        (float(-log_chances(logits, t, f)[at, digit].mean()), t, f)
        for t in np.exp(np.linspace(math.log(0.4), math.log(4), 47))
        for f in (1e-6, 3e-6, 1e-5, 3e-5, 1e-4, 3e-4, 1e-3)
    )
    return {
        "temperature": round(float(best[1]), 4),
        "floor": best[2],
        "log_loss": round(best[0], 7),
    }


def fit_binary(logits: Floats, truth: npt.NDArray[np.bool_]) -> dict[str, float]:
    """Temperature of a yes-or-no head with the least log-loss."""
    sign = np.where(truth, 1.0, -1.0)
    best = min(
        (float(np.logaddexp(0, -sign * logits / t).mean()), t)
        for t in np.exp(np.linspace(math.log(0.4), math.log(5), 60))
    )
    return {"temperature": round(float(best[1]), 4), "log_loss": round(best[0], 7)}


def reliability(chance: Floats, right: npt.NDArray[np.bool_]) -> list[dict[str, object]]:
    """Rate observed in each tenth of the chances below 0.99, and above, with 95 % intervals."""
    order = np.argsort(chance, kind="stable")
    unsure = order[chance[order] < 0.99]
    bins = (
        [*np.array_split(unsure, 10), order[chance[order] >= 0.99]]
        if len(unsure) >= 10
        else [
            unsure,
            order[chance[order] >= 0.99],
        ]
    )
    rows: list[dict[str, object]] = []
    for cells in bins:
        if not len(cells):
            continue
        rate = _rate(right[cells])
        low, high = rate.interval()
        mean = float(chance[cells].mean())
        rows.append(
            {
                "from": round(float(chance[cells].min()), 5),
                "to": round(float(chance[cells].max()), 5),
                "mean": round(mean, 5),
                "right": rate.right,
                "of": rate.of,
                "interval95": [round(low, 5), round(high, 5)],
                "inside": bool(low <= mean <= high),
            }
        )
    return rows
