"""Weights of the network of crossings to the ONNX file that ships.

python -m papernudge.digits_model.training.crossings_ship --weights .work/crossings/weights.pt \
    --to .work/crossings
"""

from __future__ import annotations

import argparse
import warnings
from pathlib import Path

import numpy as np
import torch

from papernudge.digits_model.training.crossings_net import CrossingNet
from papernudge.digits_model.training.export import ROUNDING, narrow

OUTPUTS = ("fine", "coarse")


def load(weights: Path) -> CrossingNet:
    """The network with these weights, ready to run on the CPU."""
    net = CrossingNet()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    return net.eval()


def export(net: CrossingNet, to: Path) -> None:
    """Write the network as ONNX for pictures of any size, weights in 8 bits, arithmetic in fp32.

    Raises RuntimeError where onnxruntime's answers differ from the network's own by more than
    that rounding explains.
    """
    import onnx

    page = torch.from_numpy(np.random.default_rng(0).normal(66, 8, (1, 1, 64, 96)))
    page = page.round().float()
    axes = {name: {2: f"{name} high", 3: f"{name} wide"} for name in ("page", *OUTPUTS)}
    with warnings.catch_warnings():
        # The tracing exporter is deprecated but needs no shape hints for networks this plain.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net, (page,), str(to), input_names=["page"], output_names=list(OUTPUTS),
            dynamic_axes=axes, dynamo=False,
        )  # fmt: skip
    model = onnx.load(str(to))
    narrow(model)
    onnx.save(model, str(to))
    _same(net, page, to)


def _same(net: CrossingNet, page: torch.Tensor, path: Path) -> None:
    import onnxruntime

    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    answers = session.run(list(OUTPUTS), {"page": page.numpy()})
    with torch.no_grad():
        own = [out.numpy() for out in net(page)]
    for name, shipped, out in zip(OUTPUTS, answers, own, strict=True):
        off = float(np.sqrt(np.mean((shipped - out) ** 2)))
        if off > ROUNDING * float(out.std()):
            raise RuntimeError(f"{name} of the exported network is off by {off:.2g}")


def main() -> None:
    """Export one set of weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--to", type=Path, required=True, help="folder")
    given = parser.parse_args()
    path = given.to / "crossings.onnx"
    export(load(given.weights), path)
    print(f"{path}: {path.stat().st_size / 2**20:.2f} MiB")


if __name__ == "__main__":
    main()
