"""The network for small notes: it looks for digits in every cell, then asks the page who writes."""

from __future__ import annotations

from typing import cast

import torch
from torch import nn
from torch.nn import functional as nnf

from papernudge.digits_model.training.network import SCALE, Asking, Residual, block
from papernudge.vision.patches import FINE_SIDE

PLACES = FINE_SIDE // 4
"""Side of the raster of places in a cell at each of which a digit may be centred."""
SHOWN = 11
"""What a place may show: nothing, the digits 1 to 9, or a note that is struck out."""
WIDTH = 64
"""Numbers by which what was seen is compared."""
_CHANNELS = 48
_COARSE = PLACES // 2


class NotesNet(nn.Module):
    """Fine patches of a page's cells to the small notes they hold.

    Input: float32 (B, M, 1, 80, 80), M cells of each of B pages, grey, 0–255, as cut by
    ``papernudge.vision.patches.cut_fine``. Output: log-odds (B, M, 9) that a note of each digit
    stands there, and ``shown``, logits (B·M, SHOWN, PLACES, PLACES) of what is centred at each
    place. A struck-out note counts as none.

    A digit is noted unless no place shows it (noisy-or over places: P. Viola, J. Platt and
    C. Zhang, "Multiple instance boosting for object detection", NIPS 2005), corrected by what
    nine askers, one a digit, learn from the cell's places, from each other and from the askers
    of the page's other cells: in which order and at which places this hand notes, and what its
    digits look like when small. No cell's position on the page is told, so no rule of the puzzle
    can be learnt.
    """

    def __init__(self) -> None:
        super().__init__()
        c = _CHANNELS
        self.start = nn.Sequential(block(1, 16, 2), block(16, 32, 2))
        self.look = nn.Sequential(block(32, c, 1), Residual(c), block(c, c, 1, wide=2))
        last = nn.Conv2d(c, SHOWN, 1)
        self.shown = nn.Sequential(nn.Conv2d(c, c, 1), nn.ReLU(), last)
        self.place = nn.Parameter(torch.randn(_COARSE**2, WIDTH) * 0.02)
        self.seen = nn.Linear(c + SHOWN, WIDTH)
        self.askers = nn.Parameter(torch.randn(9, WIDTH) * 0.2)
        self.habit = nn.Sequential(
            nn.Linear(9 * _COARSE**2, WIDTH), nn.ReLU(), nn.Linear(WIDTH, WIDTH)
        )
        self.rounds = nn.ModuleList(
            nn.ModuleList(Asking(WIDTH) for _ in range(3)) for _ in range(2)
        )
        self.answer = nn.Linear(WIDTH, 1)
        if last.bias is not None:  # nearly every place shows nothing
            nn.init.zeros_(last.bias)
            last.bias.data[0] = 7.0

    def forward(
        self, patches: torch.Tensor, left_out: torch.Tensor | None = None
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Run the network; shapes as in the class's docstring.

        ``left_out``: bool (B, M), cells that the others are not told of.
        """
        pages, cells = patches.shape[0], patches.shape[1]
        seen = self.look(self.start((224.0 - patches.flatten(0, 1)) * SCALE))
        shown = self.shown(seen)
        chances = shown.float().softmax(1)
        coarse = nnf.max_pool2d(chances, 2)
        tokens = torch.cat([nnf.avg_pool2d(seen, 2), coarse.to(seen.dtype)], 1)
        tokens = self.seen(tokens.flatten(2).transpose(1, 2)) + self.place
        askers = self.askers + self._habits(coarse[:, 1:10], pages, cells, left_out)
        hidden = None if left_out is None else left_out.repeat_interleave(9, 1)
        for asking in self.rounds:
            places, others, page = cast(nn.ModuleList, asking)
            askers = places(askers, tokens, None)
            askers = others(askers, askers, None)
            told = askers.reshape(pages, cells * 9, WIDTH)
            askers = page(told, told, hidden).reshape(pages * cells, 9, WIDTH)
        logits = self.answer(askers)[..., 0].float() + _any(chances)
        return logits.reshape(pages, cells, 9), shown

    def _habits(
        self, coarse: torch.Tensor, pages: int, cells: int, left_out: torch.Tensor | None
    ) -> torch.Tensor:
        """Where on average each digit is noted on each page, (B·M, 1, WIDTH)."""
        at = coarse.reshape(pages, cells, 9 * _COARSE**2)
        if left_out is None:
            mean = at.mean(1)
        else:
            kept = (~left_out).to(at.dtype)[:, :, None]
            mean = (at * kept).sum(1) / kept.sum(1).clamp(min=1)
        habit: torch.Tensor = self.habit(10 * mean)
        return habit[:, None].expand(pages, cells, WIDTH).reshape(pages * cells, 1, WIDTH)


def _any(chances: torch.Tensor) -> torch.Tensor:
    """Log-odds that at least one place shows each digit: (N, SHOWN, P, P) to (N, 9)."""
    none = -torch.log1p(-chances[:, 1:10].clamp(max=1 - 1e-4)).sum((2, 3))
    none = none.clamp(1e-4, 20.0)  # keeps the logarithm finite
    return none + torch.log1p(-torch.exp(-none))
