"""Cells in device memory, refilled while training runs."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt
import torch

from papernudge.digits_model.training.labels import LABELS
from papernudge.vision.patches import SIDE

Cells = tuple[npt.NDArray[np.uint8], npt.NDArray[np.int8]]
"""Patches uint8 (n, 48, 48, 3) and label rows int8 (n, LABELS)."""


Drawn = TypeVar("Drawn")
PAGE = 81
"""Cells of a page's one grid: what was drawn or photographed together stays together."""


class Ring:
    """The last ``room`` cells that were put in, page by page; batches are drawn from all pages.

    ``drawn``: how many pages were put in, those written over included.
    """

    def __init__(self, room: int, device: torch.device) -> None:
        room -= room % PAGE
        self.pixels = torch.empty((room, SIDE, SIDE, 3), dtype=torch.uint8, device=device)
        self.labels = torch.empty((room, LABELS), dtype=torch.int8, device=device)
        self.filled = self.put_in = self.drawn = 0
        self._pages = torch.zeros((), device=device)  # a recorded step reads it anew each time

    def put(self, cells: Cells) -> None:
        """Put whole pages' cells in, over the oldest where the ring is full."""
        room, count = len(self.pixels), len(cells[0])
        start = self.put_in % room
        if start + count > room:
            start = 0
        self.pixels[start : start + count].copy_(torch.from_numpy(cells[0]))
        self.labels[start : start + count].copy_(torch.from_numpy(cells[1]))
        self.put_in = start + count
        self.drawn += count // PAGE
        self.filled = max(self.filled, start + count)
        self._pages.fill_(self.filled // PAGE)

    def pages(self, count: int) -> tuple[torch.Tensor, torch.Tensor]:
        """Random pages: float (count, PAGE, 3, SIDE, SIDE), 0–255, and int64 labels."""
        chance = torch.rand((count, 1), dtype=torch.float64, device=self.pixels.device)
        first = (chance * self._pages).long() * PAGE
        at = (first + torch.arange(PAGE, device=self.pixels.device)).flatten()
        patches = as_float(self.pixels[at]).reshape(count, PAGE, 3, SIDE, SIDE)
        return patches, self.labels[at].long().reshape(count, PAGE, LABELS)


def as_float(pixels: torch.Tensor) -> torch.Tensor:
    """uint8 (n, S, S, 3) to float (n, 3, S, S)."""
    return pixels.permute(0, 3, 1, 2).float()


class Drawing(Generic[Drawn]):
    """Pages drawn by other processes; :meth:`ready` yields what has come in, never waiting."""

    def __init__(self, draw: Callable[[int], Drawn], seeds: Iterable[int], workers: int) -> None:
        self._pool = multiprocessing.get_context("spawn").Pool(workers)
        self._draw = draw
        self._seeds: Iterator[int] = iter(seeds)
        self._waiting: list[Any] = [self._ask() for _ in range(3 * workers)]

    def _ask(self) -> Any:
        return self._pool.apply_async(self._draw, (next(self._seeds),))

    def ready(self, at_most: int = 64) -> Iterator[Drawn]:
        """What has been drawn since the last call."""
        for _ in range(at_most):
            if not self._waiting[0].ready():
                return
            yield self._next()

    def wait(self) -> Drawn:
        """The next page, waiting for it."""
        return self._next()

    def _next(self) -> Drawn:
        made: Drawn = self._waiting.pop(0).get()
        self._waiting.append(self._ask())
        return made

    def stop(self) -> None:
        """End the drawing processes."""
        self._pool.terminate()
        self._pool.join()


__all__ = ["PAGE", "Cells", "Drawing", "Ring", "as_float"]
