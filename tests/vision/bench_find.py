"""How well grids are found and flattened: the whole table.

Run as ``python tests/vision/bench_find.py`` (all), or name parts: ``photos``, ``drawn``,
``empty``, ``times``, ``memory``. ``--pages N`` drawn pages (1000 for the full figure), ``--from
SEED`` the first of them, ``--preset NAME``. Photos are looked for in ``../shared/data`` or where
PAPERNUDGE_DATA says.
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
import time
import warnings
from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np
import numpy.typing as npt

from papernudge.vision.crossings import Seen
from papernudge.vision.find import _by_ink, find_grids, work_view
from papernudge.vision.find_kind import traits
from papernudge.vision.find_outlines import ink_mask, outlines, parts_of
from papernudge.vision.flatten import Flat, flatten
from papernudge.vision.grid import FoundGrid, GridKind
from papernudge.vision.quality import LEAST_CELL

Raster = npt.NDArray[np.uint8]
AS_STORED = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
NO_OUTLINE = {"0103", "0115", "0118"}
"""Photos whose given outline is wrong or missing."""
TURNED = {"1024", "1031", "1036", "1038", "1039", "1040", "1041", "1043", "1083"}
"""Photos whose given outline is in the frame that their rotation tag makes."""


def data_dir() -> Path:
    told = os.environ.get("PAPERNUDGE_DATA")
    folder = Path(told) if told else Path(__file__).parents[2].parent / "shared" / "data"
    if not (folder / "photos").is_dir():
        raise SystemExit(f"expected the photos in {folder}/photos; set PAPERNUDGE_DATA")
    return folder / "photos"


def row(*cells: Any) -> None:
    print(
        "  ".join(f"{cell!s:<{wide}}" for cell, wide in zip(cells, (34, 30, 24, 20), strict=False))
    )


# -- real photos


def photos() -> None:
    print("\n== photos: every grid found; corners against the given outlines")
    row("set", "found", "within 2 % / 1 %", "missed, or over 2 %")
    folder = data_dir()
    with (folder / "printed" / "outlines.csv").open() as file:
        given = {r[0]: r[1:] for r in list(csv.reader(file))[1:] if r[1]}
    everything = []
    for name in ("printed", "mixed", "highres"):
        paths, errors, missed = sorted((folder / name).glob("*.jpg")), {}, []
        for path in paths:
            image = np.asarray(cv2.imread(str(path), AS_STORED), np.uint8)
            puzzles = [g for g in find_grids(image) if g.kind is GridKind.PUZZLE]
            if not puzzles:
                missed.append(path.stem)
            elif name != "highres" and path.stem in given and path.stem not in NO_OUTLINE:
                outline = np.array(given[path.stem], float).reshape(4, 2)
                errors[path.stem] = outline_error(path, image, outline, puzzles)
        within = [share_within(errors.values(), limit) for limit in (0.02, 0.01)]
        worst = [f"{k} {100 * e:.1f} %" for k, e in errors.items() if e > 0.02]
        everything += list(errors.values())
        shares = f"{100 * within[0]:.1f} % / {100 * within[1]:.1f} %" if errors else "-"
        row(name, f"{len(paths) - len(missed)} of {len(paths)}", shares, missed + worst)
    both = [100 * share_within(everything, limit) for limit in (0.02, 0.01)]
    row("together (want 99.5 % / 92 %)", len(everything), f"{both[0]:.1f} % / {both[1]:.1f} %")


def share_within(errors: Iterable[float], limit: float) -> float:
    """Share of the errors up to a limit; none is within where there are none."""
    held = [error <= limit for error in errors]
    return sum(held) / max(len(held), 1)


def outline_error(path: Path, image: Raster, outline: Any, puzzles: list[FoundGrid]) -> float:
    """Worst corner of the best fitting grid, as a share of the image's width."""
    wide, high = image.shape[1], image.shape[0]
    x, y = outline.T
    frames = [np.stack([x, y], axis=1)]
    if path.stem in TURNED:  # which of the turns the tag meant is not in every copy of the file
        frames += [np.stack([y, high - 1 - x], 1), np.stack([wide - 1 - x, high - 1 - y], 1)]
        frames += [np.stack([wide - 1 - y, x], 1)]
    return min(
        float(np.linalg.norm(np.roll(frame, turn, 0) - grid.corners, axis=1).max()) / wide
        for frame in frames
        for turn in range(4)
        for grid in puzzles
    )


