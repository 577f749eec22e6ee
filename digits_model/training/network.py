"""The networks: a first look at every cell, and a second at unsure ones."""

from __future__ import annotations

import torch
from torch import nn

from papernudge.digits_model.tensors import CONTEXT, DIGITS, FEATURES, HAND, OUTPUTS

SCALE = 1 / 96
"""Brings darkness to about one; folded into the first convolution where speed counts."""
WIDTH = 64
"""Numbers by which the second look compares cells."""


def block(inputs: int, outputs: int, stride: int, wide: int = 1) -> nn.Sequential:
    """A convolution of 3×3, ``wide`` places apart, made even and cut at zero."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, wide, dilation=wide, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


def squeezed(channels: int, kept: int, outputs: int) -> nn.Sequential:
    """Planes (N, channels, 6, 6) to ``outputs`` numbers, by ``kept`` mixtures of the channels."""
    return nn.Sequential(
        nn.Conv2d(channels, kept, 1, bias=False),
        nn.BatchNorm2d(kept),
        nn.ReLU(inplace=True),
        nn.Flatten(),
        nn.Linear(kept * 6 * 6, outputs),
        nn.ReLU(inplace=True),
    )


class CellNet(nn.Module):
    """The first look: every patch by itself to logits and features.

    Input: float32 (N, 3, 48, 48), channels blue, green, red, 0–255 as cut by
    ``papernudge.vision.patches``. Output: logits (N, OUTPUTS) in the order of
    ``papernudge.digits_model.tensors`` and features (N, FEATURES), both float32.
    Kept narrow because it sees every cell: 2.0 million multiplications a patch, in channel
    counts that are multiples of 8.
    """

    def __init__(self) -> None:
        super().__init__()
        self.scale = SCALE
        self.start = nn.Sequential(block(3, 16, 2), block(16, 32, 2))
        self.end = nn.Sequential(block(32, 40, 2), block(40, 40, 1))
        self.squeeze = nn.Sequential(
            nn.Flatten(), nn.Linear(40 * 6 * 6, FEATURES), nn.ReLU(inplace=True)
        )
        self.heads = nn.Linear(FEATURES, OUTPUTS)

    def forward(self, patches: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Run the network; shapes as in the class's docstring."""
        # Darkness instead of brightness: paper becomes zero, which padding also is.
        dark = 224.0 - patches
        if self.scale != 1.0:
            dark = dark * self.scale
        features = self.squeeze(self.end(self.start(dark)))
        return self.heads(nn.functional.dropout(features, 0.2, self.training)), features


class Residual(nn.Module):
    """Two convolutions beside which the input runs on (K. He et al., CVPR 2016)."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.first = block(channels, channels, 1)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, 1, 1, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        return nn.functional.relu(seen + self.second(self.first(seen)))


class Asking(nn.Module):
    """One round of asking the page: each cell weighs all cells of its page by likeness.

    Scaled dot-product attention (A. Vaswani et al., NeurIPS 2017) without positions: what is
    printed or written alike counts, where it stands does not.
    """

    def __init__(self, width: int, heads: int = 4) -> None:
        super().__init__()
        self.heads, self.each = heads, width // heads
        self.norm, self.then = nn.LayerNorm(width), nn.LayerNorm(width)
        self.query, self.key, self.value = (nn.Linear(width, width) for _ in range(3))
        self.joined = nn.Linear(width, width)
        self.think = nn.Sequential(
            nn.Linear(width, 2 * width), nn.ReLU(), nn.Linear(2 * width, width)
        )

    def _split(self, rows: torch.Tensor) -> torch.Tensor:
        return rows.reshape(rows.shape[0], rows.shape[1], self.heads, self.each).transpose(1, 2)

    def forward(
        self, cells: torch.Tensor, page: torch.Tensor, left_out: torch.Tensor | None
    ) -> torch.Tensor:
        """``cells``: (B, M, W); ``page``: (B, T, W); ``left_out``: bool (B, T) or None."""
        query = self._split(self.query(self.norm(cells)))
        weights = query @ self._split(self.key(page)).transpose(2, 3) / self.each**0.5
        if left_out is not None:
            weights = weights.masked_fill(left_out[:, None, None], -1e4)
        told = (weights.softmax(3) @ self._split(self.value(page))).transpose(1, 2).flatten(2)
        cells = cells + self.joined(told)
        thought: torch.Tensor = self.think(self.then(cells))
        return cells + thought


class CloserNet(nn.Module):
    """The second look: unsure cells, by a larger network that also knows the page's other cells.

    Input: float32 ``patches`` (B, M, 3, 48, 48), M unsure cells of each of B pages, and ``page``
    (B, T, CONTEXT), what the first look made of the page's T cells (:func:`context`). Output:
    logits (B, M, OUTPUTS), of which the turn is not asked. The page tells which typeface and
    which hand are at work; no position is told, so no rule of the puzzle can be learnt: what is
    written is read as written.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(block(3, 32, 2))
        self.look = block(32, 32, 1)
        self.end = nn.Sequential(
            *(block(32, 64, 2), Residual(64), Residual(64)), *(block(64, 96, 2), Residual(96))
        )
        self.squeeze = squeezed(96, 24, 192)
        self.cell = nn.Linear(192, WIDTH)
        self.page = nn.Sequential(nn.Linear(CONTEXT, WIDTH), nn.ReLU(), nn.Linear(WIDTH, WIDTH))
        self.rounds = nn.ModuleList(Asking(WIDTH) for _ in range(2))
        self.heads = nn.Linear(192 + WIDTH, OUTPUTS)

    def forward(
        self, patches: torch.Tensor, page: torch.Tensor, left_out: torch.Tensor | None = None
    ) -> torch.Tensor:
        """Run the network; shapes as in the class's docstring.

        ``left_out``: bool (B, T), cells that are not to be asked.
        """
        wide = self.start((224.0 - patches.flatten(0, 1)) * SCALE)
        seen = self.squeeze(self.end(wide + self.look(wide)))
        seen = seen.reshape(patches.shape[0], patches.shape[1], seen.shape[1])
        told, page = self.cell(seen), self.page(page)
        for asking in self.rounds:
            told = asking(told, page, left_out)
        both = torch.cat([seen, told], 2)
        logits: torch.Tensor = self.heads(nn.functional.dropout(both, 0.2, self.training))
        return logits


def context(logits: torch.Tensor, features: torch.Tensor) -> torch.Tensor:
    """What the second look is told of a cell, (…, CONTEXT): features, digits' chances, hand's.

    ``logits``: (…, OUTPUTS) and ``features``: (…, FEATURES) of the first look.
    """
    digits = logits[..., DIGITS].softmax(-1)
    hand = logits[..., HAND, None].sigmoid()
    return torch.cat([features, digits, hand], -1)


class TwoLooks(nn.Module):
    """Both looks, trained together: what the page is told grows with its use."""

    def __init__(self) -> None:
        super().__init__()
        self.first, self.closer = CellNet(), CloserNet()
