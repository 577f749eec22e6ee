"""Measures, calibrates and ships a trained model with its manifest.

    python -m papernudge.digits_model.training.ship --inputs .work/inputs.npz \
        --base .work/run/weights.pt --scanned .work/scanned/weights.pt --folds .work/folds \
        --notes .work/notes/weights.pt --to digits_model

Three-way: the folds' models are trained on other puzzles; of the cells they never saw, one half
(again by puzzle) calibrates and the other half is reported, then the halves change places. Drawn
cells come from three splits of typefaces, writers and puzzles. The shipped temperatures
are fitted to all cells that calibrate. Every figure is that of the files as they ship, both looks
together. Without ``--folds`` only the network of the notes is measured and shipped, and the model
stays; with ``--again`` the model stays too, and its files and those of the folds that are kept are
calibrated and measured anew, as after a change of how often cells are looked at.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch

from papernudge.digits_model import tensors
from papernudge.digits_model.files import session_of
from papernudge.digits_model.scores import Looks, outputs
from papernudge.digits_model.training import drawn, labels, packed
from papernudge.digits_model.training.augment import lay_on, pens
from papernudge.digits_model.training.export import export, export_notes, load
from papernudge.digits_model.training.measure import (
    Floats,
    Labels,
    Rate,
    fit_binary,
    fit_digits,
    log_chances,
    rates,
    reliability,
)
from papernudge.digits_model.training.network_notes import NotesNet
from papernudge.digits_model.training.pool import PAGE, Cells, as_float
from papernudge.digits_model.training.real import folds
from papernudge.vision.patches import CELL, FINE, FINE_MARGIN, FINE_SIDE, MARGIN, PAPER, SIDE

Set = tuple[Floats, Labels]
UNSEEN = Path(__file__).parent / "unseen"
"""Where the models of the folds are kept."""
LEGIBLE = 28.0
"""Side of a cell in raster pixels from which the product reads a grid; smaller ones are turned
away as too poor and are not counted here."""


def looks_of(weights: Path, folder: Path) -> Looks:
    """Both looks of these weights, by way of the files that would ship, left in ``folder``."""
    closer = f"{weights.stem}-closer"
    export(load(weights), folder, weights.stem, closer)
    return Looks.held(folder, weights.stem, closer)


def logits_of(looks: Looks, pixels: npt.NDArray[np.uint8]) -> Floats:
    """float64 (N, OUTPUTS) for patches uint8 (N, S, S, 3), each PAGE of them one page."""
    parts = (outputs(pixels[at : at + PAGE], looks)[0] for at in range(0, len(pixels), PAGE))
    return np.concatenate(list(parts))


def scored(looks: Looks, stock: Iterable[Cells]) -> Set:
    """Logits and labels of many cells."""
    pairs = [(logits_of(looks, p), t) for p, t in stock if len(t)]
    return np.concatenate([z for z, _ in pairs]), np.concatenate([t for _, t in pairs])


def drawn_set(looks: Looks, preset: str, split: str, pages: int) -> Set:
    """Cells of drawn pages of one preset and split."""
    first = {"calibrate": 50_000_000, "test": 60_000_000}[split]
    stock = (drawn.page_cells(preset, first + k, split, least=LEGIBLE) for k in range(pages))
    return scored(looks, stock)


def scan_set(looks: Looks, inputs: packed.Inputs) -> Set:
    """Held-out scanned digits laid on blank drawn cells."""
    torch.manual_seed(0)
    images, digits = inputs.scans(torch.device("cpu"), held_out=True)
    pixels, truth = zip(
        *(drawn.page_cells("newspaper", 61_000_000 + k, "test") for k in range(60)), strict=True
    )
    patches, rows = np.concatenate(pixels), np.concatenate(truth)
    empty = np.flatnonzero((rows[:, [0, *range(2, 12)]] == 0).all(axis=1))
    at = torch.from_numpy(np.resize(empty, len(digits)))
    blank, ink = as_float(torch.from_numpy(patches))[at], images[:, None].float() / 15
    laid = lay_on(blank, ink, pens(blank.device))
    rows = np.zeros((len(digits), labels.LABELS), np.int8)
    rows[:, labels.DIGIT], rows[:, labels.HAND] = digits.numpy(), 1
    pixels8 = laid.round().clamp(0, 255).byte().permute(0, 2, 3, 1).numpy()
    return logits_of(looks, np.ascontiguousarray(pixels8)), rows


def bundled_set(looks: Looks) -> Set | None:
    """scikit-learn's bundled 8×8 digits, resampled, upright; None where it is not installed."""
    try:
        from sklearn.datasets import load_digits
    except ImportError:
        return None
    import cv2

    data = load_digits()
    keep = data.target > 0
    pixels = np.full((int(keep.sum()), SIDE, SIDE, 3), PAPER, np.uint8)
    inner = slice(MARGIN + 5, MARGIN + CELL - 5)
    for patch, image in zip(pixels, data.images[keep], strict=True):
        ink = cv2.resize(image / 16.0, (CELL - 10, CELL - 10), interpolation=cv2.INTER_CUBIC)
        patch[inner, inner] = (PAPER - 190 * np.clip(ink, 0, 1))[..., None]
        for line in (MARGIN, MARGIN + CELL):
            patch[line, :] = patch[:, line] = 120
    rows = np.zeros((len(pixels), labels.LABELS), np.int8)
    rows[:, labels.DIGIT], rows[:, labels.HAND] = data.target[keep], 1
    return logits_of(looks, pixels), rows


