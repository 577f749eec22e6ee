"""Frames for the network of a board's ruled lines, with what it should say of them.

A page gives several frames: of its boards, as roughly as outlines of ink tell them, and of what is
none: text, tables, crosswords, parts of boards, two at once. What the network should see are the
lines of the board in the middle of the frame; of all else nothing.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages import Page, PageSpec, board_page, draw, use_pack
from papernudge.digits_model.training.pages.board_pages import NAMES, named, other_page
from papernudge.digits_model.training.pages.board_puzzles import banked, hold
from papernudge.digits_model.training.pages.boards import MARKS
from papernudge.hints.layout import Layout
from papernudge.hints.shapes import as_data, from_data
from papernudge.vision.boards.cleaned import AREA_STEP, SIDE, STEP, laid, square_of
from papernudge.vision.find import work_view
from papernudge.vision.flatten import project

Points = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]
Sample = dict[str, npt.NDArray[Any]]
"""``picture`` uint8 (SIDE, SIDE); ``lines`` uint8 (2, SIDE/2, SIDE/2), 255 on a line; ``area``
uint8 (SIDE/8, SIDE/8), 255 in the board."""

MIX = (("easy", 0.05), ("newspaper", 0.5), ("hard", 0.37), ("cruel", 0.08))
"""Presets and their shares."""
PLAIN, MARKED = 0.12, 0.06
"""Share of pages with the newspaper's own grids, and of those with puzzles of other kinds."""
BOARD = 0.75
"""Share of the frames that are a board's."""
OFF = (0.008, 0.02, 0.05, 0.1)
"""How far a frame's corners lie off the board's, sides of it: one of these standard deviations."""
SAME, PART = 0.5, 0.3
"""Overlap (intersection by union) of frame and board from which on it is that board's frame, and
under which it is not; what lies between is not asked for."""
TRIES = 12
FORMS = 5
"""Boards of any blocks of each size: only their heavy lines matter here."""


def recipe(seed: int, split: str = "train") -> PageSpec:
    """The page of this seed."""
    rng = np.random.default_rng([seed, 51])
    name = str(rng.choice([n for n, _ in MIX], p=[share for _, share in MIX]))
    fields: dict[str, Any] = {"split": split}
    if rng.random() < 0.8:  # most of a page's cost are its pixels
        long = float(rng.uniform(560, 1000))
        short = long * float(rng.uniform(0.72, 0.95))
        upright = rng.random() < 0.6
        fields["width"], fields["height"] = (
            round(v) for v in ((short, long) if upright else (long, short))
        )
        fields["focus"] = "grid"
    if rng.random() < 0.85:
        fields["cut"] = ""
    if rng.random() < 0.3:
        fields["curl"] = float(rng.uniform(0.05, 0.5))
        fields["curl_kind"] = str(rng.choice(["gutter", "wave", "roll", "roll", "fold"]))
    chance = rng.random()
    if chance < MARKED:
        return other_page(name, seed, str(rng.choice(MARKS)), **fields)
    if chance < MARKED + PLAIN:
        return board_page(name, seed, [None], **fields)
    words = str(rng.choice(NAMES))
    return board_page(name, seed, named(words, int(rng.integers(FORMS))), **fields)


def boards() -> list[Layout]:
    """All boards that pages show."""
    return [
        named(words, form)
        for words in NAMES
        for form in range(FORMS if words.startswith("any") else 1)
    ]


def samples(
    seed: int,
    pages: Path | None = None,
    puzzles: Path | None = None,
    split: str = "train",
    count: int = 3,
) -> list[Sample]:
    """At most ``count`` frames with truth from the page of this seed.

    ``pages``: packed typefaces and strokes, where the machine has no font files; ``puzzles``: the
    boards' puzzles as :func:`packed` wrote them.
    """
    import cv2

    cv2.setNumThreads(1)
    supplied(pages, puzzles)
    page = draw(recipe(seed, split))
    rng = np.random.default_rng([seed, 52])
    return [_sample(*frame, rng) for frame in frames(page, rng, count)]


