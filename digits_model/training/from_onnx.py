"""Weights to go on training from, out of the ONNX files that ship.

    python -m papernudge.digits_model.training.from_onnx --models digits_model \
        --first model --closer closer --pages .work/pages.npz --to .work/start/final.pt

The files hold the convolutions with their normalisation folded in, most of them in 8 bits. The
normalisation is unfolded again by what drawn pages send through it, so that a network that goes
on learning by its batches' own means starts where the shipped one is.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch import nn

from papernudge.digits_model.training.drawn import cells
from papernudge.digits_model.training.network import TwoLooks, context
from papernudge.digits_model.training.seen_net import SeenNet
from papernudge.digits_model.training.seen_truth import samples

SEEDS = range(930_000_000, 930_000_016)
"""Pages whose cells tell the means."""


def held_weights(path: Path) -> tuple[Any, dict[str, npt.NDArray[np.float32]]]:
    """The model of an ONNX file, and all weights by name, widened."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(str(path))
    held = {w.name: numpy_helper.to_array(w) for w in model.graph.initializer}
    for node in model.graph.node:  # whole numbers, a Cast and a Mul by the scale: see export.narrow
        if node.op_type == "Mul" and f"{node.output[0]}.whole" in held:
            name = node.output[0]
            held[name] = held[f"{name}.whole"].astype(np.float32) * held[f"{name}.scale"]
    return model, {n: np.asarray(w) for n, w in held.items() if w.dtype == np.float32}


def _layers(net: nn.Module) -> list[tuple[str, nn.Module]]:
    kinds = (nn.Conv2d, nn.Linear, nn.LayerNorm)
    return [(name, part) for name, part in net.named_modules() if isinstance(part, kinds)]


def fill(net: nn.Module, path: Path, scale: float) -> None:
    """Put a file's weights into a look; ``scale``: what its first convolution was multiplied by.

    Named weights go by their name; folded convolutions, whose names are lost, and matrices that
    the exporter turned, by the order in which they are used.
    """
    model, held = held_weights(path)
    uses = [n for n in model.graph.node if n.op_type in ("Conv", "Gemm", "MatMul")]
    state = net.state_dict()
    for name in state:
        if name in held and held[name].shape == tuple(state[name].shape):
            state[name] = torch.from_numpy(held[name].copy())
    folded = [n for n in uses if n.op_type == "Conv"]
    convs = [(name, part) for name, part in net.named_modules() if isinstance(part, nn.Conv2d)]
    assert len(folded) == len(convs), (len(folded), len(convs))
    for number, (node, (name, _)) in enumerate(zip(folded, convs, strict=True)):
        weight, bias = held[node.input[1]], held[node.input[2]]
        if number == 0:
            weight = weight / scale
        state[f"{name}.weight"] = torch.from_numpy(weight.copy())
        norm = _norm_after(net, name)
        if norm is None:
            state[f"{name}.bias"] = torch.from_numpy(bias.copy())
            continue
        state[f"{norm}.bias"] = torch.from_numpy(bias.copy())
        state[f"{norm}.weight"] = torch.full_like(state[f"{norm}.weight"], (1 + 1e-5) ** 0.5)
        state[f"{norm}.running_mean"].zero_()
        state[f"{norm}.running_var"].fill_(1.0)
    _matrices(model, held, net, state)
    net.load_state_dict(state)


def _norm_after(net: nn.Module, conv: str) -> str | None:
    """The name of the normalisation behind a convolution, the next in its sequence, if any."""
    parent, _, last = conv.rpartition(".")
    return f"{parent}.{int(last) + 1}" if last.isdigit() else None


def _matrices(
    model: Any, held: dict[str, npt.NDArray[np.float32]], net: nn.Module, state: dict[str, Any]
) -> None:
    """Matrices that were exported turned: told by the bias that is added next."""
    biases = {name: name.removesuffix(".bias") for name in held if name.endswith(".bias")}
    after = {n.input[k]: n for n in model.graph.node if n.op_type == "Add" for k in range(2)}
    for node in model.graph.node:
        if node.op_type != "MatMul" or node.input[1] not in held:
            continue
        added = after[node.output[0]]
        bias = next(name for name in added.input if name in biases)
        state[f"{biases[bias]}.weight"] = torch.from_numpy(held[node.input[1]].T.copy())


@torch.no_grad()
def unfold(net: nn.Module, run: Any) -> None:
    """Give each normalisation the mean and spread of what ``run()`` sends through it.

    What the network answers with them stays as it was.
    """
    seen: dict[nn.BatchNorm2d, tuple[torch.Tensor, torch.Tensor]] = {}

    def note(part: nn.Module, inputs: tuple[torch.Tensor, ...]) -> None:
        assert isinstance(part, nn.BatchNorm2d)
        seen[part] = inputs[0].mean((0, 2, 3)), inputs[0].var((0, 2, 3))

    norms = [part for part in net.modules() if isinstance(part, nn.BatchNorm2d)]
    hooks = [part.register_forward_pre_hook(note) for part in norms]
    run()
    for hook in hooks:
        hook.remove()
    for part in norms:
        if part not in seen:
            continue
        mean, spread = seen[part]
        assert part.running_mean is not None
        assert part.running_var is not None
        gain = part.weight / torch.sqrt(part.running_var + part.eps)
        shift = part.bias - gain * part.running_mean
        part.running_mean, part.running_var = mean.clone(), spread.clone()
        part.weight.copy_(gain * (spread + part.eps).sqrt())
        part.bias.copy_(shift + gain * mean)


def looks(models: Path, first: str, closer: str, pixels: npt.NDArray[np.uint8]) -> TwoLooks:
    """Both looks of these files; ``pixels`` uint8 (N, 48, 48, 3): cells that tell the means."""
    net = TwoLooks().eval()
    fill(net.first, models / f"{first}.onnx", net.first.scale)
    fill(net.closer, models / f"{closer}.onnx", 1.0)
    patches = torch.from_numpy(pixels.transpose(0, 3, 1, 2).astype(np.float32))
    with torch.no_grad():
        page = context(*net.first(patches))[None]
    unfold(net, lambda: (net.first(patches), net.closer(patches[None], page)))
    return net


def seeing(path: Path, pages: Path | None) -> SeenNet:
    """The network of this file that says what can be seen."""
    net = SeenNet().eval()
    fill(net, path, 1.0)
    drawn = [sheet for seed in SEEDS for sheet, _ in samples(seed, pages)]
    sheets = torch.from_numpy(np.stack(drawn).transpose(0, 3, 1, 2).astype(np.float32))
    unfold(net, lambda: net(sheets))
    return net


def main() -> None:
    """Turn one pair of files into weights."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--models", type=Path, required=True, help="folder")
    parser.add_argument("--first", default="model")
    parser.add_argument("--closer", default="closer")
    parser.add_argument("--pages", type=Path)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--seen", action="store_true", help="seen.onnx instead of the pair")
    given = parser.parse_args()
    net: nn.Module
    if given.seen:
        net = seeing(given.models / "seen.onnx", given.pages)
    else:
        pixels = np.concatenate([cells(seed, given.pages)[0] for seed in SEEDS])
        net = looks(given.models, given.first, given.closer, pixels)
    given.to.parent.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), given.to)


if __name__ == "__main__":
    main()
