"""From a model that never saw a photo: one model per fold of real puzzles, and the last on all.

    python -m papernudge.digits_model.training.folds --inputs .work/inputs.npz \
        --pages .work/pages.npz --start .work/run/weights.pt --out .work/folds

Writes fold0.pt … (fold K never saw the puzzles of fold K), final.pt (saw all) and folds.json
(fold by key of puzzle). The folds are how the final model is judged on photos: it has no photos
of its own left to be judged on.
"""

from __future__ import annotations

import argparse
import itertools
import json
from functools import partial
from pathlib import Path

import torch

from papernudge.digits_model.training import drawn, harmed, packed, stock
from papernudge.digits_model.training.network import TwoLooks
from papernudge.digits_model.training.pool import Drawing, Ring
from papernudge.digits_model.training.real import puzzle_key
from papernudge.digits_model.training.train import Run, Sources, fill, real_ring, train


def arguments() -> argparse.Namespace:
    """The command's words."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--inputs", type=Path, required=True)
    parser.add_argument("--pages", type=Path)
    parser.add_argument(
        "--start",
        required=True,
        help="weights; {} stands for fold0 … final: go on from an earlier run",
    )
    parser.add_argument("--real-part", type=float, default=0.1, help="share of a batch")
    parser.add_argument("--scan-part", type=float, default=0.5, help="share of a batch")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--minutes", type=float, default=1.2, help="per fold")
    parser.add_argument("--final-minutes", type=float, default=2.0)
    parser.add_argument("--rate", type=float, default=1e-3)
    parser.add_argument("--batch", type=int, default=64, help="pages a step")
    parser.add_argument("--room", type=int, default=2_500_000)
    parser.add_argument("--first", type=int, default=400_000)
    parser.add_argument("--workers", type=int, default=4)
    parser.add_argument("--stock", type=Path, help="cells drawn beforehand; nothing is drawn then")
    parser.add_argument("--threads", type=int, default=0, help="of the processor; 0 for all")
    parser.add_argument("--harms", action="store_true", help="drawn pages are harmed, too")
    parser.add_argument("--scans", action=argparse.BooleanOptionalAction, default=True)
    parser.add_argument("--seed", type=int, default=2)
    return parser.parse_args()


def main() -> None:
    """Train the folds and the final model, one after the other, on one stock of drawn cells."""
    given = arguments()
    given.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    inputs = packed.Inputs(given.inputs)
    keys = [puzzle_key(puzzle) for puzzle in inputs.puzzles.tolist()]
    fold_of = dict(zip(keys, inputs.folds(given.count).tolist(), strict=True))
    (given.out / "folds.json").write_text(json.dumps({"count": given.count, "folds": fold_of}))
    if given.threads:
        torch.set_num_threads(given.threads)
    drawing = None
    if given.stock is None:
        seeds = itertools.count(given.seed * 1_000_000_000)
        of_page = harmed.cells if given.harms else drawn.cells
        drawing = Drawing(partial(of_page, pages=given.pages), seeds, given.workers)
    ring = Ring(given.room, device)
    scans = inputs.scans(device) if given.scans else None
    plan = [(f"fold{k}", f"{k}/{given.count}", given.minutes) for k in range(given.count)]
    try:
        if drawing is None:
            for part in stock.parts(given.stock):
                ring.put((part["cells"], part["labels"]))
        else:
            fill(ring, drawing, given.first)
        for name, which, minutes in [*plan, ("final", "all", given.final_minutes)]:
            torch.manual_seed(given.seed)
            out = given.out / name
            out.mkdir(exist_ok=True)
            if (given.out / f"{name}.pt").exists():
                continue
            net, start = TwoLooks(), given.start.format(name)
            net.load_state_dict(torch.load(start, map_location="cpu", weights_only=True))
            print(f"{name}: real cells {which}", flush=True)
            real = real_ring(inputs, which, device)
            sources = Sources(ring, drawing, real, scans, given.real_part, given.scan_part)
            run = Run(net, sources, minutes, out, given.rate, given.batch, device)
            run.resume()
            train(run, minutes)
            (out / "weights.pt").replace(given.out / f"{name}.pt")
    finally:
        if drawing is not None:
            drawing.stop()


if __name__ == "__main__":
    main()