@lru_cache(maxsize=1)
def supplied(pages: Path | None, puzzles: Path | None) -> None:
    """Once a process: reading the packs takes longer than drawing a page."""
    if pages is not None:
        use_pack(pages)
    for data, many in json.loads(puzzles.read_text()) if puzzles is not None else ():
        hold(from_data(data), [(tuple(solution), tuple(givens)) for solution, givens in many])


def packed(to: Path, many: int = 3) -> None:
    """Writes so many puzzles of each board as JSON."""
    held = [(as_data(b), [banked(b, index) for index in range(many)]) for b in boards()]
    to.write_text(json.dumps(held))


Frame = tuple[Bytes, Points, Points]
"""A page as it is searched; corners (4, 2) of a frame; the crossings (S + 1, S + 1, 2) of the board
whose frame that is, none where it is no board's."""


def frames(page: Page, rng: np.random.Generator, count: int) -> list[Frame]:
    """At most ``count`` frames of a page by chance, all in pixels of the page as it is searched."""
    grey, scale = work_view(page.image)

    def seen(points: Points) -> Points:
        return np.asarray((points + 0.5) / scale - 0.5, np.float64)

    meshes = [g.crossings for g in page.truth.grids if g.crossings is not None]
    boards = [seen(mesh) for mesh in meshes if np.isfinite(mesh).all()]
    unknown = [seen(g.corners) for g in page.truth.grids if g.crossings is None]
    others = [seen(_box(np.array(d["box"]))) for d in page.truth.decoys]
    out: list[Frame] = []
    for _ in range(TRIES * count):
        if len(out) == count:
            break
        quad = _quad(boards, unknown + others, np.array(grey.shape[::-1]), rng)
        if quad is None:
            continue
        board = _meant(quad, boards)
        if board is None or _any_of(quad, unknown):
            continue
        out.append((grey, np.roll(quad, int(rng.integers(4)), axis=0), board))
    return out


def _box(box: Points) -> Points:
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float64)


def _corners(mesh: Points) -> Points:
    return mesh[[0, 0, -1, -1], [0, -1, -1, 0]]


def _quad(
    boards: list[Points], others: list[Points], size: npt.NDArray[Any], rng: np.random.Generator
) -> Points | None:
    """Corners (4, 2) of a frame by chance, clockwise; None where it is none."""
    draw_ = float(rng.random())
    if boards and draw_ < BOARD:
        mesh = boards[int(rng.integers(len(boards)))]
        quad = _corners(mesh).copy()
    elif boards and draw_ < BOARD + 0.1:  # part of a board
        mesh = boards[int(rng.integers(len(boards)))]
        many = len(mesh) - 1
        (top, low), (left, right) = (
            np.sort(rng.choice(many + 1, 2, replace=False)) for _ in range(2)
        )
        quad = mesh[[top, top, low, low], [left, right, right, left]].copy()
    elif others and draw_ < BOARD + 0.2:
        quad = others[int(rng.integers(len(others)))].copy()
    else:
        middle, half = rng.uniform(0, 1, 2) * size, rng.uniform(0.06, 0.4, 2) * size.min()
        quad = _box(np.concatenate([middle - half, middle + half]))
    side = float(np.sqrt(abs(_area(quad))))
    off = float(rng.choice(OFF, p=[0.35, 0.35, 0.2, 0.1]))
    quad += rng.normal(0, off * side, (4, 2)) + rng.normal(0, 0.5 * off * side, 2)
    ahead, over = np.roll(quad, -1, axis=0) - quad, np.roll(quad, -2, axis=0) - quad
    turn = ahead[:, 0] * over[:, 1] - ahead[:, 1] * over[:, 0]
    inside = (quad > -0.05 * size).all() and (quad < 1.05 * size).all()
    long = np.linalg.norm(ahead, axis=1)
    sound = turn.min() > 0 and long.min() > 0.25 * long.max() and long.min() > 50
    return quad if inside and sound else None