def real_sets(inputs: packed.Inputs, looks: list[Looks], count: int) -> dict[str, Any]:
    """Real cells by folder, scored by the looks that never saw their puzzle, with puzzle keys."""
    fold = inputs.folds(count) if count > 1 else np.zeros(len(inputs.names), np.int64)
    found: dict[str, Any] = {}
    for at, name in enumerate(inputs.names):
        pixels, truth = inputs.cells(at)
        logits = logits_of(looks[int(fold[at])], pixels)
        part = found.setdefault(str(name).split("/")[0], ([], [], []))
        part[0].append(logits)
        part[1].append(truth)
        part[2].append(np.full(81, inputs.puzzles[at]))
    return {k: tuple(np.concatenate(p) for p in v) for k, v in found.items()}


def fine_set(notes: Any, preset: str, split: str, pages: int) -> tuple[Floats, Labels]:
    """Log-odds of the notes (N, 9) in noted and blank cells of drawn pages, and their labels.

    ``notes``: the session of notes.onnx.
    """
    first = {"calibrate": 52_000_000, "test": 62_000_000}[split]
    logits, rows = [np.zeros((0, 9))], [np.zeros((0, labels.LABELS), np.int8)]
    for k in range(pages):
        for fine, row in drawn.noted_cells(preset, first + k, split):
            if not len(row):
                continue
            found = notes.run(None, {"patches": fine[:, None].astype(np.float32)})[0]
            logits.append(np.asarray(found, np.float64))
            rows.append(row)
    return np.concatenate(logits), np.concatenate(rows)


def note_rates(found: tuple[Floats, Labels]) -> dict[str, Rate]:
    """Sets of notes exactly right, single notes right, and blank cells seen as blank."""
    seen, want = found[0] > 0, found[1][:, labels.NOTES] == 1
    noted = want.any(axis=1)
    exactly = (seen == want).all(axis=1)
    return {
        "notes exactly": Rate(int(exactly[noted].sum()), int(noted.sum())),
        "single notes": Rate(int((seen == want)[noted].sum()), int(noted.sum()) * 9),
        "no notes seen": Rate(int(exactly[~noted].sum()), int((~noted).sum())),
    }


def shipped_notes(given: argparse.Namespace) -> dict[str, Any]:
    """Write notes.onnx, unless it stays as it is; returns its part of the manifest."""
    if given.notes:
        net = NotesNet()
        net.load_state_dict(torch.load(given.notes, map_location="cpu", weights_only=True))
        net.eval()
        export_notes(net, given.to / "notes.onnx")
    data = (given.to / "notes.onnx").read_bytes()
    session = session_of(data)
    presets = ("newspaper", "hard")
    kept = _joined(fine_set(session, p, "calibrate", given.pages) for p in presets)
    fit = fit_binary(kept[0].ravel(), (kept[1][:, labels.NOTES] == 1).ravel())
    accuracy = {}
    for preset in presets:
        table = note_rates(fine_set(session, preset, "test", given.pages))
        for what, rate in table.items():
            print(f"{'fine, drawn ' + preset:28} {what:22} {rate}")
        accuracy[f"drawn {preset}"] = {k: rate.as_json() for k, rate in table.items()}
    return {
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        "input": {
            "name": "patches",
            "shape": ["cells of one page", 1, FINE_SIDE, FINE_SIDE],
            "type": "float32, 0–255, grey",
            "cell": FINE,
            "margin": FINE_MARGIN,
            "paper": PAPER,
            "normalisation": "inside the network: (224 - value) / 96",
        },
        "output": {"notes": "log-odds of notes 1 to 9"},
        **fit,
        "accuracy": accuracy,
    }


