"""What a worker does for the page: a photo and what was said of it, to what is shown.

All that goes in and comes out is plain data. A worker keeps the pages it read last, so that one
more hint does not read the photo again; any worker can answer for any photo.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from papernudge.cli.base.exits import Stop
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.said import ENGLISH, in_words, spoken
from papernudge.cli.session.assume import parse_assumption
from papernudge.hints.catalogue import Message, capital, message
from papernudge.hints.layout import NEWSPAPER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from papernudge.cli.session.answers import Answer
    from papernudge.cli.session.pages import Page, Sheet
    from papernudge.vision.mesh import Points
    from papernudge.vision.photo import Photo
    from papernudge.vision.reading import Doubt

SIDE = 960
"""Longest side of a picture on the page, pixels: two and a half for each of a phone's points."""
CROP = 240
"""Side of a cell's crop, pixels."""
KEPT, KEPT_PIXELS = 4, 30_000_000
"""Pages that a worker keeps, and pixels of all of them together: what is over it goes, but the last
page."""
FIRST_SIDE = 1600
"""Longer side that a large JPEG may be reduced to for the first look, pixels: with the cells of a
page that fills the frame it leaves well over what the reader's looks take in."""
FINE, FINE_NOTES = 64.0, 96.0
"""Sides of cells, of cells with notes, pixels: below these a reduced photo is read again as it is.
The looks see a cell on 48 pixels, notes on 96."""
MOST_PIXELS = 60_000_000
"""Largest photo that the page takes, pixels."""

CALLED = message("the photo")
"""How sentences call it."""

