"""The network that reads numbers of two figures and letters."""

from __future__ import annotations

import torch
from torch import nn

from papernudge.digits_model.symbols import OUTPUTS
from papernudge.digits_model.training.network import SCALE, block, squeezed


class SymbolsNet(nn.Module):
    """Patches to classes.

    Input: float32 (N, 3, 48, 48), blue, green, red, 0–255, as cut by ``papernudge.vision.patches``.
    Output: logits float32 (N, OUTPUTS) as :mod:`papernudge.digits_model.symbols` names them.
    Kept small so that all networks together stay small: 3 million multiplications a patch.
    """

    def __init__(self) -> None:
        super().__init__()
        self.look = nn.Sequential(
            *(block(3, 16, 2), block(16, 24, 2), block(24, 32, 1)),
            *(block(32, 40, 2), block(40, 48, 1)),
        )
        self.squeeze = squeezed(48, 12, 80)
        self.heads = nn.Linear(80, OUTPUTS)

    def forward(self, patches: torch.Tensor) -> torch.Tensor:
        """Run the network; shapes as in the class's docstring."""
        seen = self.squeeze(self.look((224.0 - patches) * SCALE))
        logits: torch.Tensor = self.heads(nn.functional.dropout(seen, 0.15, self.training))
        return logits
