"""What is known of one grid before anything is decided: plain data, which can be written out and
read back, so that an answer that comes later, elsewhere, settles what it would have settled here.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import astuple, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Asked, Scores
from papernudge.digits_model.scores import reader as this_reader
from papernudge.hints.catalogue import Message, message
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.shapes import as_data, from_data
from papernudge.vision.grid import Quality
from papernudge.vision.hidden import Hidden
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.said import ENGLISH
from papernudge.vision.sight import Sight

Floats = npt.NDArray[np.float64]
FORM = 4
"""Number of the form in which evidence is written; a new one for each change."""
MOST_BYTES = 65_536
"""Longest that one newspaper grid's evidence may be when written; of a board of more cells it may
be longer in proportion."""
_SCORES = ("digits", "hand", "notes", "struck", "turned", "features")


@dataclass(frozen=True, eq=False)
class Evidence:
    """All that the photo says of one grid that was read, the right way up.

    ``corners``: float64 (4, 2), raster x/y, clockwise from the reader's top left; ``mesh``: its
    crossings, None where there is none; ``scores``: what the looks make of its cells; ``hand``:
    float64 (N,), log-odds by the whole page that a mark is handwritten; ``sight``: what of it can
    be seen; ``thorough``: whether its readings are searched for with all effort; ``layout``: the
    board, upright; ``layout_doubts`` and ``other_layout``: as of
    :class:`papernudge.vision.grid.FoundGrid`, upright.
    """

    corners: Points
    quality: Quality
    mesh: Mesh | None
    scores: Scores
    hand: Floats
    sight: Sight
    thorough: bool = True
    layout: Layout = NEWSPAPER
    layout_doubts: tuple[tuple[int, float], ...] = ()
    other_layout: Layout | None = None


class MisfitError(ValueError):
    """What was read back is no evidence, or was written by another version. ``says``: that, to be
    told to a person; its text is the same in English.
    """

    def __init__(self, says: Message) -> None:
        super().__init__(ENGLISH.tell(says))
        self.says = says


def written(evidence: Evidence, beside: Mapping[str, Any] | None = None) -> bytes:
    """The evidence as a file of its own kind (npz, compressed), at most :func:`most_bytes`.

    ``beside``: what else, of JSON's types, goes into it.

    All cells are looked at closer first, for any of them may turn out to matter: a second or two
    for 81. What comes of an answer later is the same to about seven digits.
    """
    scores, sight, mesh = evidence.scores, evidence.sight, evidence.mesh
    arrays: dict[str, npt.NDArray[Any]] = {name: getattr(scores, name) for name in _SCORES}
    arrays |= {"page_hand": evidence.hand, "corners": evidence.corners}
    if scores.closer is not None:
        arrays["closer"] = scores.closer.digits(np.arange(evidence.layout.many))
    if sight.signs is not None:
        arrays["signs"] = sight.signs
    if sight.hands is not None:
        arrays["hands"] = sight.hands
    if mesh is not None:
        arrays |= {"crossings": mesh.crossings, "seen": mesh.seen}
    told = {
        "form": FORM,
        "reader": this_reader(),
        "hidden": {str(cell): str(why) for cell, why in sight.hidden.items()},
        "bent": sorted(sight.bent),
        "ailing": sight.ailing,
        "uneasy": sight.uneasy,
        "thorough": evidence.thorough,
        "beside": dict(beside or {}),
        "quality": list(astuple(evidence.quality)[1:]),
    }
    if evidence.layout is not NEWSPAPER:
        told["layout"] = as_data(evidence.layout)
    if evidence.other_layout is not None:
        told["other layout"] = as_data(evidence.other_layout)
        told["layout doubts"] = [list(one) for one in evidence.layout_doubts]
    arrays["told"] = np.frombuffer(json.dumps(told).encode(), np.uint8)
    out = io.BytesIO()
    np.savez_compressed(out, **arrays)  # type: ignore[arg-type]
    most = most_bytes(evidence.layout)
    if out.tell() > most:
        raise MisfitError(message("saved too long", size=out.tell(), most=most))
    return out.getvalue()


def most_bytes(layout: Layout) -> int:
    """Longest that the evidence of a grid on this board may be when written."""
    return max(MOST_BYTES, MOST_BYTES * layout.many // NEWSPAPER.many)


def read_back(data: bytes) -> tuple[Evidence, dict[str, Any]]:
    """What :func:`written` wrote, and what went beside it.

    MisfitError for anything else, and for what another version wrote: chances of another reader
    would be added to ours.
    """
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
        told = json.loads(arrays["told"].tobytes())
        form, by = told["form"], told["reader"]
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile) as error:
        raise MisfitError(message("saved by none")) from error
    if (form, by) != (FORM, this_reader()):
        here = this_reader()
        raise MisfitError(
            message("saved by another version", form=form, reader=by, here=FORM, ours=here)
        )
    try:
        return _evidence(arrays, told), dict(told["beside"])
    except (LookupError, ValueError, TypeError, AttributeError) as error:
        raise MisfitError(message("saved and damaged")) from error


def _evidence(arrays: Mapping[str, npt.NDArray[Any]], told: Mapping[str, Any]) -> Evidence:
    layout = from_data(told["layout"]) if "layout" in told else NEWSPAPER
    many, side = layout.many, layout.side
    marks = (many, side + 1)
    closer = Asked(_shaped(arrays, "closer", marks)) if "closer" in arrays else None
    scores = Scores(
        _shaped(arrays, "digits", marks),
        _shaped(arrays, "hand", (many,)),
        _shaped(arrays, "notes", (many, side)),
        _shaped(arrays, "struck", (many,)),
        _shaped(arrays, "turned", (many, 4)),
        _shaped(arrays, "features", (many, arrays["features"].shape[-1])),
        closer,
    )
    sight = Sight(
        {int(cell): Hidden(why) for cell, why in told["hidden"].items()},
        _shaped(arrays, "signs", (many, 4)) if "signs" in arrays else None,
        frozenset(told["bent"]),
        bool(told["ailing"]),
        bool(told["uneasy"]),
        hands=_shaped(arrays, "hands", (many, 3)) if "hands" in arrays else None,
    )
    mesh = None
    if "crossings" in arrays:
        lines = (side + 1, side + 1)
        crossings, seen = _shaped(arrays, "crossings", (*lines, 2)), _shaped(arrays, "seen", lines)
        mesh = Mesh(crossings, seen)
    reason, says, *numbers = told["quality"]
    return Evidence(
        _shaped(arrays, "corners", (4, 2)),
        Quality(True, reason, says, *map(float, numbers)),
        mesh,
        scores,
        _shaped(arrays, "page_hand", (many,)),
        sight,
        bool(told["thorough"]),
        layout,
        tuple((int(cell), float(chance)) for cell, chance in told.get("layout doubts", ())),
        from_data(told["other layout"]) if "other layout" in told else None,
    )


def _shaped(
    arrays: Mapping[str, npt.NDArray[Any]], name: str, shape: tuple[int, ...]
) -> npt.NDArray[Any]:
    """One of the arrays; ValueError where it has another shape, or numbers that are none."""
    found = arrays[name]
    if found.shape != shape or found.dtype.kind not in "fb" or np.isnan(found).any():
        raise ValueError(f"expected {name} to be of shape {shape}, got {found.shape}")
    return found