Corner = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of a photo.

    ``photo``: the file's bytes. ``view``: ``"hint"``, ``"check"``, ``"page"`` (all grids) or
    ``"cells"`` (crops of ``cells``). ``grid``: which, from 1; None for the first puzzle or, with
    ``before``, the one that matches. ``answers``: as ``--assume`` takes them, last word last.
    ``before``: givens and digits, 81 characters each, of an earlier photo of the same grid.
    ``timed``: whether the minutes to expect are asked for too.
    """

    photo: bytes
    view: str = "hint"
    grid: int | None = None
    answers: tuple[str, ...] = ()
    depth: int = 1
    before: tuple[str, str] | None = None
    cells: tuple[int, ...] = ()
    timed: bool = False

    def answered(self) -> Shown:
        """What to show, worked out here."""
        return answer(self)

    def sorry(self, code: str) -> Shown:
        """What to show where the worker came to grief."""
        return Shown(in_words(code), failed=True, reason="worker")


@dataclass(frozen=True, slots=True)
class Question:
    """A doubt: the cell (0 to 80) and its name, the question, its answers as (words, what
    ``--assume`` takes), the cell as it is on the photo, JPEG. Of cells that can't be seen there is
    one for all that lie together: ``hidden`` names them, and nothing is to choose from.
    """

    at: int
    cell: str
    asks: str
    choices: tuple[tuple[str, str], ...]
    crop: bytes
    hidden: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """What the page shows. ``sentence`` alone where ``failed``.

    ``picture``: JPEG; ``size``: its width and height; ``cells``: for each cell four corners in
    pixels of the picture. ``grids``: number and kind of each. ``places``: cell and digit to write,
    at depth 4. ``since``: cells written since the earlier photo. ``crops``: JPEGs by cell.
    ``minutes``: between which four of five people would have solved it, where that was asked, and
    ``looks`` the effort of its walk.
    """

    sentence: str
    failed: bool = False
    reason: str = ""
    state: str = ""
    depth: int = 1
    deeper: bool = False
    number: int = 1
    grids: tuple[tuple[int, str], ...] = ()
    picture: bytes = b""
    size: tuple[int, int] = (0, 0)
    cells: tuple[tuple[Corner, ...], ...] = ()
    questions: tuple[Question, ...] = ()
    places: tuple[tuple[str, int], ...] = ()
    givens: str = ""
    digits: str = ""
    since: tuple[str, ...] = ()
    crops: tuple[tuple[int, bytes], ...] = ()
    minutes: tuple[float, float] | None = None
    looks: int = 0


def answer(wish: Wish) -> Shown:
    """What to show. Whatever is wrong with the photo comes back as a sentence."""
    try:
        page = _page(wish.photo)
        if wish.view == "page":
            return _overview(page)
        sheet = _sheet(page, wish)
        if wish.view == "cells":
            return replace(_about(sheet), crops=_crops(sheet, wish.cells))
        return _answered(sheet, wish)
    except Trouble as stop:
        return Shown(on_the_phone(stop), failed=True, reason=stop.reason)


def on_the_phone(stop: Trouble) -> str:
    """What is wrong with "the photo", as it stands alone under a photo: unnamed, where it can."""
    says = stop.says
    if isinstance(says, Message):
        alone = says.code.removesuffix(", called")
        if alone in ENGLISH.said:
            says = replace(says, code=alone)
        if says.code == "of a photo":
            says = says.data["said"]
    return capital(spoken().tell(says))


_pages: OrderedDict[bytes, Page] = OrderedDict()


def opened(photo: bytes, side: int | None = None) -> Photo:
    """The decoded photo, see :func:`open_photo`; Stop (5) where it can't be opened or is too
    large.
    """
    from papernudge.cli.base.exits import Exit
    from papernudge.cli.base.trouble import from_failure
    from papernudge.vision.photo import Photo, open_photo

    found = open_photo(photo, CALLED, side=side)
    if not isinstance(found, Photo):
        raise from_failure(found, "")
    width, height = (found.reduced * pixels for pixels in found.size)
    if width * height > MOST_PIXELS:
        millions = MOST_PIXELS // 1_000_000
        raise Stop(
            Exit.FILE,
            message("photo has too many pixels", width=width, height=height, most=millions),
            stage="open",
            reason="too big",
        )
    return found


def _page(photo: bytes) -> Page:
    key = spoken().language.encode() + hashlib.sha256(photo).digest()
    if key not in _pages:
        _pages[key] = _read(photo)
        while len(_pages) > KEPT or (len(_pages) > 1 and _pixels() > KEPT_PIXELS):
            _pages.popitem(last=False)
    _pages.move_to_end(key)
    return _pages[key]


def _pixels() -> int:
    photos = [page.photo for page in _pages.values() if page.photo is not None]
    return sum(photo.size[0] * photo.size[1] for photo in photos)


def _read(photo: bytes) -> Page:
    """The page; a large photo is read at a half or a quarter first, and as it is where that may
    matter.
    """
    from papernudge.cli.session.pages import read_opened

    first = opened(photo, FIRST_SIDE)
    if first.reduced == 1:
        return _of_nine(read_opened(None, first))
    try:
        page = _of_nine(read_opened(None, first))
        if not _needs_more(page):
            return page
    except Trouble:  # no grid at all
        pass
    return _of_nine(read_opened(None, opened(photo)))


def _of_nine(page: Page) -> Page:
    """The page with boards of other sizes told as other grids: the phone's pages show nine rows."""
    from papernudge.cli.session.pages import NO_ROOM
    from papernudge.vision.grid import GridKind
    from papernudge.vision.reading import GridReading

    def told(grid: GridReading) -> GridReading:
        if grid.layout.many == NEWSPAPER.many and grid.kind != GridKind.OTHER:
            return grid
        quality = replace(grid.quality, reason=NO_ROOM, says=message("nine rows here"))
        return GridReading(GridKind.OTHER, grid.corners, quality)

    grids = tuple(map(told, page.grids))
    return replace(page, reading=replace(page.reading, grids=grids))


def _needs_more(page: Page) -> bool:
    """Whether more pixels may tell more: small cells, doubts, or a grid that could not be read."""
    return any(
        not grid.quality.ok
        or bool(grid.doubts)
        or grid.quality.cell_px < (FINE_NOTES if any(c.notes for c in grid.cells) else FINE)
        for grid in page.grids
    )


