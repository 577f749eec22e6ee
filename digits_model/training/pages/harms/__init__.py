"""Harms: what befalls a photo between page and reader, with the truth of what can still be seen.

They work on any photo whose grid's crossings are known, drawn or real: :func:`harm` lays one
kind at a level from 1 (mild) to 5 (strong), :func:`harms` several. Levels follow one table a
kind; forms, places, colours and light are drawn by the seed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.harms import covers, folds, light, marks, taking
from papernudge.digits_model.training.pages.harms.scene import Harmed, Scene

Harm = Callable[[Scene, float], None]


def _covering(lay: Harm) -> Harm:
    """A cover by level: it takes so many cells."""
    return lambda scene, level: lay(scene, covers.upto(covers.CELLS, level))


KINDS: dict[str, Harm] = {
    "thumb": _covering(covers.finger),
    "hand": _covering(covers.fist),
    "pen": _covering(covers.pen),
    "cup": _covering(covers.cup),
    "page": _covering(covers.paper_corner),
    "thing": _covering(covers.thing),
    "strip": _covering(covers.strip),
    "torn": _covering(covers.torn),
    "dog-ear": _covering(covers.turned_corner),
    "glare": light.glare,
    "shadow": light.shadow,
    "crease": folds.crease,
    "crumple": folds.crumple,
    "curl": folds.curl,
    "cut": folds.cut,
    "stamp": marks.stamp,
    "doodle": marks.doodle,
    "ring": marks.ring,
    "jpeg": taking.jpeg,
    "noise": taking.noise,
    "blur": taking.blur,
}
"""All kinds, in the order in which they befall a page: the camera's come last."""
UNTAUGHT = ("thing", "ring")
"""Kinds that training leaves out: what a stress set shows of them says how far it carries."""
COVERS = ("thumb", "hand", "pen", "cup", "page", "thing", "strip", "torn", "dog-ear")


def harm(
    image: npt.NDArray[np.uint8],
    crossings: npt.NDArray[np.float64],
    kind: str,
    level: float,
    seed: int,
) -> Harmed:
    """The photo with one harm.

    ``image``: uint8 (H, W, 3), blue, green, red; ``crossings``: (10, 10, 2), raster x/y, row by
    row; ``kind``: one of KINDS; ``level``: 1 mild to 5 strong, also between; the same ``seed``
    gives the same photo. Raises ValueError for an unknown kind.
    """
    return harms(image, crossings, [(kind, level)], seed)


def harms(
    image: npt.NDArray[np.uint8],
    crossings: npt.NDArray[np.float64],
    which: Sequence[tuple[str, float]],
    seed: int,
) -> Harmed:
    """The photo with several harms (kind, level), one after the other; none for its bare truth."""
    unknown = [kind for kind, _ in which if kind not in KINDS]
    if unknown:
        raise ValueError(f"expected kinds of harm of {', '.join(KINDS)}; got {unknown[0]!r}")
    order = list(KINDS)
    rng = np.random.default_rng([seed, 31])
    scene = Scene(image.astype(np.float32), np.asarray(crossings, np.float64), rng)
    for kind, level in sorted(which, key=lambda held: order.index(held[0])):
        scene.rng = np.random.default_rng([seed, 31, order.index(kind)])
        KINDS[kind](scene, level)
    return scene.truth()


__all__ = ["COVERS", "KINDS", "UNTAUGHT", "Harmed", "harm", "harms"]
