"""A clean printed board as SVG: follows the viewer's light or dark setting, no font file needed."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from papernudge.cli.base.breaking import lines_of
from papernudge.cli.pictures import ink
from papernudge.cli.pictures.form import notes_at, ruled, slants, tinted
from papernudge.cli.pictures.signs import Scene, Sign, Slip, Stroke, Tab, corner, middle
from papernudge.cli.said import in_words

if TYPE_CHECKING:
    from papernudge.cli.pictures.ink import Line
    from papernudge.hints.layout import Layout
    from papernudge.vision.reading import GridReading

CELL = 100
_LEFT, _TOP = 225, 115
_CAPTION = 38  # letters' height
_TINTS = (0.12, 0.2, 0.28)
"""How dense each tint of extra blocks is."""
_STYLE = """
.page{fill:#fdfcf7}.line{stroke:#2a2d33}.given{fill:#22252b}.tab{fill:#fffdf6}
.text{fill:#26292e}.pencil{stroke:#595d66}.blue{stroke:#12509c}.orange{stroke:#c2490a}
.window{fill:#eef3fb}.slip{fill:#12509c}.print{fill:#fdfcf7}
@media (prefers-color-scheme: dark){
.page{fill:#1c1e22}.line{stroke:#c9cbd1}.given{fill:#f1f1ee}.tab{fill:#2b2e34}
.text{fill:#ececea}.pencil{stroke:#b3b7c0}.blue{stroke:#7fb2f5}.orange{stroke:#ff9a52}
.window{fill:#252c38}.slip{fill:#7fb2f5}.print{fill:#14161a}}
text{font-family:system-ui,"Helvetica Neue",Arial,sans-serif}
"""


def board_svg(grid: GridReading, scene: Scene) -> str:
    """The board with a scene on it, as one self-contained SVG document."""
    layout = grid.layout
    wide, high = layout.wide * CELL, layout.high * CELL
    caption = _wrapped(scene.caption, wide + _LEFT - 20, _CAPTION)
    width = wide + 2 * _LEFT
    legend, rows = _legend(scene.legend, wide + _LEFT - 20, high)
    foot = high + 2 * _TOP + (round(_BELOW) + rows * _ROW if rows else 0)
    height = foot + round(len(caption) * 1.4 * _CAPTION)
    body = [
        *_windows(scene),
        *_tints(layout),
        *_lines(layout),
        *_digits(grid),
        *(_stroke(s) for s in scene.strokes),
        *(_slip(s) for s in scene.slips),
        *_tabs(scene.tabs, wide),
        *legend,
    ]
    words = [
        f'<text class="text" x="{_LEFT}" y="{foot + n * 1.4 * _CAPTION:.0f}" '
        f'font-size="{_CAPTION}">{escape(line)}</text>'
        for n, line in enumerate(caption)
    ]
    title = escape(scene.caption or in_words("a board"))
    inner = "\n".join(body)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{title.replace(chr(34), "&quot;")}">\n<title>{title}</title>\n'
        f"<style>{_STYLE}</style>\n"
        f'<rect class="page" width="{width}" height="{height}"/>\n'
        f'<g transform="translate({_LEFT} {_TOP})" fill="none" stroke-linecap="round" '
        f'stroke-linejoin="round">\n{inner}\n</g>\n' + "\n".join(words) + "\n</svg>\n"
    )


def _windows(scene: Scene) -> list[str]:
    return [
        f'<rect class="window" x="{x0 * CELL:g}" y="{y0 * CELL:g}" '
        f'width="{(x1 - x0) * CELL:g}" height="{(y1 - y0) * CELL:g}"/>'
        for x0, y0, x1, y1 in scene.windows
    ]


def _tints(layout: Layout) -> list[str]:
    """Extra blocks and diagonals."""
    squares = [
        f'<rect class="text" fill-opacity="{tint}" x="{x * CELL}" y="{y * CELL}" '
        f'width="{CELL}" height="{CELL}"/>'
        for tint, cells in zip(_TINTS, tinted(layout), strict=False)
        for x, y in (corner(cell, layout) for cell in cells)
    ]
    return squares + [
        f'<line x1="{a[0] * CELL}" y1="{a[1] * CELL}" x2="{b[0] * CELL}" y2="{b[1] * CELL}" '
        'class="line" stroke-width="1.5" stroke-opacity="0.5"/>'
        for a, b in slants(layout)
    ]


def _lines(layout: Layout) -> list[str]:
    return [
        f'<line x1="{x0 * CELL}" y1="{y0 * CELL}" x2="{x1 * CELL}" y2="{y1 * CELL}" '
        f'class="line" stroke-width="{6 if heavy else 1.5}"/>'
        for (x0, y0, x1, y1), heavy in ruled(layout)
    ]


def _digits(grid: GridReading) -> list[str]:
    out = []
    for cell, reading in enumerate(grid.cells):
        x, y = middle(cell, grid.layout)
        if reading.kind == "given":
            foot, size = (0.23, 66) if (reading.digit or 0) < 10 else (0.19, 56)
            out.append(
                f'<text class="given" x="{x * CELL:g}" y="{(y + foot) * CELL:g}" '
                f'font-size="{size}" text-anchor="middle">{reading.digit}</text>'
            )
        elif reading.digit is not None:
            out += [_path(line, "pencil", 0.06) for line in ink.digit(reading.digit, x, y, 0.56)]
        for note in notes_at(reading.notes, x - 0.3, y - 0.3, grid.layout.side):
            out += [_path(line, "pencil", 0.03) for line in ink.digit(*note)]
    return out


def _stroke(stroke: Stroke) -> str:
    return _path(stroke.line, "pencil" if stroke.ink == "grey" else stroke.ink, stroke.width)


def _path(line: Line, name: str, width: float) -> str:
    points = " ".join(f"{x * CELL:.1f} {y * CELL:.1f}" for x, y in line)
    return f'<path class="{name}" stroke-width="{width * CELL:.1f}" d="M{points}"/>'


def _tabs(tabs: Sequence[Tab], board: int) -> list[str]:
    """Tabs, each moved along its margin where it would lie over an earlier one."""
    out: list[str] = []
    taken: list[tuple[float, float, float]] = []
    for tab in tabs:
        wide = 18.5 * len(tab.text) + 26
        x, y = _tab_place(tab, wide, board)
        along = tab.side in ("top", "bottom")
        step = wide / 4 if along else _TAB / 4
        for turn in range(64):
            away = (turn + 1) // 2 * step * (1 if turn % 2 else -1)
            left, top = (x + away, y) if along else (x, y + away)
            inside = 4 - _LEFT <= left <= board + _LEFT - wide - 4
            if inside and not any(
                abs(top - v) < _TAB and left < u + w and u < left + wide for u, v, w in taken
            ):
                x, y = left, top
                break
        taken.append((x, y, wide))
        out.append(_tab(tab, x, y, wide))
    return out


_TAB = 54  # a tab's height


def _tab_place(tab: Tab, wide: float, board: int) -> tuple[float, float]:
    """Left top corner of a tab whose point touches its foot."""
    tip, fx, fy = 16, tab.x * CELL, tab.y * CELL
    x, y = {
        "left": (fx - tip - wide, fy - _TAB / 2),
        "right": (fx + tip, fy - _TAB / 2),
        "top": (fx - wide / 2, fy - tip - _TAB),
        "bottom": (fx - wide / 2, fy + tip),
    }[tab.side]
    return min(max(x, 4 - _LEFT), board + _LEFT - wide - 4), y


def _tab(tab: Tab, x: float, y: float, wide: float) -> str:
    foot = tab.x * CELL, tab.y * CELL
    corners = _pennant(tab.side, foot, (x, y, x + wide, y + _TAB))
    return (
        f'<path class="tab {tab.ink}" stroke-width="3" d="M{corners}Z"/>'
        f'<text class="text" x="{x + wide / 2:.0f}" y="{y + 38:.0f}" font-size="36" '
        f'text-anchor="middle">{escape(tab.text)}</text>'
    )


def _pennant(side: str, foot: tuple[float, float], box: tuple[float, float, float, float]) -> str:
    """The outline of a tab: its box with a point towards the foot."""
    x0, y0, x1, y1 = box
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    corners.insert({"top": 3, "bottom": 1, "left": 2, "right": 4}[side], foot)
    return " ".join(f"{x:.0f} {y:.0f}" for x, y in corners)


def _slip(slip: Slip) -> str:
    """Light print on a dark slip with round ends."""
    wide = 56 + 22 * max(0, len(slip.text) - 1)
    x, y = slip.x * CELL, slip.y * CELL
    return (
        f'<rect class="slip" x="{x - wide / 2:.0f}" y="{y - 28:.0f}" width="{wide}" height="56" '
        f'rx="28"/><text class="print" x="{x:.0f}" y="{y + 14:.0f}" font-size="40" '
        f'text-anchor="middle">{escape(slip.text)}</text>'
    )


_ROW = 66  # a row of the legend
_NAME = 34  # its letters' height
_BELOW = 0.45 * _TOP  # room above its first row, so that tabs below the board have theirs


def _legend(signs: Sequence[Sign], width: float, high: int) -> tuple[list[str], int]:
    """Each sign beside its name below the board, and how many rows they take."""
    out: list[str] = []
    x, row = 0.0, 0
    for sign in signs:
        wide = 74 + _wide(sign.name, _NAME) + 34
        if x and x + wide > width:
            x, row = 0.0, row + 1
        y = high + _TOP + _BELOW + row * _ROW
        out.append(f'<g transform="translate({x:.0f} {y - 42:.0f}) scale(0.56)">')
        out += [_stroke(Stroke(line, sign.ink, 0.07)) for line in sign.lines]
        out.append(
            f'</g><text class="text" x="{x + 70:.0f}" y="{y:.0f}" font-size="{_NAME}">'
            f"{escape(sign.name)}</text>"
        )
        x += wide
    return out, row + 1 if signs else 0


def _wrapped(text: str, width: float, size: float) -> list[str]:
    """Lines that fit into a width, broken between words."""
    return lines_of(text, lambda line: _wide(line, size) <= width) if text else []


def _wide(text: str, size: float) -> float:
    """How wide a text may become in the viewer's own sans serif: capitals, digits and m are wide,
    and wide typefaces take about a tenth more than usual ones.
    """
    return size * sum(map(_letter, text))


def _letter(letter: str) -> float:
    if letter in "ijltfrI.,:;'|! ()":
        return 0.36
    if letter in "mwMW@":
        return 0.95
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    return 0.72 if letter.isupper() else 0.62
