"""Pictures of readings and answers, as the bytes of a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from papernudge.cli.base.trouble import WordsError
from papernudge.cli.pictures import ENDINGS, ink
from papernudge.cli.pictures.form import notes_at
from papernudge.cli.pictures.scene import BLUE, FINE, GREY, ORANGE, USUAL, Scene, Tab, answer_scene
from papernudge.cli.pictures.scene import doubt_scene as _doubt_scene
from papernudge.cli.said import in_words
from papernudge.hints.catalogue import message

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

    from papernudge.cli.session.answers import Answer
    from papernudge.cli.session.pages import Page, Sheet
    from papernudge.vision.reading import GridReading

    Raster = npt.NDArray[np.uint8]


def answer_picture(answer: Answer, side: int, ending: str) -> bytes:
    """A nudge or a check, on its photo or on a clean board."""
    return _encoded(answer.sheet, answer_scene(answer), side, ending)


def picture(answer: Answer, ending: str = ".png", *, side: int = 1600) -> bytes:
    """An answer drawn on its photo, or on a clean board where there is none, as a file's bytes.

    ``ending``: ``.png``, ``.jpg`` or ``.svg``, which is always a board; ``side``: its longest side,
    pixels. Of an answer that is ``unsure`` its questions are drawn. Raises WordsError for another
    ending.
    """
    if ending not in ENDINGS:
        raise WordsError(message("picture's ending", endings=", ".join(ENDINGS), got=repr(ending)))
    return (doubt_picture if answer.doubts else answer_picture)(answer, side, ending)


def answers_picture(answers: Sequence[Answer], caption: str, side: int, ending: str) -> bytes:
    """Several grids of one page, each with its own answer, on the whole photo."""
    from papernudge.cli.pictures.sketch import Placed, sketch

    page = answers[0].sheet.page
    if page.photo is None or ending == ".svg":
        return answer_picture(answers[0], side, ending)
    placed = []
    for answer in answers:
        mesh = answer.sheet.grid.mesh
        if mesh is not None:
            scene = _doubt_scene(answer) if answer.doubts else answer_scene(answer)
            wide, high = scene.size
            name = in_words("tab, grid", number=answer.sheet.number)
            scene.tabs.append(Tab(name, wide / 2, high + 0.25, "bottom"))
            placed.append(Placed(scene, mesh.crossings))
    turns = page.reading.quarter_turns
    return encode(sketch(page.photo.pixels, turns, placed, side, caption, close=False), ending)


def doubt_picture(answer: Answer, side: int, ending: str) -> bytes:
    """The questions that must be answered first, where they stand on the page."""
    return _encoded(answer.sheet, _doubt_scene(answer), side, ending)


def _encoded(sheet: Sheet, scene: Scene, side: int, ending: str) -> bytes:
    if ending == ".svg":
        from papernudge.cli.pictures.svg import board_svg

        return board_svg(sheet.grid, scene).encode()
    return encode(answer_raster(sheet, scene, side), ending)


def answer_raster(sheet: Sheet, scene: Scene, side: int) -> Raster:
    """The drawn picture before it is encoded: uint8 (H, W, 3), blue, green, red."""
    from papernudge.cli.pictures.sketch import Placed, sketch

    if sheet.page.photo is None or sheet.grid.mesh is None:
        from papernudge.cli.pictures.printed import board_raster

        return board_raster(sheet.grid, scene, side)
    placed = Placed(scene, sheet.grid.mesh.crossings)
    turns = sheet.page.reading.quarter_turns
    return sketch(sheet.page.photo.pixels, turns, [placed], side, scene.caption, close=True)


def read_picture(page: Page, number: int, side: int, ending: str) -> bytes:
    """What was read, laid back on the photo: crossings, kinds of cell, digits, doubts."""
    from papernudge.cli.pictures.sketch import Placed, sketch

    grid = page.grids[number - 1] if page.grids else None
    if page.photo is None or ending == ".svg":
        assert grid is not None
        if ending == ".svg":
            from papernudge.cli.pictures.svg import board_svg

            return board_svg(grid, Scene()).encode()
        from papernudge.cli.pictures.printed import board_raster

        return encode(board_raster(grid, Scene(), side), ending)
    placed = [
        Placed(read_scene(one, n if len(page.grids) > 1 else None), outline_of(one))
        for n, one in enumerate(page.grids, start=1)
    ]
    alone = len(page.grids) == 1 and page.grids[0].mesh is not None
    turns = page.reading.quarter_turns
    raster = sketch(page.photo.pixels, turns, placed, side, "", close=alone)
    return encode(raster, ending)


def outline_of(grid: GridReading) -> npt.NDArray[np.float64]:
    """Crossings as measured; for a grid that could not be flattened, spread between its corners."""
    if grid.mesh is not None:
        return grid.mesh.crossings
    import numpy as np

    left, right = (
        np.linspace(grid.corners[a], grid.corners[b], grid.layout.high + 1, dtype=np.float64)
        for a, b in ((0, 3), (1, 2))
    )
    return np.asarray(np.linspace(left, right, grid.layout.wide + 1, axis=1), np.float64)


def read_scene(grid: GridReading, number: int | None) -> Scene:
    """The reading of one grid: small digits repeat what was read, on a line where printed, on a
    wave where written by hand.
    """
    import numpy as np

    scene = Scene(layout=grid.layout)
    wide, high = scene.size
    if number is not None:
        scene.tabs.append(Tab(in_words("tab, grid", number=number), wide / 2, -0.2, "top"))
    if grid.mesh is not None:
        for y, x in np.ndindex(high + 1, wide + 1):
            if grid.mesh.seen[y, x]:
                scene.add(ink.cross(x, y, 0.11), BLUE, FINE)
            else:
                scene.add(ink.ring(x, y, 0.08), ORANGE, FINE)
    else:
        scene.add(ink.dashed(ink.frame(0, 0, wide, high, 0.0), 0.3), ORANGE, USUAL)
        name = in_words(f"tab, kind, {grid.kind}")
        scene.tabs.append(Tab(name, wide / 2, high / 2 + 0.3, "top", ORANGE))
    doubtful = {doubt.cell for doubt in grid.doubts}
    for at, cell in enumerate(grid.cells):
        x0, y0 = scene.corner(at)
        name = BLUE if cell.kind == "given" else ORANGE
        if cell.digit is not None:
            foot = ink.wave(x0, y0) if cell.kind == "entry" else ink.rule(x0, y0)
            scene.add(foot, name, FINE)
            scene.add(ink.digit(cell.digit, x0 + 0.79, y0 + 0.26, 0.32), name, FINE)
        for note in notes_at(cell.notes, x0 + 0.2, y0 + 0.2, grid.layout.side):
            scene.add(ink.digit(*note), GREY, FINE)
        if cell.struck:
            scene.add(ink.cross(x0 + 0.5, y0 + 0.5, 0.2, upright=False), ORANGE, FINE)
        if at in doubtful:
            scene.add(ink.ring(x0 + 0.5, y0 + 0.5, 0.5, 1.25), ORANGE, USUAL)
    return scene


def encode(raster: Raster, ending: str) -> bytes:
    """PNG or JPEG bytes with pixels and nothing else."""
    import cv2

    if ending in (".jpg", ".jpeg"):
        options = [int(cv2.IMWRITE_JPEG_QUALITY), 90]
    else:
        options = [int(cv2.IMWRITE_PNG_COMPRESSION), 4]
    good, data = cv2.imencode(ending, raster, options)
    if not good:
        raise RuntimeError(f"cv2 could not encode {ending}")
    return data.tobytes()
