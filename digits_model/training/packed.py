"""Reads the file that ``pack.py`` writes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch

from papernudge.digits_model.training.pool import Cells
from papernudge.digits_model.training.real import folds
from papernudge.vision.patches import CELL, SIDE


def windows(sheet: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """The 81 patches uint8 (81, SIDE, SIDE, 3) of a flattened sheet uint8 (S, S, 3)."""
    all_of_them = np.lib.stride_tricks.sliding_window_view(sheet, (SIDE, SIDE), axis=(0, 1))
    cells = all_of_them[::CELL, ::CELL].transpose(0, 1, 3, 4, 2)
    return np.ascontiguousarray(cells.reshape(81, SIDE, SIDE, 3))


class Inputs:
    """Real photos' cells and scanned digits."""

    def __init__(self, path: Path) -> None:
        stored = np.load(path)
        self.names: npt.NDArray[np.str_] = stored["names"]
        self.puzzles: npt.NDArray[np.str_] = stored["puzzles"]
        self._bytes = np.split(stored["sheet_bytes"], stored["sheet_ends"][:-1])
        self._labels = stored["labels"]
        self._scans = stored["scans"], stored["scan_digits"]

    def folds(self, count: int) -> npt.NDArray[np.int64]:
        """Fold of every photo, puzzles never parted."""
        return folds(self.puzzles, count)

    def cells(self, photo: int) -> Cells:
        """The patches and labels of one photo."""
        import cv2

        sheet = np.asarray(cv2.imdecode(self._bytes[photo], cv2.IMREAD_COLOR), np.uint8)
        return windows(sheet), self._labels[photo]

    def scans(
        self, device: torch.device, held_out: bool = False
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Scanned digits: uint8 (N, 28, 28), 0–15, ink bright, and int64 (N,) digits 1–9.

        One in ten is kept out of training and returned when ``held_out``.
        """
        kept_out = np.arange(len(self._scans[1])) % 10 == 9
        images, digits = (part[kept_out == held_out] for part in self._scans)
        return (
            torch.from_numpy(images).to(device),
            torch.from_numpy(digits.astype(np.int64)).to(device),
        )
