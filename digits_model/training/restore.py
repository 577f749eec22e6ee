"""Weights to go on from, out of an ONNX file that shipped.

    python -m papernudge.digits_model.training.restore --model digits_model/model.onnx \
        --stock .work/stock --to .work/start/final.pt

Export folds each batch normalisation into its convolution. Here the folded network is run over
drawn cells, and every normalisation is put back with the mean and spread found there, so that the
network's answers stay as they were and training goes on as before.
"""

from __future__ import annotations

import argparse
from itertools import islice
from pathlib import Path

import numpy as np
import torch
from torch import nn

from papernudge.digits_model.training.network import CellNet
from papernudge.digits_model.training.pool import as_float
from papernudge.digits_model.training.stock import parts


def restored(model: Path, patches: torch.Tensor) -> CellNet:
    """The network of an ONNX file, its batch normalisations fitted to ``patches``.

    ``patches``: float (n, 3, S, S), 0–255. Raises ValueError where the file's convolutions are
    not this network's.
    """
    import onnx
    from onnx import numpy_helper

    graph = onnx.load(str(model)).graph
    held = {i.name: torch.from_numpy(numpy_helper.to_array(i).copy()) for i in graph.initializer}
    folded = [
        (held[node.input[1]], held[node.input[2]]) for node in graph.node if node.op_type == "Conv"
    ]
    net = CellNet().eval()
    blocks = [*net.start, net.look, *net.end]
    if [w.shape for w, _ in folded] != [block[0].weight.shape for block in blocks]:
        raise ValueError(f"{model} holds another network")
    with torch.no_grad():
        for name, value in net.squeeze.named_parameters(prefix="squeeze"):
            value.copy_(held[name])
        for name, value in net.heads.named_parameters(prefix="heads"):
            value.copy_(held[name])
        for block, (weight, bias) in zip(blocks, folded, strict=True):
            block[0].weight.copy_(weight)
            seen = _seen_by(net, block, patches)
            norm = block[1]
            assert isinstance(norm, nn.BatchNorm2d)
            mean, spread = seen.mean((0, 2, 3)), seen.var((0, 2, 3))
            state = {
                "running_mean": mean,
                "running_var": spread,
                "weight": (spread + norm.eps).sqrt(),
                "bias": mean + bias,
            }
            norm.load_state_dict(norm.state_dict() | state)
    return net


def _seen_by(net: CellNet, block: nn.Sequential, patches: torch.Tensor) -> torch.Tensor:
    """What the block's convolution gives; the blocks before it are already right."""
    found: list[torch.Tensor] = []
    hook = block[0].register_forward_hook(lambda _m, _i, out: found.append(out.detach()))
    try:
        net(patches)
    finally:
        hook.remove()
    return found[0]


def main() -> None:
    """Restore one file."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--model", type=Path, required=True)
    parser.add_argument("--stock", type=Path, required=True)
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    cells = np.concatenate([p["cells"][::4] for p in islice(parts(given.stock), 3)])[:6000]
    net = restored(given.model, as_float(torch.from_numpy(cells)))
    given.to.parent.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), given.to)


if __name__ == "__main__":
    main()