def _sheet(page: Page, wish: Wish) -> Sheet:
    from papernudge.cli.session.pages import choose, same_print

    number = wish.grid
    if number is None and wish.before is not None:
        alike = (
            n
            for n, grid in enumerate(page.grids, start=1)
            if grid.cells and same_print(wish.before[0], grid.givens)
        )
        number = next(alike, None)
        if number is None:
            choose(page, None)  # says what is wrong with a page that holds no puzzle at all
            raise _another()
    return choose(page, number).assuming([parse_assumption(text) for text in wish.answers])


def _another() -> Stop:
    from papernudge.cli.base.exits import Exit

    return Stop(
        Exit.WORDS,
        message("another grid"),
        stage="command",
        reason="another grid",
    )


def _about(sheet: Sheet) -> Shown:
    grid = sheet.grid
    kinds = tuple((n, str(one.kind)) for n, one in enumerate(sheet.page.grids, start=1))
    digits = "".join(str(cell.digit or ".") for cell in grid.cells)
    return Shown("", number=sheet.number, grids=kinds, givens=grid.givens, digits=digits)


def _answered(sheet: Sheet, wish: Wish) -> Shown:
    from papernudge.cli.session.answers import HintWishes, check_answer, hint_answer

    earlier = None
    since: tuple[str, ...] = ()
    if wish.before is not None:
        earlier, since = _since(sheet, wish.before)
    if wish.view == "check":
        said = check_answer(sheet, wish.depth, earlier, spoken())
    else:
        said = hint_answer(sheet, wish.depth, HintWishes(earlier, words=spoken()))
    picture, size, cells = _picture(sheet, said)
    minutes, looks = _expected(sheet) if wish.timed else (None, 0)
    return replace(
        _about(sheet),
        minutes=minutes,
        looks=looks,
        sentence=_sentence(sheet, said),
        state=said.state,
        depth=said.depth,
        deeper=said.deeper,
        picture=picture,
        size=size,
        cells=cells,
        questions=_questions(sheet, said.doubts),
        places=_places(said),
        since=since,
    )


def _sentence(sheet: Sheet, said: Answer) -> str:
    """What is said, without what else stands on the page: which grid, the questions, commands."""
    if said.doubts:
        return in_words("first, the page alone")
    if said.state == "mistaken" and said.command == "hint":
        return in_words("a nudge would lead astray")
    return capital(said.alone)


def _expected(sheet: Sheet) -> tuple[tuple[float, float] | None, int]:
    from papernudge.hints.grade import grade

    try:
        expected = grade(sheet.grid.givens)
    except ValueError:  # not one solution: nobody can say how long it takes
        return None, 0
    return expected.minutes_range, expected.looks


def _since(sheet: Sheet, before: tuple[str, str]) -> tuple[str, tuple[str, ...]]:
    """What was written before, in the cells that are not printed; and the cells written since."""
    from papernudge.vision.reading import cell_name

    pairs = zip(sheet.grid.givens, before[1], strict=True)
    earlier = "".join(digit if given == "." else "." for given, digit in pairs)
    now = enumerate(zip(earlier, sheet.grid.entries, strict=True))
    return earlier, tuple(cell_name(c) for c, (old, new) in now if new not in (".", old))


def _places(said: Answer) -> tuple[tuple[str, int], ...]:
    nudge = said.fields.get("nudge") or {}
    return tuple((place["cell"], place["digit"]) for place in nudge.get("places", ()))


# ---------------------------------------------------------------- pictures


def _picture(
    sheet: Sheet, said: Answer
) -> tuple[bytes, tuple[int, int], tuple[tuple[Corner, ...], ...]]:
    from papernudge.cli.pictures.pictures import encode
    from papernudge.cli.pictures.scene import answer_scene, doubt_scene
    from papernudge.cli.pictures.sketch import Placed, framed, sketch

    scene = doubt_scene(said) if said.doubts else answer_scene(said)
    scene.caption = ""  # the sentence stands on the page, where it can be read aloud and enlarged
    mesh, photo = sheet.grid.mesh, sheet.page.photo
    assert mesh is not None
    assert photo is not None
    placed = Placed(scene, mesh.crossings)
    turns = sheet.page.reading.quarter_turns
    raster = sketch(photo.pixels, turns, [placed], SIDE, "", close=True)
    view, _ = framed(photo.pixels.shape, turns, [placed], SIDE, "", close=True)
    corners = view.apply(placed.to_raster(_corners()))
    cells = corners.reshape(NEWSPAPER.many, 4, 2).round().astype(int).tolist()
    size = (raster.shape[1], raster.shape[0])
    return encode(raster, ".jpg"), size, tuple(tuple((x, y) for x, y in one) for one in cells)


