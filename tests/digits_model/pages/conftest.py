"""What the page maker's tests share."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.digits_model.training.pages import MissingSuppliesError, PageSpec
from papernudge.digits_model.training.pages.fonts import Supplies, SystemSupplies, table
from papernudge.digits_model.training.pages.own import OwnSupplies

sys.path.insert(0, str(Path(__file__).parent))  # board_judge.py, by name

STILL: dict[str, Any] = {
    "width": 640,
    "height": 640,
    "face": "any",
    "neighbours": 0.0,
    "titles": False,
    "grain": 0.0,
    "mottle": 0.0,
    "tone": (255, 255, 255),
    "focus_blur": 0.0,
    "noise": 0.0,
    "gradient": 0.0,
    "vignette": 0.0,
    "white": 255.0,
    "black": 0.0,
    "thin": 0.04,
    "thick": 0.06,
    "thin_ink": (0, 0, 0),
    "thick_ink": (0, 0, 0),
    "jpeg": 0,
}
"""A page without paper, light or lens: what is left is ink and geometry."""


@pytest.fixture(scope="session")
def own() -> OwnSupplies:
    """Supplies that need no file."""
    return OwnSupplies()


@pytest.fixture(scope="session")
def system() -> Supplies:
    """Installed typefaces and the stroke file; skips where they are not all there."""
    found = SystemSupplies()
    try:
        found.strokes()
        for face in table():
            found.path(face.file)
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    return found


@pytest.fixture(scope="session")
def still() -> Callable[..., PageSpec]:
    """Makes a spec without any disturbance but what is asked for."""

    def make(seed: int = 1, **fields: Any) -> PageSpec:
        return PageSpec(**{"seed": seed, **STILL, **fields})

    return make