def _joined(sets: Iterable[Set]) -> Set:
    pairs = list(sets)
    return np.concatenate([z for z, *_ in pairs]), np.concatenate([t for _, t, *_ in pairs])


def calibration_of(digits: Set, hands: Set, notes: Set) -> dict[str, Any]:
    """Temperatures of the four heads."""
    known = hands[1][:, labels.HAND] != labels.UNKNOWN
    blank = notes[1][:, labels.DIGIT] == 0
    return {
        "digits": fit_digits(*digits),
        "hand": fit_binary(hands[0][known, tensors.HAND], hands[1][known, labels.HAND] == 1),
        "notes": fit_binary(
            notes[0][blank][:, tensors.NOTES].ravel(),
            (notes[1][blank][:, labels.NOTES] == 1).ravel(),
        ),
        "struck": fit_binary(notes[0][:, tensors.STRUCK], notes[1][:, labels.STRUCK] == 1),
    }


def reported(real: dict[str, Any]) -> dict[str, Any]:
    """Calibration of real cells, one half by puzzle fitted, the other reported, both ways."""
    logits = np.concatenate([v[0] for v in real.values()])
    truth = np.concatenate([v[1] for v in real.values()])
    keys = np.concatenate([v[2] for v in real.values()])
    half = folds(keys, 2)
    chance, right, loss = np.zeros(len(keys)), np.zeros(len(keys), np.bool_), np.zeros(len(keys))
    for part in (0, 1):
        fit = fit_digits(logits[half != part], truth[half != part])
        here = half == part
        p = log_chances(logits[here], fit["temperature"], fit["floor"])
        digit = truth[here, labels.DIGIT].astype(int)
        chance[here] = np.exp(p.max(axis=1))
        right[here] = p.argmax(axis=1) == digit
        loss[here] = -p[np.arange(len(digit)), digit]
    rate = float(right.mean())
    wrong = max(1e-12, 1 - rate)
    constant = -(rate * np.log(rate) + wrong * np.log(wrong / 9))
    return {
        "cells": len(keys),
        "accuracy": rate,
        "log_loss": float(loss.mean()),
        "log_loss_of_constant": float(constant),
        "reliability": reliability(chance, right),
    }