def _corners() -> Points:
    """Grid units, float64 (324, 2): the four corners of each cell, clockwise."""
    import numpy as np

    cells = np.array([NEWSPAPER.place(cell)[::-1] for cell in NEWSPAPER.cells], np.float64)
    steps = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float64)
    return (cells[:, None] + steps).reshape(-1, 2).clip(0, NEWSPAPER.wide - 1e-9)


def _overview(page: Page) -> Shown:
    """The whole page upright, a tab at each grid."""
    from papernudge.cli.pictures.pictures import encode, outline_of
    from papernudge.cli.pictures.scene import Scene, Tab
    from papernudge.cli.pictures.sketch import Placed, framed, sketch
    from papernudge.cli.session.pages import Sheet, first_puzzle, nearest_miss

    assert page.photo is not None
    placed = []
    for n, grid in enumerate(page.grids, start=1):
        board = grid.layout
        scene = Scene(layout=board)
        below = board.wide / 2, board.high + 0.25
        scene.tabs.append(Tab(in_words("tab, grid", number=n), *below, "bottom"))
        placed.append(Placed(scene, outline_of(grid)))
    turns = page.reading.quarter_turns
    raster = sketch(page.photo.pixels, turns, placed, SIDE, "", close=False)
    view, _ = framed(page.photo.pixels.shape, turns, placed, SIDE, "", close=False)
    rims = [view.apply(one.crossings[[0, 0, -1, -1], [0, -1, -1, 0]]) for one in placed]
    outlines = [[(int(x), int(y)) for x, y in rim] for rim in rims]
    about = _about(Sheet(page, first_puzzle(page) or nearest_miss(page)))
    return replace(
        about,
        picture=encode(raster, ".jpg"),
        size=(raster.shape[1], raster.shape[0]),
        cells=tuple(tuple(rim) for rim in outlines),
    )


def _crops(sheet: Sheet, cells: tuple[int, ...]) -> tuple[tuple[int, bytes], ...]:
    import cv2

    from papernudge.cli.pictures.pictures import encode
    from papernudge.vision.patches import cut_patches

    photo, mesh = sheet.page.photo, sheet.grid.mesh
    assert photo is not None
    assert mesh is not None
    patches = cut_patches(photo.pixels, mesh).pixels
    sized = {c: cv2.resize(patches[c], (CROP, CROP), interpolation=cv2.INTER_CUBIC) for c in cells}
    return tuple((c, encode(patch.astype("uint8"), ".jpg")) for c, patch in sized.items())


# ---------------------------------------------------------------- doubts


def _questions(sheet: Sheet, doubts: Sequence[Doubt]) -> tuple[Question, ...]:
    from papernudge.cli.session.doubting import asked, choices
    from papernudge.cli.session.hidden import cannot_be_seen, hidden_in, regions
    from papernudge.vision.reading import cell_name

    found = []
    for doubt in doubts:
        if doubt.about != "seen":
            name, asks = cell_name(doubt.cell), asked(sheet.grid, doubt, spoken())
            offered = tuple((one.words, one.says) for one in choices(sheet.grid, doubt, spoken()))
            found.append(Question(doubt.cell, name, asks, offered, _crop(sheet, doubt.cell)))
    for region in regions(hidden_in(doubts)):
        names = tuple(cell_name(doubt.cell) for doubt in region)
        first = region[0].cell
        said = in_words("stop", said=cannot_be_seen(region, spoken()))
        found.append(Question(first, names[0], said, (), _crop(sheet, first), names))
    return tuple(found)


def _crop(sheet: Sheet, cell: int) -> bytes:
    ((_, crop),) = _crops(sheet, (cell,))
    return crop
