"""One step of training, made again and again; an accelerator replays it from a recording."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import torch
from torch import nn

from papernudge.digits_model.training.averaging import average, kept, placed, share_after

WARM = 11
"""Steps made one operation at a time before the recording: kernels are compiled and chosen."""


class Stepper:
    """Makes steps of AdamW (I. Loshchilov and F. Hutter, ICLR 2019) and averages the weights.

    ``losses`` makes a batch and returns scalar losses of it, of which the weighted sum is
    brought down. Networks this small keep an accelerator waiting for its next order, so there a
    whole step, batch and all, is recorded once and replayed (CUDA graphs). Hence ``losses`` must
    work on the same memory at each call, ask nothing back from the device, and know no shape that
    depends on the data.
    """

    def __init__(
        self,
        net: nn.Module,
        losses: Callable[[], tuple[torch.Tensor, ...]],
        weights: tuple[float, ...],
        device: torch.device,
        clip: float = 0.0,
    ) -> None:
        """``clip``: the gradient's norm at most, 0 for any."""
        placed(net, device)
        self.net, self.device = net, device
        self._losses, self._weights, self._clip = losses, weights, clip
        self._records = device.type == "cuda"
        rate: Any = torch.zeros((), device=device) if self._records else 0.0
        self.optimiser = torch.optim.AdamW(
            net.parameters(), lr=rate, weight_decay=0.02, capturable=self._records
        )
        self.mean = {name: value.detach().clone() for name, value in net.state_dict().items()}
        self.steps = self._made = 0
        self._share = torch.zeros((), device=device)
        self._graph: torch.cuda.CUDAGraph | None = None
        self.last: tuple[torch.Tensor, ...] = ()

    def step(self, rate: float) -> None:
        """One step at this learning rate; ``last`` then holds its losses."""
        for group in self.optimiser.param_groups:
            if self._records:
                group["lr"].fill_(rate)
            else:
                group["lr"] = rate
        self.steps += 1
        self._made += 1
        self._share.fill_(share_after(self.steps, 0.9995))
        self.net.train()
        if not self._records:
            self._work()
        elif self._made < WARM:
            aside = torch.cuda.Stream()  # type: ignore[no-untyped-call]
            aside.wait_stream(torch.cuda.current_stream())
            with torch.cuda.stream(aside):
                self._work()
            torch.cuda.current_stream().wait_stream(aside)
        else:
            if self._graph is None:
                self._graph = torch.cuda.CUDAGraph()
                self.optimiser.zero_grad(set_to_none=True)
                with torch.cuda.graph(self._graph):
                    self._work()
            self._graph.replay()

    def _work(self) -> None:
        with torch.autocast(self.device.type, torch.bfloat16, self._records):
            self.last = self._losses()
            loss = sum(w * part for w, part in zip(self._weights, self.last, strict=True))
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[union-attr]
        if self._clip:
            torch.nn.utils.clip_grad_norm_(self.net.parameters(), self._clip)
        self.optimiser.step()
        average(self.mean, self.net, self._share)
        self.last = tuple(part.detach() for part in self.last)

    def state(self) -> dict[str, Any]:
        """All that a later leg needs."""
        net = self.net.state_dict()
        optimiser = kept(self.optimiser)
        return {"net": net, "mean": self.mean, "optimiser": optimiser, "steps": self.steps}

    def resume(self, state: dict[str, Any]) -> None:
        """Go on from :meth:`state`, before the first step."""
        rates = [group["lr"] for group in self.optimiser.param_groups]
        self.net.load_state_dict(state["net"])
        self.optimiser.load_state_dict(state["optimiser"])
        for group, rate in zip(self.optimiser.param_groups, rates, strict=True):
            group["lr"] = rate
        self.mean, self.steps = state["mean"], state["steps"]