def _area(quad: Points) -> float:
    ahead = np.roll(quad, -1, axis=0)
    return float((quad[:, 0] * ahead[:, 1] - quad[:, 1] * ahead[:, 0]).sum()) / 2


def _overlap(one: Points, two: Points) -> float:
    """Intersection by union of two convex shapes (4, 2)."""
    import cv2

    both = float(cv2.intersectConvexConvex(one.astype(np.float32), two.astype(np.float32))[0])
    return both / max(abs(_area(one)) + abs(_area(two)) - both, 1e-6)


def _meant(quad: Points, boards: list[Points]) -> Points | None:
    """The board (S + 1, S + 1, 2) whose frame this is, of no lines where it is none's; None where
    that can't be said.
    """
    best, most = np.zeros((0, 0, 2)), PART
    for mesh in boards:
        share = _overlap(quad, _corners(mesh))
        if share > most:
            best, most = mesh, share
    return None if PART < most < SAME else best


def _any_of(quad: Points, shapes: list[Points]) -> bool:
    """Whether the frame may be one of these grids whose lines are not known."""
    return any(_overlap(quad, shape) > 0.2 for shape in shapes)


def _sample(grey: Bytes, quad: Points, mesh: Points, rng: np.random.Generator) -> Sample:
    """What the network sees of the frame ``quad`` (4, 2) and should say, mirrored by chance."""
    picture = laid(grey, quad)
    lines, area = maps_of(project(square_of(quad), mesh) if mesh.size else mesh)
    if rng.random() < 0.5:
        picture, lines, area = picture[:, ::-1], lines[..., ::-1], area[:, ::-1]
    return {
        k: np.ascontiguousarray(v)
        for k, v in (("picture", picture), ("lines", lines), ("area", area))
    }


def maps_of(mesh: Points) -> tuple[Bytes, Bytes]:
    """The maps of a board's crossings (S + 1, S + 1, 2), pixels of what the network sees.

    Which of its lines run along what is seen is told by their course.
    """
    import cv2

    lines = np.zeros((2, SIDE // STEP, SIDE // STEP), np.uint8)
    area = np.zeros((SIDE // AREA_STEP, SIDE // AREA_STEP), np.uint8)
    if not mesh.size:
        return lines, area
    step = mesh[:, -1].mean(axis=0) - mesh[:, 0].mean(axis=0)
    flip = abs(step[0]) < abs(step[1])
    for number, rows in enumerate((mesh, mesh.transpose(1, 0, 2))):
        fine = _finer(rows)
        at = np.clip((fine - (STEP - 1) / 2) / STEP, -2000, 2000)
        which = lines[number ^ int(flip)]
        curves = [np.rint(row * 16).astype(np.int32) for row in at]
        cv2.polylines(which, curves, False, (255,), 1, cv2.LINE_AA, 4)
    rim = np.concatenate([mesh[0, :-1], mesh[:-1, -1], mesh[-1, :0:-1], mesh[:0:-1, 0]])
    at = np.clip((rim - (AREA_STEP - 1) / 2) / AREA_STEP, -2000, 2000)
    cv2.fillPoly(area, [np.rint(at * 16).astype(np.int32)], (255,), shift=4)
    return lines, area


def _finer(rows: Points, by: int = 4) -> Points:
    """Points (L, N, 2) along lines, ``by`` - 1 more between each two (Catmull and Rom, 1974)."""
    first, last = 2 * rows[:, :1] - rows[:, 1:2], 2 * rows[:, -1:] - rows[:, -2:-1]
    p = np.concatenate([first, rows, last], axis=1)
    a, b, c, d = p[:, :-3], p[:, 1:-2], p[:, 2:-1], p[:, 3:]
    parts = [
        0.5
        * (
            2 * b
            + (c - a) * t
            + (2 * a - 5 * b + 4 * c - d) * t**2
            + (3 * b - a - 3 * c + d) * t**3
        )
        for t in np.arange(by) / by
    ]
    inner = np.stack(parts, axis=2).reshape(len(rows), -1, 2)
    return np.concatenate([inner, rows[:, -1:]], axis=1)
