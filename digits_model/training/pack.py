"""Packs what training needs into one file of at most 40 MiB.

    python -m papernudge.digits_model.training.pack --data ../shared/data --to .work/inputs.npz

Holds the real cells (each photo's grid flattened and evenly lit, as JPEG), their labels and puzzle
numbers, and the scanned digits; drawn pages bring their own packed input.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.real import RealPhoto, photos
from papernudge.vision.patches import even_light, flat_sheet


def _sheet(photo: RealPhoto) -> npt.NDArray[np.uint8] | None:
    import cv2

    mesh = photo.mesh()
    if mesh is None:
        return None
    sheet = even_light(flat_sheet(photo.raster(), mesh))
    flags = [cv2.IMWRITE_JPEG_QUALITY, 95]
    return np.asarray(cv2.imencode(".jpg", sheet, flags)[1], np.uint8).ravel()


def _packed(data: Path) -> Iterator[tuple[str, npt.NDArray[Any]]]:
    sheets, labels, names = [], [], []
    for photo in photos(data / "photos"):
        sheet = _sheet(photo)
        if sheet is None:
            print(f"left out, no grid found: {photo.name}")
            continue
        sheets.append(sheet)
        labels.append(photo.labels())
        names.append((photo.name, photo.puzzle))
    yield "sheet_bytes", np.concatenate(sheets)
    yield "sheet_ends", np.cumsum([len(s) for s in sheets])
    yield "labels", np.stack(labels)
    yield "names", np.array([n for n, _ in names])
    yield "puzzles", np.array([p for _, p in names])
    scans = np.load(data / "handwriting" / "mnist_train.npz")
    yield "scans", (scans["images"] >> 4).astype(np.uint8)
    yield "scan_digits", scans["labels"].astype(np.int8)


def main() -> None:
    """Write the packed inputs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--data", type=Path, required=True, help="folder with photos/ and handwriting/"
    )
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    given.to.parent.mkdir(parents=True, exist_ok=True)
    arrays: dict[str, Any] = dict(_packed(given.data))
    np.savez_compressed(given.to, **arrays)
    print(f"{given.to}: {given.to.stat().st_size / 2**20:.1f} MiB")


if __name__ == "__main__":
    main()
