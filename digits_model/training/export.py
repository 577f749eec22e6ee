"""Weights to the ONNX file that ships.

python -m papernudge.digits_model.training.export --weights .work/run/weights.pt --to model.onnx
"""

from __future__ import annotations

import argparse
import warnings
from pathlib import Path

import numpy as np
import torch

from papernudge.digits_model.training.network import CellNet, NotesNet
from papernudge.vision.patches import FINE_SIDE, SIDE


def load(weights: Path) -> CellNet:
    """The network with these weights, ready to run on the CPU."""
    net = CellNet()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    return net.eval()


def export(net: CellNet, to: Path) -> None:
    """Write ``net`` as ONNX, fp32, with a free number of patches.

    Raises RuntimeError where onnxruntime's answers differ from the network's own by more than
    rounding.
    """
    example = torch.randint(0, 256, (2, 3, SIDE, SIDE)).float()
    with warnings.catch_warnings():
        # The tracing exporter is deprecated but needs no shape hints for a network this plain.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net,
            (example,),
            str(to),
            input_names=["patches"],
            output_names=["logits", "features"],
            dynamic_axes={name: {0: "n"} for name in ("patches", "logits", "features")},
            dynamo=False,
        )
    _same(net, to)


def export_notes(net: NotesNet, to: Path) -> None:
    """Write the network of the notes as ONNX, fp32, with a free number of patches."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net.eval(),
            (torch.randint(0, 256, (2, 1, FINE_SIDE, FINE_SIDE)).float(),),
            str(to),
            input_names=["patches"],
            output_names=["notes"],
            dynamic_axes={name: {0: "n"} for name in ("patches", "notes")},
            dynamo=False,
        )


def _same(net: CellNet, path: Path) -> None:
    import onnxruntime

    patches = np.random.default_rng(0).integers(0, 256, (81, 3, SIDE, SIDE)).astype(np.float32)
    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    shipped = session.run(None, {"patches": patches})[0]
    with torch.no_grad():
        own = net(torch.from_numpy(patches))[0].numpy()
    worst = float(np.abs(shipped - own).max())
    if worst > 1e-3 * max(1.0, float(np.abs(own).max())):
        raise RuntimeError(f"exported network differs from the trained one by {worst:.2g}")


def main() -> None:
    """Export one set of weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    export(load(given.weights), given.to)
    print(f"{given.to}: {given.to.stat().st_size / 2**20:.2f} MiB")


if __name__ == "__main__":
    main()
