"""How well the truth's crossings are found again in the pixels of bent pages.

Run as ``python tests/digits_model/pages/bench_truth.py``. Grids without givens, a slight blur,
OpenCV's corner refinement started up to 1.5 pixels away; the 64 inner crossings of each page.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from papernudge.digits_model.training.pages import PageSpec, draw
from papernudge.digits_model.training.pages.own import OwnSupplies

BENT: dict[str, dict[str, Any]] = {
    "flat": {},
    "turned": {"turn": 33.0},
    "tilted by 40": {"tilt": 40.0, "tilt_to": 70.0},
    "lens": {"lens": 0.05},
    "curl 0.2, gutter": {"curl": 0.2, "curl_kind": "gutter", "tilt": 15.0},
    "curl 0.3, wave": {"curl": 0.3, "curl_kind": "wave", "curl_axis": 30.0, "tilt": 20.0},
    "curl 0.5, roll": {"curl": 0.5, "curl_kind": "roll", "tilt": 20.0, "turn": 200.0},
}
STILL: dict[str, Any] = {
    "face": "any", "width": 1000, "height": 1000, "neighbours": 0.0, "titles": False, "grain": 0.0,
    "noise": 0.0, "thin": 0.04, "thick": 0.06, "jpeg": 0, "focus_blur": 0.8, "givens": 0,
}  # fmt: skip


def misses(fields: dict[str, Any], seeds: range) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Distances in pixels between truth and refined crossings."""
    own, out = OwnSupplies(), []
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    for seed in seeds:
        page = draw(PageSpec(**{"seed": seed, **STILL, **fields}), own)
        truth = page.truth.grids[0].crossings
        assert truth is not None
        inner = truth[1:9, 1:9].reshape(-1, 1, 2).astype(np.float32)
        off = np.random.default_rng(seed).uniform(-1.5, 1.5, inner.shape)
        start = inner + off.astype(np.float32)
        green = np.ascontiguousarray(page.image[..., 1])
        found = cv2.cornerSubPix(green, start, (7, 7), (-1, -1), stop)
        out.append(np.linalg.norm(found - inner, axis=2).ravel())
    return np.concatenate(out)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=8)
    count = parser.parse_args().count
    print(f"{'page':20} median px   95th percentile px   N")
    for name, fields in BENT.items():
        away = misses(fields, range(count))
        print(f"{name:20} {np.median(away):9.3f} {np.percentile(away, 95):20.3f} {len(away):6}")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        main()
