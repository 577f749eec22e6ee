"""Practice sheets as photos: printed by a PDF reader, written on, laid on a table, photographed."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from papernudge.cli.pictures.paper import PAPERS
from papernudge.cli.sheets.code import SheetPage
from papernudge.cli.sheets.form import grid_boxes
from papernudge.digits_model.training.pages.camera import expose
from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.draw import _grain
from papernudge.digits_model.training.pages.fonts import Supplies
from papernudge.digits_model.training.pages.hand import InkLayer, Writer, main_pen
from papernudge.digits_model.training.pages.layout import Layout, Place
from papernudge.digits_model.training.pages.paper import lay_on_paper
from papernudge.digits_model.training.pages.presets import preset
from papernudge.digits_model.training.pages.sheet import Sheet
from papernudge.digits_model.training.pages.spec import PageSpec
from papernudge.digits_model.training.pages.strokes import samples
from papernudge.digits_model.training.pages.view import View

Written = dict[int, dict[int, int]]
"""For each number of a position, the digits written by cell."""


def printed(pdf: Path, page: int, dpi: int = 220) -> Any:
    """A page as the printer puts it on paper: uint8 (H, W, 3)."""
    import cv2

    out = pdf.with_name(f"{pdf.stem}-{page}")
    told = ["-r", str(dpi), "-f", str(page), "-l", str(page), "-singlefile", "-png"]
    subprocess.run(["pdftoppm", *told, str(pdf), str(out)], check=True, timeout=60)
    return cv2.imread(str(out.with_suffix(".png")), cv2.IMREAD_COLOR)


def sheet_spec(name: str, seed: int, split: str, side: int = 2560) -> PageSpec:
    """A preset of the page maker with the whole sheet in the frame."""
    spec = preset(name, seed, split=split)
    return replace(
        spec,
        width=side * 3 // 4,
        height=side,
        share=0.93,
        focus="page",
        cut="",
        off_x=0.0,
        off_y=0.0,
    )


def photographed(
    page: SheetPage, raster: Any, written: Written, spec: PageSpec, held: Supplies
) -> Any:
    """The photo of a printed page (``raster``) with these digits written on it."""
    import cv2

    paper = PAPERS[page.paper]
    boxes = grid_boxes(page.each, paper)
    unit = boxes[0].side / 9
    wide, high = paper[0] / unit, paper[1] / unit
    tops = [(box.x / unit, (paper[1] - box.y - box.side) / unit) for box in boxes]
    places = tuple(Place("puzzle", k, (x, y, x + 9, y + 9)) for k, (x, y) in enumerate(tops))
    whole = (0.0, 0.0, wide, high)
    view = View(spec, Layout(places, whole, whole))
    scale = raster.shape[1] / wide
    sheet = Sheet(0.0, 0.0, wide, high, scale)
    size = (sheet.pixels.shape[1], sheet.pixels.shape[0])
    sheet.pixels[:] = cv2.resize(raster, size, interpolation=cv2.INTER_AREA)
    writer, pen = Writer(spec, samples(held)), main_pen(spec)
    for task, (x, y) in zip(page.tasks, tops, strict=False):
        here = written.get(task.number, {})
        if not here:
            continue
        layer = InkLayer(pen, round(scale), (0, 0, 9, 9))
        for cell, digit in here.items():
            chance = stream(spec.seed, "answer", task.number, cell)
            dx, dy, grow = chance.normal(0, spec.entry_vary, 3)
            at_x = cell % 9 + float(np.clip(0.5 + dx, 0.3, 0.7))
            at_y = cell // 9 + float(np.clip(0.5 + dy, 0.32, 0.68))
            tall = spec.entry_high * float(np.exp(1.5 * grow))
            layer.write(writer.shape(digit, chance), at_x, at_y, tall, chance)
        mask, left, top = layer.finished(scale, _grain(spec, task.number))
        sheet.stamp(mask, x + left, y + top, pen.ink, pen.cover)
    lay_on_paper(sheet, spec, held)
    return expose(sheet, spec, view)
