"""Two plots over weeks, right answers and seconds, as a list of marks drawn as SVG or as PNG.

Each curve has a letter, which stands at its points: no curve is told by its colour.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from papernudge.cli.base.say import visible
from papernudge.cli.pictures.typeface import letters_for
from papernudge.cli.said import in_words, spoken

if TYPE_CHECKING:
    from papernudge.cli.sheets.weeks import Week

WIDE, PLOT, LEFT, GAP, TOP = 900, 240, 70, 64, 40
_RIGHT, _LINE = 30, 24
_INK, _FAINT = "#26292e", "#c9c6bb"
_INKS = ("#12509c", "#c2490a", "#3b7a2a", "#7a3b8f", "#8a6d00", "#4a5560")
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """A polyline (``points``) or a text whose middle, or left end, is at the first point."""

    points: tuple[Point, ...]
    ink: str = _INK
    text: str = ""
    size: int = 15
    left: bool = False


@dataclass(frozen=True, slots=True)
class Plot:
    """Marks on paper of this size, pixels."""

    width: int
    height: int
    marks: tuple[Mark, ...]


def plotted(weeks: Sequence[Week], wide: int = WIDE) -> Plot:
    """Both plots and the key to the letters, ``wide`` pixels across."""
    names = list(dict.fromkeys(week.curve for week in weeks))
    days = [datetime.date.fromisoformat(week.monday).toordinal() for week in weeks] or [0]
    first, last = min(days), max(days)
    marks: list[Mark] = []
    slowest = max((week.seconds or 0.0 for week in weeks), default=0.0)
    scale = next(s for s in (10, 30, 60, 120, 300, 600, 1800, 7200, 1 << 30) if s >= slowest)
    panels: tuple[tuple[str, float, str, Callable[[Week], float | None]], ...] = (
        (in_words("plot, right"), 100.0, "plot, percent", lambda week: _percent(week.share)),
        (in_words("plot, seconds"), float(scale), "plot, number", lambda week: week.seconds),
    )
    for at, (title, top, unit, value) in enumerate(panels):
        y = TOP + at * (PLOT + GAP)
        marks += _axes(title, top, unit, y, (first, last), wide - _RIGHT)
        for number, name in enumerate(names):
            curve = []
            for week in weeks:
                height = value(week)
                if week.curve == name and height is not None:
                    day = datetime.date.fromisoformat(week.monday).toordinal()
                    x = LEFT + _along(day, first, last) * (wide - LEFT - _RIGHT)
                    curve.append((x, y + PLOT * (1 - height / top)))
            marks += _curve(tuple(curve), number)
    foot = TOP + 2 * PLOT + 2 * GAP - 10
    for number, name in enumerate(names):
        text = in_words("plot, curve", letter=_letter(number), name=visible(name))
        marks.append(Mark(((LEFT, foot + number * _LINE),), _ink(number), text, left=True))
    return Plot(wide, foot + len(names) * _LINE + 16, tuple(marks))


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _along(day: int, first: int, last: int) -> float:
    return 0.5 if first == last else 0.03 + 0.94 * (day - first) / (last - first)


def _letter(number: int) -> str:
    return chr(ord("A") + number % 26) + ("'" * (number // 26))


def _ink(number: int) -> str:
    return _INKS[number % len(_INKS)]


def _axes(
    title: str, top: float, unit: str, y: float, days: tuple[int, int], right: float
) -> list[Mark]:
    first, last = days
    marks = [Mark(((LEFT, y - 18),), text=title, left=True)]
    for part in (0.0, 0.5, 1.0):
        at = y + PLOT * (1 - part)
        marks.append(Mark(((LEFT, at), (right, at)), _FAINT))
        marks.append(Mark(((LEFT - 32, at),), text=in_words(unit, number=top * part), size=13))
    for day in sorted({first, (first + last) // 14 * 7 + first % 7, last} if first else set()):
        if first <= day <= last:
            x = LEFT + _along(day, first, last) * (right - LEFT)
            name = spoken().date(datetime.date.fromordinal(day))
            marks.append(Mark(((x, y + PLOT + 16),), text=name, size=13))
    return marks


def _curve(points: tuple[Point, ...], number: int) -> list[Mark]:
    ink = _ink(number)
    line = [Mark(points, ink)] if len(points) > 1 else []
    return line + [Mark((point,), ink, _letter(number), 17) for point in points]


def as_svg(plot: Plot) -> bytes:
    """The plot as one self-contained SVG document."""
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {plot.width} {plot.height}"'
        ' role="img" font-family="system-ui,Arial,sans-serif">',
        f"<title>{escape(in_words('plot'))}</title>",
        f'<rect width="{plot.width}" height="{plot.height}" fill="#fdfcf7"/>',
    ]
    for mark in plot.marks:
        if mark.text:
            x, y = mark.points[0]
            anchor = "start" if mark.left else "middle"
            out.append(
                f'<text x="{x:.1f}" y="{y:.1f}" font-size="{mark.size}" fill="{mark.ink}"'
                f' text-anchor="{anchor}" dominant-baseline="central" stroke="#fdfcf7"'
                f' stroke-width="4" paint-order="stroke">{escape(mark.text)}</text>'
            )
        else:
            points = " ".join(f"{x:.1f},{y:.1f}" for x, y in mark.points)
            out.append(
                f'<polyline points="{points}" fill="none" stroke="{mark.ink}" stroke-width="2"/>'
            )
    return ("\n".join([*out, "</svg>"]) + "\n").encode()


def as_png(plot: Plot) -> bytes:
    """The plot as pixels, twice its size."""
    from PIL import Image, ImageDraw

    image = Image.new("RGB", (2 * plot.width, 2 * plot.height), "#fdfcf7")
    draw = ImageDraw.Draw(image)
    for mark in plot.marks:
        points = [(2 * x, 2 * y) for x, y in mark.points]
        if mark.text:
            font = letters_for(mark.text, 2 * mark.size)
            anchor = "lm" if mark.left else "mm"
            draw.text(
                points[0],
                mark.text,
                mark.ink,
                font,
                anchor=anchor,
                stroke_width=4,
                stroke_fill="#fdfcf7",
            )
        else:
            draw.line(points, mark.ink, 4)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
