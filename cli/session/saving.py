"""A session as plain data: what the photo says of one grid, and what the person said of it.

Written out it is at most 64 KiB, of a board of more cells than 81 more in proportion; read back,
by any process with the same reader, it answers as it would have. The photo is not in it: pictures
of it are clean boards.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from papernudge.cli.base.trouble import Trouble
from papernudge.cli.session.assume import Assumption
from papernudge.cli.session.documents import layout_field
from papernudge.cli.session.pages import Page, Sheet, marked_full, page_of_lines
from papernudge.hints.catalogue import Message, message
from papernudge.hints.layout import NEWSPAPER

if TYPE_CHECKING:
    from papernudge.vision.evidence import Evidence
    from papernudge.vision.reading import GridReading

_FORM = 1


class SavedError(Trouble):
    """What was read back is no session, or one of another version."""

    def __init__(self, says: Message) -> None:
        super().__init__(says, stage="session", reason="misfit")


def save(sheet: Sheet) -> bytes:
    """The session of one grid as bytes: of a photo npz, of lines JSON.

    All cells are looked at closer first, which takes a second or two. Raises SavedError for a grid
    that was not read, and for one that would take more than that.
    """
    from papernudge.vision.evidence import MisfitError, written

    told: dict[str, Any] = {
        "number": sheet.number,
        "called": sheet.page.called,
        "latest": list(sheet.latest),
    }
    grid = sheet.grid
    if not grid.cells:
        raise SavedError(message("nothing to save"))
    if grid.evidence is None:
        notes = {cell: sorted(one.notes) for cell, one in enumerate(grid.cells) if one.notes}
        lines = {"form": _FORM, "givens": grid.givens, "entries": grid.entries, "notes": notes}
        lines |= layout_field(grid.layout)
        return json.dumps(lines | told).encode()
    reading = sheet.page.reading
    told |= {
        "size": list(reading.size),
        "turns": reading.quarter_turns,
        "grids": [
            {"kind": str(one.kind), "corners": one.corners.tolist()} for one in reading.grids
        ],
        "answers": [_as_json(one) for one in sheet.answers],
    }
    try:
        return written(grid.evidence, told)
    except MisfitError as error:
        raise SavedError(error.says) from error


def load(data: bytes) -> Sheet:
    """The session that :func:`save` wrote. Raises SavedError, with a sentence, for anything else
    and for what another version of the reader saved.
    """
    from papernudge.vision.evidence import MisfitError, read_back

    try:
        if data[:1] == b"{":
            return _of_lines(json.loads(data))
        evidence, told = read_back(data)
        return _of_photo(evidence, told)
    except MisfitError as error:
        raise SavedError(error.says) from error
    except (KeyError, ValueError, TypeError, IndexError, AttributeError) as error:
        raise SavedError(message("saved session is damaged")) from error


def _of_lines(told: Mapping[str, Any]) -> Sheet:
    from papernudge.hints import Position
    from papernudge.hints.shapes import from_data

    if told["form"] != _FORM:
        raise SavedError(message("saved in another form", form=told["form"], here=_FORM))
    layout = from_data(told["layout"]) if "layout" in told else NEWSPAPER
    givens, entries = told["givens"], told["entries"]
    noted = {int(cell): frozenset(notes) for cell, notes in told["notes"].items()}
    Position.of(givens, entries, noted, layout)  # ValueError where they are of another board
    sheet = Sheet(page_of_lines(givens, entries, layout), 1, tuple(told["latest"]))
    return sheet.assuming([Assumption(None, c, None, None, notes) for c, notes in noted.items()])


def _of_photo(evidence: Evidence, told: Mapping[str, Any]) -> Sheet:
    import numpy as np

    from papernudge.hints.solver import solve_soon
    from papernudge.vision.grid import GridKind, Quality
    from papernudge.vision.reading import GridReading, PageReading
    from papernudge.vision.reread import reread

    def unread(one: Mapping[str, Any]) -> GridReading:
        corners = np.array(one["corners"], np.float64)
        return GridReading(GridKind(one["kind"]), corners, Quality(True))

    grids = [unread(one) for one in told["grids"]]
    first = reread(evidence, (), solve_soon)
    grids[told["number"] - 1] = marked_full(first)
    width, height = told["size"]
    reading = PageReading((width, height), tuple(grids), told["turns"])
    page = Page(told["called"], None, reading)
    sheet = Sheet(page, told["number"], tuple(map(int, told["latest"])))
    return sheet.assuming([_from_json(one) for one in told["answers"]])


def _as_json(one: Assumption) -> dict[str, Any]:
    return {**asdict(one), "grid": None, "notes": None if one.notes is None else sorted(one.notes)}


def _from_json(told: Mapping[str, Any]) -> Assumption:
    notes = None if told["notes"] is None else frozenset(told["notes"])
    return Assumption(None, told["cell"], told["kind"], told["digit"], notes, told.get("beside"))