def arguments() -> argparse.Namespace:
    """The command's words."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--inputs", type=Path)
    parser.add_argument("--base", type=Path, help="weights that never saw a photo or a scan")
    parser.add_argument("--scanned", type=Path, help="weights that saw scans but never a photo")
    parser.add_argument("--notes", type=Path, help="weights of training.notes")
    parser.add_argument(
        "--folds", type=Path, help="folder of training.folds; without it only the notes are shipped"
    )
    parser.add_argument("--again", action="store_true", help="measure what has been shipped")
    parser.add_argument("--pages", type=int, default=150, help="drawn pages per set")
    parser.add_argument("--log", type=Path, help="text of the training commands, for the manifest")
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    if given.folds is None and given.notes is None and not given.again:
        parser.error("expected --folds, --notes or both, or --again")
    if (given.folds is not None or given.again) and given.inputs is None:
        parser.error("expected --inputs, the real cells by which the folds are judged")
    return given


def _as_json(name: str, found: Set) -> dict[str, object]:
    table = rates(found[0], found[1])
    for what, rate in table.items():
        if rate.of:
            print(f"{name:28} {what:22} {rate}")
    return {what: rate.as_json() for what, rate in table.items() if rate.of}


def main() -> None:
    """Print the tables, write model.onnx and manifest.json."""
    given = arguments()
    path = given.to / "manifest.json"
    if given.folds is None and not given.again:
        told = json.loads(path.read_text("utf-8")) | provenance()
        _save(path, told | {"notes": shipped_notes(given)})
        return
    inputs = packed.Inputs(given.inputs)
    kept = UNSEEN if given.again else given.folds
    count = int(json.loads((kept / "folds.json").read_text())["count"])
    if given.again:
        final = Looks.held(given.to, "model", "closer")
        looks = [Looks.held(kept, f"fold{k}", f"fold{k}-closer") for k in range(count)]
    else:
        final = looks_of(kept / "final.pt", kept)
        looks = [looks_of(kept / f"fold{k}.pt", kept) for k in range(count)]
    real = real_sets(inputs, looks, count)
    presets = ("newspaper", "hard")
    calibrate = {p: drawn_set(final, p, "calibrate", given.pages) for p in presets}
    accuracy: dict[str, Any] = {}
    for name, found in real.items():
        accuracy[f"photos/{name}, puzzles unseen"] = _as_json(f"photos/{name}, unseen", found)
    for weights, seen in ((given.base, "photo or scan"), (given.scanned, "photo")):
        if weights is not None:
            sets = real_sets(inputs, [looks_of(weights, given.folds)], 1)
            for name, found in sets.items():
                what = f"photos/{name}, no {seen} ever seen"
                accuracy[what] = _as_json(what.removeprefix("photos/"), found)
    for preset in presets:
        accuracy[f"drawn {preset}"] = _as_json(
            f"drawn {preset}", drawn_set(final, preset, "test", given.pages)
        )
    accuracy["scans held out"] = _as_json("scans held out", scan_set(final, inputs))
    bundled = bundled_set(final)
    if bundled is not None:
        accuracy["scikit-learn digits"] = _as_json("scikit-learn digits", bundled)
    calibration = calibration_of(
        _joined([*real.values(), calibrate["newspaper"]]),
        _joined([*real.values(), calibrate["newspaper"]]),
        _joined(calibrate.values()),
    )
    report = reported(real)
    print(json.dumps({"calibration": calibration, "real cells": report}, indent=1))
    old = json.loads(path.read_text("utf-8"))
    notes = shipped_notes(given) if given.notes or given.again else old.get("notes")
    if given.again:
        # Models that never saw a photo are not kept: their rows stay, measured as they were.
        stay = {k: v for k, v in old["accuracy"].items() if k not in accuracy}
        figures = {"calibration": calibration, "calibration_report": report, "notes": notes}
        _save(path, old | provenance() | figures | {"accuracy": accuracy | stay})
    else:
        write(given, calibration, accuracy, report, notes)


def provenance() -> dict[str, Any]:
    """Data, licences and commands, as the manifest tells them."""
    return dict(json.loads((Path(__file__).parent / "provenance.json").read_text("utf-8")))


def write(
    given: argparse.Namespace,
    calibration: dict[str, Any],
    accuracy: dict[str, Any],
    report: dict[str, Any],
    notes: dict[str, Any] | None,
) -> None:
    """The three files that ship."""
    export(load(given.folds / "final.pt"), given.to)
    data, closer = ((given.to / f"{name}.onnx").read_bytes() for name in ("model", "closer"))
    manifest = {
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        "input": {
            "name": "patches",
            "shape": ["n", 3, SIDE, SIDE],
            "type": "float32, 0–255, channels blue, green, red",
            "cell": CELL,
            "margin": MARGIN,
            "paper": PAPER,
            "normalisation": "inside the network: (224 - value) / 96",
        },
        "output": {
            "logits": list(tensors.NAMES),
            "features": tensors.FEATURES,
        },
        "closer": {
            "sha256": hashlib.sha256(closer).hexdigest(),
            "bytes": len(closer),
            "input": {
                "patches": [1, "n", 3, SIDE, SIDE],
                "page": [1, "cells of the page", tensors.CONTEXT],
            },
            "output": {"logits": "as the model's, without those of the turn"},
        },
        **provenance(),
        "training_log": given.log.read_text("utf-8").splitlines() if given.log else [],
        "calibration": calibration,
        "calibration_report": report,
        "accuracy": accuracy,
        "notes": notes,
    }
    _save(given.to / "manifest.json", manifest)


def _save(path: Path, manifest: dict[str, Any]) -> None:
    path.write_text(json.dumps(manifest, indent=1, ensure_ascii=False) + "\n", "utf-8")


if __name__ == "__main__":
    main()