# -- drawn pages


def drawn(pages: int, first: int, preset_name: str) -> None:
    from papernudge.digits_model.training.pages import draw, preset

    print(f"\n== {pages} drawn pages, preset {preset_name}, from seed {first}")
    whole = found = poor = full = full_found = wide = wide_found = 0
    cuts: dict[Any, list[int]] = {}
    errors, false, missed, by_size = [], [], [], {}
    for seed in range(first, first + pages):
        page = draw(preset(preset_name, seed, split="test"))
        grids = find_grids(page.image)
        taken: set[int] = set()
        for truth in page.truth.grids:
            match, error = matching(truth, grids)
            # A rim cut by less than half a cell leaves every digit whole: read, not refused.
            if match is not None and (
                truth.kind in {"puzzle", "full"} or not misses_much(truth, page)
            ):
                taken.add(match)
            if truth.kind == "puzzle":
                whole += 1
                seen = match is not None
                told = not seen and too_poor_there(truth, grids)
                found, poor = found + seen, poor + told
                if narrowest(truth) >= LEAST_CELL:
                    wide, wide_found = wide + 1, wide_found + seen
                size = min(int(truth.cell_px // 10) * 10, 60)
                tally = by_size.setdefault(size, [0, 0, 0])
                tally[0] += 1
                tally[1] += seen
                tally[2] += told
                if seen:
                    errors.append(error)
                elif not told:
                    missed.append(seed)
            elif truth.kind == "full":
                full, full_found = full + 1, full_found + (match is not None)
            elif truth.kind == "cut off" and match not in taken:
                shows = whole_cells(truth, page)
                band = "another kind" if shows is None else next(b for b in _BANDS if shows >= b)
                tally = cuts.setdefault(band, [0, 0])
                tally[0] += 1
                tally[1] += any(g.kind is GridKind.CUT_OFF and overlap(truth, g) for g in grids)
        for k, grid in enumerate(grids):
            if grid.kind in {GridKind.PUZZLE, GridKind.FULL} and k not in taken:
                false.append(seed)
    row(
        "whole grids found",
        f"{found} of {whole}",
        f"{100 * found / max(whole, 1):.2f} %",
        "want 99.5 %",
    )
    row(
        f"  of those with cells of {LEAST_CELL:.0f}+ px",
        f"{wide_found} of {wide}",
        f"{100 * wide_found / max(wide, 1):.2f} %",
    )
    row("  and told to be too poor", poor)
    for size, (number, seen, told) in sorted(by_size.items()):
        row(
            f"  cells of {size}+ pixels",
            f"{seen} + {told} poor of {number}",
            f"{100 * seen / number:.1f} %",
        )
    row(
        "false (share of grids reported)",
        len(false),
        f"{100 * len(false) / max(found + full_found + len(false), 1):.2f} %",
        "want 0.2 %",
    )
    row("small solved grids found", f"{full_found} of {full}")
    for band in (*_BANDS, "another kind"):
        number, told = cuts.get(band, (0, 0))
        what = band if isinstance(band, str) else f"plain, {band}+ whole cells show"
        row(f"cut off told: {what}", f"{told} of {number}")
    if errors:
        spread = np.percentile(np.concatenate([e.ravel() for e in errors]), [50, 95, 99])
        row(
            "crossing error, cells",
            "50 / 95 / 99 %: " + " / ".join(f"{v:.3f}" for v in spread),
            "",
            "want 0.06 at 95 %",
        )
    row("seeds missed", sorted(set(missed))[:40])
    row("seeds with a false one", sorted(set(false)))


def matching(truth: Any, grids: tuple[FoundGrid, ...]) -> tuple[int | None, Any]:
    """Which grid lies on the true crossings in one of four turns, and its errors in cells."""
    if truth.crossings is None:
        return None, None
    for k, grid in enumerate(grids):
        if grid.mesh is None:
            continue
        for turn in range(4):
            off = np.rot90(grid.mesh.crossings, turn) - truth.crossings
            error = np.linalg.norm(off, axis=2) / truth.cell_px
            if np.median(error) < 0.3 and error.max() < 1.0:
                return k, error
    return None, None


def narrowest(truth: Any) -> float:
    """Pixels across the narrowest cell, the way in which a fold or roll squeezes it most."""
    c = truth.crossings
    right, down = np.diff(c, axis=1)[:-1], np.diff(c, axis=0)[:, :-1]
    area = np.abs(right[..., 0] * down[..., 1] - right[..., 1] * down[..., 0])
    long = np.maximum(np.linalg.norm(right, axis=-1), np.linalg.norm(down, axis=-1))
    return float((area / long).min())


def misses_much(truth: Any, page: Any) -> bool:
    """Whether the frame cuts off half a cell or more of a 9×9 grid of the plain kind."""
    plain = truth.name in {"", "small solved"}
    if truth.kind != "cut off" or not plain or truth.crossings is None:
        return True
    size = np.array([page.image.shape[1], page.image.shape[0]]) - 1.0
    beyond = max(float((-truth.corners).max()), float((truth.corners - size).max()))
    return bool(beyond > 0.5 * truth.cell_px)


_BANDS = (36, 18, 9, 0)
"""Classes of cut-off grids by how many of their cells show wholly: at least as many as these."""


def whole_cells(truth: Any, page: Any) -> int | None:
    """How many cells of a plain 9×9 lie wholly in the frame; None for grids of another kind."""
    if truth.crossings is None or truth.name:
        return None
    size = np.array([page.image.shape[1], page.image.shape[0]]) - 1.0
    c = truth.crossings
    inside = ((c >= 0) & (c <= size)).all(axis=-1)
    return int((inside[:-1, :-1] & inside[1:, :-1] & inside[:-1, 1:] & inside[1:, 1:]).sum())


def overlap(truth: Any, grid: FoundGrid) -> bool:
    middle = tuple(float(v) for v in grid.corners.mean(axis=0))
    return cv2.pointPolygonTest(truth.corners.astype(np.float32), middle, False) > 0


def too_poor_there(truth: Any, grids: tuple[FoundGrid, ...]) -> bool:
    return any(grid.kind is GridKind.TOO_POOR and overlap(truth, grid) for grid in grids)


# -- photos without a grid


def empty(number: int = 200) -> None:
    print(f"\n== {number} pictures without any grid")
    reported: dict[str, int] = {}
    puzzles = []
    for name, image in no_grids(number):
        for grid in find_grids(image):
            reported[str(grid.kind)] = reported.get(str(grid.kind), 0) + 1
            if grid.kind in {GridKind.PUZZLE, GridKind.FULL}:
                puzzles.append(name)
    row("reported as a puzzle (want none)", len(puzzles), "", puzzles[:8])
    row("reported as anything", reported)


def no_grids(number: int) -> Iterator[tuple[str, Raster]]:
    """Sample pictures, noise, and drawn pages of text, crosswords, word searches, tables."""
    from papernudge.digits_model.training.pages import draw, preset

    names = ("astronaut", "brick", "camera", "cat", "cell", "checkerboard", "chelsea", "clock",
             "coffee", "coins", "colorwheel", "grass", "gravel", "horse", "hubble_deep_field",
             "immunohistochemistry", "logo", "microaneurysms", "moon", "page", "retina", "rocket",
             "text")  # fmt: skip
    count = 0
    warnings.simplefilter("ignore")  # skimage's own
    if find_spec("skimage") is None:
        print("scikit-image's pictures are not installed (pip install -e '.[bench]'): none of them")
    for name in names if find_spec("skimage") else ():
        try:
            picture = np.asarray(getattr(import_module("skimage.data"), name)())
        except Exception:  # not shipped with the package: skimage would fetch it
            continue
        picture = picture.astype(float) * (255.0 if picture.dtype == bool else 1.0)
        grey = picture if picture.ndim == 2 else picture[..., :3].mean(axis=2)
        yield name, np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2)
        count += 1
    chance = np.random.default_rng(0)
    for k in range(20):
        noise = chance.normal(128, 40, (480, 640, 3))
        yield (
            f"noise {k}",
            np.clip(cv2.GaussianBlur(noise, (0, 0), 0.5 + 0.3 * k), 0, 255).astype(np.uint8),
        )
        count += 1
    kinds = ("text", "crossword", "letters", "table", "picture")
    for seed in range(number - count):
        decoys = tuple(np.roll(kinds, seed)[:3].tolist())
        spec = preset("newspaper", seed, split="test", grids=0, neighbours=0.9, decoys=decoys)
        yield f"{decoys[0]} {seed}", draw(spec).image


# -- time and memory


def timed(work: Callable[[], Any], times: int) -> float:
    """Median milliseconds of processor time of several runs after one to warm up.

    Processor time, not the clock's: other work on the machine then counts less.
    """
    work()
    spent = []
    for _ in range(times):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return 1000 * float(np.median(spent))


def times() -> None:
    cv2.setNumThreads(1)
    print("\n== times on one core, processor milliseconds (and as a share of decoding the JPEG)")
    folder = data_dir()
    paths = [*sorted((folder / "highres").glob("*.jpg")), folder / "printed" / "1070.jpg"]
    paths += [folder / "printed" / f"{name}.jpg" for name in ("0016", "0093", "0170")]
    row("photo", "decode", "find and flatten", "share")
    for path in paths:
        image = np.asarray(cv2.imread(str(path), AS_STORED), np.uint8)
        decode = timed(lambda p=path: cv2.imread(str(p), AS_STORED), 9)
        all_of_it = timed(lambda i=image: find_grids(i), 15)
        size = f"{path.parent.name}/{path.stem} {image.shape[1]}×{image.shape[0]}"
        row(size, f"{decode:.1f}", f"{all_of_it:.1f}", f"{all_of_it / decode:.2f}")
    row("stage (first and last of these)", "", "", "")
    for path in (paths[0], paths[-1]):
        image = np.asarray(cv2.imread(str(path), AS_STORED), np.uint8)
        decode = timed(lambda p=path: cv2.imread(str(p), AS_STORED), 9)
        view, scale = work_view(image)
        mask = ink_mask(view, 0.5)
        frames, _ = parts_of(mask)
        start = next(outlines(frames, 60))
        flat = flatten(view, start)
        small = cv2.resize(view, None, fx=(k := 640 / max(view.shape)), fy=k)
        assert isinstance(flat, Flat)
        stages: dict[str, Callable[[], Any]] = {
            "shrink to grey": lambda i=image: work_view(i),
            "ink mask": lambda v=view: ink_mask(v, 0.5),
            "contours": lambda m=mask: parts_of(m),
            "outlines": lambda f=frames: next(outlines(f, 60)),
            "flatten one": lambda v=view, s=start: flatten(v, s),
            "what kind it is": lambda v=view, f=flat: traits(v, f),
            "all by ink": lambda v=view, s=scale: _by_ink(v, s),
            "network, if asked, 640 pixels": lambda v=small: Seen(v),
            "network, if asked, whole view": lambda v=view: Seen(v),
        }
        for name, work in stages.items():
            spent = timed(work, 15)
            row(f"  {path.stem} {name}", "", f"{spent:.2f}", f"{spent / decode:.3f}")


def memory() -> None:
    """Peak memory that finding adds at 24 megapixels, in a process of its own."""
    import subprocess
    import sys

    code = (
        "import numpy as np, cv2\n"
        "from papernudge.vision.find import find_grids\n"
        "cv2.setNumThreads(1)\n"
        "small = np.full((480, 640, 3), 200, np.uint8); find_grids(small)\n"
        "image = np.full((4000, 6000, 3), 200, np.uint8)\n"
        "for k in range(10):\n"
        "    w = 12 if k % 3 == 0 else 5\n"
        "    image[500 + 330 * k : 500 + 330 * k + w, 1000:3982] = 40\n"
        "    image[500:3482, 1000 + 330 * k : 1000 + 330 * k + w] = 40\n"
        "def peak():\n"
        "    lines = open('/proc/self/status').read().splitlines()\n"
        "    return int(next(l for l in lines if l.startswith('VmHWM')).split()[1])\n"
        "before = peak()\n"
        "kinds = [str(g.kind) for g in find_grids(image)]\n"
        "after = peak()\n"
        "print(before // 1024, after // 1024, image.nbytes >> 20, kinds)\n"
    )
    print("\n== memory at 24 megapixels (want at most 250 MB)")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    before, after, raster, kinds = out.stdout.split(maxsplit=3)
    row("peak of the whole process, MB", after, f"raster {raster} MB of it", kinds.strip())
    row("added by finding, MB", int(after) - int(before))


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("parts", nargs="*", default=["photos", "drawn", "empty", "times", "memory"])
    words.add_argument("--pages", type=int, default=60)
    words.add_argument("--from", dest="first", type=int, default=0)
    words.add_argument("--preset", default="hard")
    told = words.parse_args()
    cv2.setNumThreads(1)
    run: dict[str, Callable[[], None]] = {
        "photos": photos,
        "drawn": lambda: drawn(told.pages, told.first, told.preset),
        "empty": empty,
        "times": times,
        "memory": memory,
    }
    for part in told.parts:
        run[part]()


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
