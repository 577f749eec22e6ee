"""Named hardness: what each preset draws, and the least difficulty of each of its pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import designs
from papernudge.digits_model.training.pages.legible import (
    least_cell,
    legible,
    room_for_notes,
    upright_cell,
)
from papernudge.digits_model.training.pages.spec import DECOYS, PENS, PageSpec

Draw = Callable[[np.random.Generator], Any]

HARDSHIPS: dict[str, Callable[[PageSpec], bool]] = {
    "tilt": lambda s: s.tilt >= 20,
    "turn": lambda s: 20 <= s.turn % 360 <= 340,
    "curl": lambda s: s.curl >= 0.15,
    "small": lambda s: s.share * min(s.width, s.height) / 9 < 34,
    "blur": lambda s: s.focus_blur >= 1.3 or s.motion >= 3.0 or s.upscaled <= 0.6,
    "faint": lambda s: s.white - s.black < 115,
    "cast": lambda s: max(s.cast) - min(s.cast) >= 0.18,
    "shadow": lambda s: s.shadow >= 0.3,
    "noise": lambda s: s.noise >= 5,
    "glare": lambda s: s.glare >= 0.4,
    "lines": lambda s: s.dotted or s.outer == 0 or min(s.thin_ink) > 140,
    "through": lambda s: s.through >= 0.4,
    "jpeg": lambda s: 0 < s.jpeg < 40,
    "clutter": lambda s: s.neighbours >= 0.7 and len(s.decoys) >= 3,
    "messy": lambda s: s.crossing + s.struck + s.overwritten + s.ghosts >= 0.12,
}
"""What makes a page hard, each with the test that a page shows it."""

FLOORS = {"easy": 0, "newspaper": 1, "hard": 3, "cruel": 5}
"""How many hardships every page of a preset shows at least."""

LEAST_CELL = {"easy": 40.0, "newspaper": 34.0, "hard": 32.0, "cruel": 18.0}
"""Pixels that an upright cell of the main grids gets at least, by choice of the raster."""

_HEAVIER = 1.4
"""How many times as heavy as a thin line a line between blocks is at least."""

_RAISE: dict[str, dict[str, Draw]] = {
    "tilt": {"tilt": lambda g: float(g.uniform(20, 38))},
    "turn": {"turn": lambda g: float(g.uniform(25, 335))},
    "curl": {"curl": lambda g: float(g.uniform(0.15, 0.4))},
    "faint": {"white": lambda g: 150.0, "black": lambda g: float(g.uniform(38, 60))},
    "shadow": {"shadow": lambda g: float(g.uniform(0.3, 0.55))},
    "through": {"through": lambda g: float(g.uniform(0.4, 0.7))},
    "jpeg": {"jpeg": lambda g: int(g.integers(28, 40))},
}


def _flat(low: float, high: float) -> Draw:
    return lambda g: float(g.uniform(low, high))


def _log(low: float, high: float) -> Draw:
    return lambda g: float(np.exp(g.uniform(np.log(low), np.log(high))))


def _whole(low: int, high: int) -> Draw:
    return lambda g: int(g.integers(low, high + 1))


def _pick(*values: Any, weights: tuple[float, ...] | None = None) -> Draw:
    shares = None if weights is None else np.array(weights) / sum(weights)
    return lambda g: values[int(g.choice(len(values), p=shares))]


def _maybe(share: float, draw: Draw, other: Any = 0.0) -> Draw:
    return lambda g: draw(g) if g.random() < share else other


def _grey(low: int, high: int) -> Draw:
    def draw(g: np.random.Generator) -> tuple[int, int, int]:
        level = int(g.integers(low, high + 1))
        blue, green, red = (int(np.clip(level + g.integers(-8, 9), 0, 255)) for _ in range(3))
        return blue, green, red

    return draw


def printing_ink(g: np.random.Generator) -> tuple[int, int, int]:
    """A coloured printing ink: mostly red, some blue, green, brown."""
    bases = [(60, 50, 215), (90, 80, 235), (190, 100, 30), (90, 140, 40), (50, 90, 150)]
    base = bases[int(g.choice(5, p=[0.4, 0.25, 0.2, 0.08, 0.07]))]
    blue, green, red = (int(np.clip(c + g.integers(-25, 26), 0, 255)) for c in base)
    return blue, green, red


def _pen_ink(g: np.random.Generator) -> tuple[int, int, int]:
    bases = [(150, 50, 30), (40, 35, 35), (45, 35, 190), (70, 110, 30), (130, 30, 110)]
    base = bases[int(g.choice(5, p=[0.42, 0.3, 0.18, 0.06, 0.04]))]
    blue, green, red = (int(np.clip(c + g.integers(-30, 31), 0, 255)) for c in base)
    return blue, green, red


def _cast(strength: float) -> Draw:
    """White balance gone wrong: along warm to cold, and towards green more than magenta."""

    def draw(g: np.random.Generator) -> tuple[float, float, float]:
        warm, tint = g.normal(0, strength), g.normal(0.5, 0.7) * strength
        gains = np.exp(np.array([-warm - tint / 2, tint / 2, warm - tint / 2]))
        blue, green, red = (float(x) for x in gains / gains.max())
        return blue, green, red

    return draw


def _some_decoys(low: int, high: int) -> Draw:
    def draw(g: np.random.Generator) -> tuple[str, ...]:
        weights = np.array([5, 1, 0.7, 1, 1.5, 1.2, *[0.4] * 6])
        count = int(g.integers(low, high + 1))
        chosen = g.choice(len(DECOYS), count, replace=False, p=weights / weights.sum())
        return tuple(DECOYS[int(i)] for i in chosen)

    return draw


_NEWSPAPER: dict[str, Draw] = {
    "focus": _pick("grid", "page", weights=(4, 1)),
    "share": _flat(0.72, 0.985),
    "off_x": _flat(-1, 1),
    "off_y": _flat(-1, 1),
    "grids": _pick(1, 2, weights=(8, 1)),
    "neighbours": _flat(0.2, 0.9),
    "decoys": _some_decoys(1, 4),
    "gap": _flat(0.7, 3.0),
    "titles": _pick(True, False, weights=(3, 1)),
    "masthead": _maybe(0.1, lambda g: True, False),
    "text": _whole(0, 7),
    "digit_high": _flat(0.35, 0.66),
    "digit_x": lambda g: float(g.normal(0, 0.015)),
    "digit_y": lambda g: float(g.normal(0, 0.02)),
    "given_ink": lambda g: printing_ink(g) if g.random() < 0.22 else _grey(20, 105)(g),
    "gain": lambda g: float(g.normal(0.002, 0.008)),
    "mottle": _flat(0.0, 0.35),
    "thin": _log(0.01, 0.035),
    "thick": _log(0.03, 0.08),
    "outer": lambda g: float(_log(0.03, 0.1)(g)),
    "double": _maybe(0.02, lambda g: True, False),
    "dotted": _maybe(0.03, lambda g: True, False),
    "thin_ink": lambda g: _grey(125, 185)(g) if g.random() < 0.3 else _grey(30, 125)(g),
    "thick_ink": _grey(20, 90),
    "shade": _pick("", "blocks", "cells", "givens", "all", weights=(20, 2, 2, 1, 0.5)),
    "shade_ink": lambda g: tuple(int(c) for c in 255 - g.integers(12, 75) * g.uniform(0.4, 1, 3)),
    "halftone": _maybe(0.3, _flat(8, 26)),
    "givens": _whole(22, 40),
    "fill": lambda g: float(g.choice([0.0, g.uniform(0.05, 0.9), 1.0], p=[0.35, 0.45, 0.2])),
    "writer": _whole(0, 999),
    "variants": lambda g: float(g.choice([0.0, g.uniform(0.1, 0.9)], p=[0.6, 0.4])),
    "pen": _pick(*PENS, weights=(5, 5, 2, 1, 3)),
    "second": _maybe(0.12, _flat(0.05, 0.6)),
    "pen_ink": _pen_ink,
    "pen_width": _log(0.028, 0.075),
    "pen_cover": _flat(0.7, 1.0),
    "entry_high": _flat(0.36, 0.72),
    "entry_vary": _flat(0.02, 0.07),
    "slant": lambda g: float(g.normal(4, 8)),
    "wobble": _flat(0.0, 0.03),
    "note_share": _maybe(0.35, _flat(0.05, 0.9)),
    "note_style": _pick("corner", "row", "raster", "middle"),
    "note_high": _flat(0.19, 0.29),
    "note_pencil": _pick(True, False),
    "struck_notes": _maybe(0.3, _flat(0.1, 0.5)),
    "struck": _maybe(0.12, _flat(0.02, 0.15)),
    "ghosts": _maybe(0.15, _flat(0.02, 0.2)),
    "overwritten": _maybe(0.12, _flat(0.02, 0.1)),
    "circled": _maybe(0.1, _flat(0.02, 0.12)),
    "highlit": _maybe(0.08, _flat(0.02, 0.2)),
    "crossing": _maybe(0.2, _flat(0.03, 0.2)),
    "margin_notes": _maybe(0.08, _whole(1, 6), 0),
    "tone": lambda g: tuple(int(c) for c in np.sort(g.integers(205, 250, 3))),
    "grain": _flat(0.1, 0.7),
    "through": _maybe(0.4, _flat(0.1, 0.6)),
    "creases": _maybe(0.15, _whole(1, 3), 0),
    "stains": _maybe(0.08, _whole(1, 3), 0),
    "specks": _maybe(0.25, _whole(1, 14), 0),
    "ring": _maybe(0.02, lambda g: True, False),
    "table": _whole(0, 99),
    "curl": _maybe(0.4, _flat(0.02, 0.2)),
    "curl_kind": _pick("gutter", "wave", "fold", "roll"),
    "curl_axis": lambda g: float(g.choice([0.0, 90.0, g.uniform(0, 180)])),
    "turn": lambda g: float(g.normal(0, 3)),
    "tilt": _flat(0, 14),
    "tilt_to": _flat(0, 360),
    "fov": _flat(50, 74),
    "lens": lambda g: float(g.normal(0, 0.02)),
    "focus_blur": _log(0.5, 2.3),
    "motion": _maybe(0.3, _flat(1, 5)),
    "motion_to": _flat(0, 180),
    "upscaled": _maybe(0.25, _flat(0.5, 0.95), 1.0),
    "noise": _log(0.6, 5),
    "noise_soft": lambda g: float(g.beta(1.6, 1.0)),
    "white": _flat(150, 245),
    "black": _flat(8, 60),
    "gamma": _log(0.8, 1.3),
    "cast": _cast(0.09),
    "cast_drift": _maybe(0.5, _flat(0.02, 0.2)),
    "gradient": _flat(0, 0.4),
    "gradient_to": _flat(0, 360),
    "vignette": _flat(0, 0.3),
    "shadow": _maybe(0.15, _flat(0.15, 0.5)),
    "shadow_soft": _log(0.01, 0.1),
    "glare": _maybe(0.04, _flat(0.2, 0.6)),
    "sharpen": _maybe(0.35, _flat(0.2, 1.2)),
    "jpeg": _whole(45, 95),
    "tag": _pick(0, 1, 3, 6, 8, weights=(10, 10, 1, 2, 1)),
}

_EASY: dict[str, Draw] = {
    **_NEWSPAPER,
    "share": _flat(0.8, 0.95),
    "grids": lambda g: 1,
    "neighbours": _flat(0, 0.3),
    "given_ink": _grey(15, 60),
    "dotted": lambda g: False,
    "double": lambda g: False,
    "thin_ink": _grey(30, 90),
    "shade": lambda g: "",
    "note_share": lambda g: 0.0,
    "struck": lambda g: 0.0,
    "ghosts": lambda g: 0.0,
    "overwritten": lambda g: 0.0,
    "crossing": lambda g: 0.0,
    "second": lambda g: 0.0,
    "specks": lambda g: 0,
    "circled": lambda g: 0.0,
    "highlit": lambda g: 0.0,
    "curl": lambda g: 0.0,
    "tilt": _flat(0, 8),
    "focus_blur": _flat(0.4, 0.8),
    "motion": lambda g: 0.0,
    "upscaled": lambda g: 1.0,
    "noise": _flat(0.5, 2),
    "white": _flat(190, 240),
    "black": _flat(5, 30),
    "cast": _cast(0.02),
    "shadow": lambda g: 0.0,
    "glare": lambda g: 0.0,
    "jpeg": _whole(75, 95),
}

_HARD: dict[str, Draw] = {
    **_NEWSPAPER,
    "cut": _pick("", "left", "right", "top", "bottom", weights=(36, 1, 1, 1, 1)),
    "cut_cells": _flat(0.3, 4),
    "focus": _pick("grid", "page", weights=(1, 2)),
    "share": _flat(0.6, 0.96),
    "grids": _pick(1, 2, 3, 4, 5, 6, 7, 8, weights=(12, 5, 2, 3, 1, 2, 1, 1)),
    "neighbours": _flat(0.2, 1),
    "decoys": _some_decoys(2, 6),
    "dotted": _maybe(0.06, lambda g: True, False),
    "double": _maybe(0.04, lambda g: True, False),
    "outer": lambda g: 0.0 if g.random() < 0.05 else float(_log(0.02, 0.12)(g)),
    "shade": _pick("", "blocks", "cells", "givens", "all", weights=(12, 3, 3, 1, 1)),
    "fill": lambda g: float(g.choice([0.0, g.uniform(0.05, 0.9), 1.0], p=[0.2, 0.6, 0.2])),
    "note_share": _maybe(0.5, _flat(0.1, 1.0)),
    "struck": _maybe(0.25, _flat(0.02, 0.2)),
    "ghosts": _maybe(0.25, _flat(0.02, 0.25)),
    "overwritten": _maybe(0.2, _flat(0.02, 0.15)),
    "circled": _maybe(0.15, _flat(0.02, 0.15)),
    "crossing": _maybe(0.35, _flat(0.05, 0.3)),
    "margin_notes": _maybe(0.15, _whole(1, 8), 0),
    "curl": _maybe(0.55, _flat(0.05, 0.5)),
    "turn": lambda g: float(g.normal(0, 8) if g.random() < 0.4 else g.uniform(0, 360)),
    "tilt": lambda g: float(45 * g.beta(1.3, 1.7)),
    "lens": lambda g: float(g.normal(0, 0.035)),
    "focus_blur": _log(0.5, 2.0),
    "motion": _maybe(0.35, _flat(1, 6)),
    "noise": _log(1, 8),
    "shadow": _maybe(0.35, _flat(0.15, 0.6)),
    "glare": _maybe(0.1, _flat(0.2, 0.7)),
    "vignette": _flat(0, 0.55),
    "stains": _maybe(0.2, _whole(1, 4), 0),
    "ring": _maybe(0.05, lambda g: True, False),
    "creases": _maybe(0.3, _whole(1, 4), 0),
    "jpeg": _whole(28, 95),
}

_CRUEL: dict[str, Draw] = {
    **_HARD,
    "tilt": lambda g: float(50 * g.beta(1.8, 1.2)),
    "turn": _flat(0, 360),
    "curl": _maybe(0.8, _flat(0.1, 0.5)),
    "focus_blur": _log(0.8, 2.8),
    "motion": _maybe(0.5, _flat(2, 9)),
    "noise": _log(2, 11),
    "white": _flat(110, 220),
    "black": _flat(20, 70),
    "cast": _cast(0.14),
    "shadow": _maybe(0.5, _flat(0.2, 0.65)),
    "through": _maybe(0.6, _flat(0.2, 0.8)),
    "note_share": _maybe(0.6, _flat(0.2, 1.0)),
    "struck": _maybe(0.4, _flat(0.05, 0.25)),
    "jpeg": _whole(20, 85),
}

PRESETS = {"easy": _EASY, "newspaper": _NEWSPAPER, "hard": _HARD, "cruel": _CRUEL}


def preset(name: str, seed: int, **overrides: Any) -> PageSpec:
    """A page of the named hardness: ``"easy"``, ``"newspaper"``, ``"hard"`` or ``"cruel"``.

    Every field is drawn by chance of its own from the seed and its name; ``overrides`` fix
    fields and leave the rest as they would have been; only lines between blocks are kept 1.4
    times as heavy as the thin ones. Pages that show fewer hardships than
    FLOORS asks for are made harder in fields that are not overridden.
    """
    if name not in PRESETS:
        raise ValueError(f"expected one of {sorted(PRESETS)}, got {name!r}")
    fields = {
        field: overrides[field] if field in overrides else draw(stream(seed, field))
        for field, draw in PRESETS[name].items()
    }
    spec = replace(PageSpec(seed=seed, preset=name, **fields), **overrides)
    if "thick" not in overrides:  # lines that look alike show no blocks
        spec = replace(spec, thick=max(spec.thick, _HEAVIER * spec.thin))
    if "width" not in overrides and "height" not in overrides:
        spec = _enough_pixels(replace(spec, **_frame(stream(seed, "frame"))))
    if "face" not in overrides:
        spec = replace(spec, face=choose_face(spec.split, stream(seed, "face")))
    fixed = set(overrides)
    undone: set[str] = set()
    for _ in range(len(_RAISE)):  # what makes a page legible may take a hardship away
        raised = _at_least(spec, FLOORS[name], fixed, undone)
        spec = legible(raised, fixed)
        if len(hardships(spec)) >= FLOORS[name]:
            break
        undone |= hardships(raised) - hardships(spec)
    return spec


def choose_face(split: str, chance: np.random.Generator) -> str:
    """A font file of the split: first a design family, then one of its faces.

    Sans serifs are drawn four times as often as serifs, as in newspapers, and the design that
    most papers use is drawn more often still.
    """
    families = designs(split)
    weights = np.array(
        [
            {"sans": 4.0, "serif": 1.5, "slab": 1.5, "mono": 0.5}[f[0].kind]
            for f in families.values()
        ]
    )
    weights[[name == "Helvetica design" for name in families]] *= 10
    faces = list(families.values())[int(chance.choice(len(weights), p=weights / weights.sum()))]
    upright = [1.0 if "talic" not in f.style and "bliq" not in f.style else 0.15 for f in faces]
    return faces[int(chance.choice(len(faces), p=np.array(upright) / sum(upright)))].file


def hardships(spec: PageSpec) -> set[str]:
    """Which of HARDSHIPS the page shows."""
    return {name for name, shows in HARDSHIPS.items() if shows(spec)}


def _frame(chance: np.random.Generator) -> dict[str, Any]:
    long, short = [(1280, 960), (1280, 720), (1152, 864)][int(chance.choice(3, p=[0.6, 0.2, 0.2]))]
    upright = chance.random() < 0.6
    return {"width": short if upright else long, "height": long if upright else short}


def _enough_pixels(spec: PageSpec) -> PageSpec:
    """A larger raster for many grids or for notes: people step back with a better phone."""
    grow = LEAST_CELL[spec.preset] / upright_cell(spec)
    if spec.note_share > 0:
        # A curl that leaves less room is taken back by what keeps pages legible.
        grow = max(grow, room_for_notes(spec) / least_cell(replace(spec, curl=0.0)))
    grow = float(np.clip(grow, 1.0, 2.6))
    return replace(spec, width=round(spec.width * grow), height=round(spec.height * grow))


def _at_least(spec: PageSpec, floor: int, fixed: set[str], leave: set[str]) -> PageSpec:
    """The page with more hardships, those in ``leave`` apart."""
    chance = stream(spec.seed, "floor")
    for name in chance.permutation(sorted(_RAISE)):
        if len(hardships(spec)) >= floor:
            break
        raised = _RAISE[str(name)]
        if str(name) not in hardships(spec) | leave and not fixed & set(raised):
            spec = replace(spec, **{field: draw(chance) for field, draw in raised.items()})
    return spec
