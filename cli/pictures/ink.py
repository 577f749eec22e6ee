"""Pencil strokes as geometry: digits, rings, frames, hatching, strings.

All in grid units: x counts columns from the left line of the grid, y rows from its top line, so
that cell ``R4C7`` covers 6–7 in x and 3–4 in y. Every shape is a list of polylines, float64
(N, 2). Shapes wobble a little, the same way each time: the wobble is drawn from the place.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Line = npt.NDArray[np.float64]

# Skeletons of the digits in a unit box, y down. "~" strokes are smoothed, "-" ones are angular.
_DIGITS: dict[int, list[tuple[str, list[tuple[float, float]]]]] = {
    0: [
        (
            "~",
            [
                (0.56, 0.04), (0.27, 0.24), (0.22, 0.66), (0.44, 0.97), (0.71, 0.78),
                (0.76, 0.36), (0.60, 0.06), (0.50, 0.05),
            ],
        )
    ],
    1: [("-", [(0.30, 0.26), (0.56, 0.04), (0.52, 0.97)])],
    2: [
        ("~", [(0.18, 0.26), (0.36, 0.06), (0.68, 0.11), (0.70, 0.37), (0.44, 0.66), (0.14, 0.93)]),
        ("-", [(0.14, 0.93), (0.84, 0.90)]),
    ],
    3: [
        ("~", [(0.20, 0.13), (0.54, 0.04), (0.76, 0.22), (0.62, 0.42), (0.38, 0.47)]),
        ("~", [(0.38, 0.47), (0.72, 0.53), (0.80, 0.76), (0.54, 0.97), (0.17, 0.90)]),
    ],
    4: [("-", [(0.52, 0.04), (0.13, 0.63), (0.89, 0.59)]), ("-", [(0.67, 0.34), (0.61, 0.98)])],
    5: [
        ("-", [(0.80, 0.05), (0.31, 0.07), (0.26, 0.44)]),
        ("~", [(0.26, 0.44), (0.55, 0.36), (0.80, 0.56), (0.71, 0.87), (0.42, 0.98), (0.14, 0.89)]),
    ],
    6: [
        (
            "~",
            [
                (0.70, 0.04), (0.36, 0.32), (0.19, 0.70), (0.40, 0.97), (0.72, 0.86),
                (0.72, 0.60), (0.48, 0.51), (0.23, 0.70),
            ],
        )
    ],
    7: [("-", [(0.14, 0.09), (0.83, 0.06), (0.44, 0.98)]), ("-", [(0.34, 0.51), (0.76, 0.46)])],
    8: [
        (
            "~",
            [
                (0.70, 0.17), (0.45, 0.03), (0.25, 0.20), (0.48, 0.46), (0.74, 0.72),
                (0.50, 0.98), (0.24, 0.78), (0.48, 0.48), (0.72, 0.27), (0.66, 0.12),
            ],
        )
    ],
    9: [
        ("~", [(0.75, 0.22), (0.52, 0.04), (0.25, 0.20), (0.32, 0.46), (0.60, 0.47), (0.76, 0.20)]),
        ("-", [(0.76, 0.20), (0.70, 0.62), (0.50, 0.98)]),
    ],
}  # fmt: skip


def _dice(*place: float) -> np.random.Generator:
    return np.random.default_rng([int(1000 * abs(p)) + (p < 0) for p in place])


def smooth(points: Line, steps: int = 8) -> Line:
    """A Catmull–Rom curve through the points (E. Catmull, R. Rom, 1974)."""
    p = np.vstack([2 * points[0] - points[1], points, 2 * points[-1] - points[-2]])
    t = np.linspace(0, 1, steps, endpoint=False)[:, None]
    parts = [
        0.5
        * (
            2 * b
            + (c - a) * t
            + (2 * a - 5 * b + 4 * c - d) * t**2
            + (3 * b - a - 3 * c + d) * t**3
        )
        for a, b, c, d in zip(p[:-3], p[1:-2], p[2:-1], p[3:], strict=True)
    ]
    return np.vstack([*parts, points[-1:]])


def pencil_line(start: tuple[float, float], end: tuple[float, float], bow: float = 0.02) -> Line:
    """A ruled-by-hand line: straight with a slight bow."""
    a, b = np.array(start), np.array(end)
    along = b - a
    length = float(np.hypot(*along)) or 1.0
    across = np.array([-along[1], along[0]]) / length
    t = np.linspace(0, 1, max(3, int(length * 3) + 2))[:, None]
    dice = _dice(*start, *end)
    lift = dice.uniform(-bow, bow) * np.sin(np.pi * t) + dice.uniform(-bow, bow) * np.sin(
        2 * np.pi * t
    )
    line: Line = a + along * t + across * lift
    return line


def digit(value: int, x: float, y: float, height: float) -> list[Line]:
    """A handwritten digit with its centre at (x, y); one of two figures is as wide as high."""
    if value > 9:
        figures = _figure(value // 10, x, y, height), _figure(value % 10, x, y, height)
        apart = _NARROW * 0.33 * height
        narrow = np.array([_NARROW, 1.0])
        moved = zip(figures, (-apart, apart), strict=True)
        centre = np.array([x, y])
        return [
            (line - centre) * narrow + centre + [aside, 0.0]
            for lines, aside in moved
            for line in lines
        ]
    return _figure(value, x, y, height)


_NARROW = 0.8
"""How narrow the figures of a number of two are, of their usual width."""


def _figure(value: int, x: float, y: float, height: float) -> list[Line]:
    slant = np.array([[1.0, 0.0], [-0.10, 1.0]])
    out = []
    for style, points in _DIGITS[value]:
        line = np.array(points, np.float64)
        if style == "~":
            line = smooth(line)
        line = (line - 0.5) * [0.66 * height, height] @ slant
        out.append(line + np.array([x, y]))
    return out


def ring(x: float, y: float, radius: float = 0.43, turns: float = 1.12) -> list[Line]:
    """A pencil ring that overshoots its own start, as rings drawn in haste do."""
    dice = _dice(x, y, radius)
    start = dice.uniform(-2.4, -1.6)
    t = np.linspace(0, 2 * np.pi * turns, int(34 * turns))
    drift = np.linspace(-0.035, 0.035, len(t)) * dice.choice([-1, 1])
    swell = 1 + 0.03 * np.sin(2 * t + dice.uniform(0, 6)) + drift
    tall = 1.04
    return [
        np.stack(
            [x + radius * swell * np.cos(t + start), y + tall * radius * swell * np.sin(t + start)],
            axis=1,
        )
    ]


def frame(x0: float, y0: float, x1: float, y1: float, over: float = 0.2) -> list[Line]:
    """Four lines that run past their corners, as on a sketch: not a box, a place to look."""
    return [
        pencil_line((x0 - over, y0), (x1 + over, y0)),
        pencil_line((x1, y0 - over), (x1, y1 + over)),
        pencil_line((x1 + over, y1), (x0 - over, y1)),
        pencil_line((x0, y1 + over), (x0, y0 - over)),
    ]


def slanted_frame(side: int, falling: bool, over: float = 0.2) -> list[Line]:
    """Two lines along a diagonal of a board of ``side`` columns and rows: the one that falls from
    the left, or the one that rises.
    """
    ends = (((1.0, 0.0), (side, side - 1.0)), ((0.0, 1.0), (side - 1.0, side)))
    lines = []
    for (x0, y0), (x1, y1) in ends:
        a, b = (x0 - over, y0 - over), (x1 + over, y1 + over)
        if not falling:
            a, b = (side - a[0], a[1]), (side - b[0], b[1])
        lines.append(pencil_line(a, b))
    return lines


def side(x0: float, y0: float, x1: float, y1: float, over: float = 0.08) -> list[Line]:
    """One upright or level side of a house of any form, which runs a little past its ends."""
    dx, dy = (over, 0.0) if y0 == y1 else (0.0, over)
    return [pencil_line((x0 - dx, y0 - dy), (x1 + dx, y1 + dy))]


def hatching(x0: float, y0: float, step: float = 0.19, inset: float = 0.05) -> list[Line]:
    """Slanting strokes over one cell whose left top corner is (x0, y0), its digit left legible."""
    low, high = inset, 1 - inset
    lines: list[Line] = []
    for offset in np.arange(2 * low + step, 2 * high, step):
        ax, ay = min(high, offset - low), max(low, offset - high)
        bx, by = max(low, offset - high), min(high, offset - low)
        whole = pencil_line((x0 + ax, y0 + ay), (x0 + bx, y0 + by), 0.012)
        lines += _outside(_resampled(whole, 0.03), x0 + 0.5, y0 + 0.5, 0.27, 0.36)
    return lines


def _outside(line: Line, x: float, y: float, rx: float, ry: float) -> list[Line]:
    """The pieces of a line outside an ellipse."""
    out = ((line[:, 0] - x) / rx) ** 2 + ((line[:, 1] - y) / ry) ** 2 > 1
    cuts = np.flatnonzero(np.diff(out)) + 1
    pieces = np.split(line, cuts)
    kept = np.split(out, cuts)
    return [p for p, k in zip(pieces, kept, strict=True) if k[0] and len(p) > 1]


def string(a: tuple[float, float], b: tuple[float, float], gap: float = 0.44) -> list[Line]:
    """A taut wavy line between two cells' centres, stopping short of both.

    Between cells of one row or column it swings out to run along the printed line, so that it
    lies over no digit.
    """
    start, end = np.array(a), np.array(b)
    length = float(np.hypot(*(end - start)))
    if length <= 2 * gap + 0.2:
        return [np.array([start + (end - start) * 0.42, start + (end - start) * 0.58])]
    unit = (end - start) / length
    across = np.array([-unit[1], unit[0]])
    t = np.linspace(gap, length - gap, max(12, int((length - 2 * gap) * 16)))
    swing = 0.5 if length > 1.5 and 0 in (unit[0], unit[1]) else 0.0
    near = np.minimum(1.0, np.minimum(t - gap, length - gap - t) / 0.5)
    out = swing * near * near * (3 - 2 * near) + 0.045 * np.sin(t * 2 * np.pi / 0.34)
    return [start + unit * t[:, None] + across * out[:, None]]


def dead_end(x0: float, y0: float) -> list[Line]:
    """A road that ends: a short line with a bar across, at the foot of a cell."""
    y = y0 + 0.86
    return [
        pencil_line((x0 + 0.30, y), (x0 + 0.68, y), 0.01),
        pencil_line((x0 + 0.68, y - 0.11), (x0 + 0.68, y + 0.11), 0.01),
    ]


def tick(x: float, y: float, size: float) -> list[Line]:
    """A tick mark; (x, y) is its lowest point."""
    points = np.array([(-0.42, -0.42), (-0.18, -0.16), (0.0, 0.0), (0.35, -0.55), (0.85, -1.0)])
    return [smooth(points * size) + np.array([x, y])]


def tally(count: int, x: float, y: float, height: float) -> list[Line]:
    """Tally marks, the fifth across the four before it, each five below the last.

    (x, y) is the left end of the first five at mid-height.
    """
    lines = []
    apart = 0.32 * height
    for n in range(count):
        group, place = divmod(n, 5)
        middle = y + group * 1.35 * height
        if place < 4:
            at = x + place * apart
            ends = (at, middle - height / 2), (at - 0.03, middle + height / 2)
        else:
            ends = (
                (x - 0.5 * apart, middle + height * 0.3),
                (x + 3.6 * apart, middle - height * 0.3),
            )
        lines.append(pencil_line(*ends, bow=0.015))
    return lines


def cross(x: float, y: float, size: float, upright: bool = True) -> list[Line]:
    """A small plus sign (or, not upright, a saltire) around (x, y)."""
    arms = [((-size, 0), (size, 0)), ((0, -size), (0, size))]
    if not upright:
        arms = [((-size, -size), (size, size)), ((size, -size), (-size, size))]
    return [np.array([(x + ax, y + ay), (x + bx, y + by)]) for (ax, ay), (bx, by) in arms]


def rule(x0: float, y0: float) -> list[Line]:
    """A short straight line under a cell's upper right corner: the sign of a printed digit."""
    return [np.array([(x0 + 0.62, y0 + 0.5), (x0 + 0.97, y0 + 0.5)])]


def wave(x0: float, y0: float) -> list[Line]:
    """The same as a wave: the sign of a digit written by hand."""
    t = np.linspace(0.62, 0.97, 18)
    return [np.stack([x0 + t, y0 + 0.5 + 0.035 * np.sin(t * 2 * np.pi / 0.13)], axis=1)]


def underline(x0: float, y0: float) -> list[Line]:
    """A short line at the foot of a cell."""
    return [pencil_line((x0 + 0.24, y0 + 0.93), (x0 + 0.76, y0 + 0.92), 0.01)]


def _closed(x0: float, y0: float, corners: list[tuple[float, float]]) -> list[Line]:
    """Lines between points of a cell, one after the other and back to the first."""
    points = [(x0 + x, y0 + y) for x, y in corners]
    return [pencil_line(a, b, 0.012) for a, b in zip(points, [*points[1:], points[0]], strict=True)]


def box(x0: float, y0: float) -> list[Line]:
    """A square just inside a cell."""
    return _closed(x0, y0, [(0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)])


def diamond(x0: float, y0: float) -> list[Line]:
    """A square on its corner, inside a cell."""
    return _closed(x0, y0, [(0.5, 0.03), (0.97, 0.5), (0.5, 0.97), (0.03, 0.5)])


def hexagon(x0: float, y0: float) -> list[Line]:
    """Six sides, inside a cell."""
    sides = [(0.28, 0.08), (0.72, 0.08), (0.95, 0.5), (0.72, 0.92), (0.28, 0.92), (0.05, 0.5)]
    return _closed(x0, y0, sides)


def triangle(x0: float, y0: float) -> list[Line]:
    """A triangle that stands on its side."""
    return _closed(x0, y0, [(0.5, 0.04), (0.95, 0.92), (0.05, 0.92)])


def triangle_down(x0: float, y0: float) -> list[Line]:
    """A triangle that stands on its corner."""
    return _closed(x0, y0, [(0.05, 0.08), (0.95, 0.08), (0.5, 0.96)])


def sail(x0: float, y0: float) -> list[Line]:
    """A fin: one side upright, one bent, one flat."""
    back = np.array([(0.2, 0.9), (0.38, 0.5), (0.82, 0.08)]) + np.array([x0, y0])
    mast = pencil_line((x0 + 0.82, y0 + 0.08), (x0 + 0.8, y0 + 0.9), 0.01)
    foot = pencil_line((x0 + 0.8, y0 + 0.9), (x0 + 0.2, y0 + 0.9), 0.01)
    return [smooth(back), mast, foot]


def corners(x0: float, y0: float) -> list[Line]:
    """The four corners of a cell, as of a picture in an album."""
    out = []
    for x, dx in ((0.13, 0.22), (0.87, -0.22)):
        for y, dy in ((0.13, 0.22), (0.87, -0.22)):
            bend = [(x + dx, y), (x, y), (x, y + dy)]
            out.append(np.array(bend) + np.array([x0, y0]))
    return out


def brackets(x0: float, y0: float) -> list[Line]:
    """A bracket at the left and one at the right of a cell."""
    out = []
    for x, dx in ((0.08, 0.16), (0.92, -0.16)):
        bend = [(x + dx, 0.1), (x, 0.12), (x, 0.88), (x + dx, 0.9)]
        out.append(np.array(bend) + np.array([x0, y0]))
    return out


def rails(x0: float, y0: float) -> list[Line]:
    """A line at the head and one at the foot of a cell."""
    return [pencil_line((x0 + 0.08, y0 + y), (x0 + 0.92, y0 + y - 0.01), 0.012) for y in (0.1, 0.9)]


def jaws(x0: float, y0: float) -> list[Line]:
    """An arc that is open at the top, its ends bent inwards."""
    t = np.linspace(-0.3 * np.pi, 1.3 * np.pi, 40)
    arc = np.stack([0.5 + 0.43 * np.cos(t), 0.5 + 0.43 * np.sin(t)], axis=1)
    ends = np.array([(0.62, 0.26)]), np.array([(0.38, 0.26)])
    return [np.vstack([ends[0], arc, ends[1]]) + np.array([x0, y0])]


def ray(a: tuple[float, float], b: tuple[float, float], gap: float = 0.47) -> Line:
    """A straight line from the ring around one cell's centre to just before another's."""
    start, end = np.array(a), np.array(b)
    length = float(np.hypot(*(end - start)))
    unit = (end - start) / length
    far = max(gap + 0.05, length - 0.16)
    return np.array([start + unit * gap, start + unit * far])


def thread(a: tuple[float, float], b: tuple[float, float], gap: float = 0.42) -> Line:
    """A taut line between two places, bowed a little so that it can be told from printed lines and
    from another that runs the same way.
    """
    start, end = np.array(a), np.array(b)
    length = float(np.hypot(*(end - start))) or 1.0
    unit = (end - start) / length
    across = np.array([-unit[1], unit[0]])
    gap = min(gap, 0.4 * length)
    t = np.linspace(0, 1, max(9, int(8 * length)))
    bow = (0.1 + 0.03 * length) * np.sin(np.pi * t)
    along = gap + t * (length - 2 * gap)
    line: Line = start + unit * along[:, None] + across * bow[:, None]
    return line


def arrow(line: Line, size: float = 0.13) -> list[Line]:
    """An arrow's head half-way along a line."""
    at = len(line) // 2
    tip, before = line[at], line[max(0, at - 1)]
    unit = (tip - before) / (float(np.hypot(*(tip - before))) or 1.0)
    across = np.array([-unit[1], unit[0]])
    barbs = [tip - unit * size + side * size * 0.7 * across for side in (-1, 1)]
    return [np.array([barbs[0], tip, barbs[1]])]


def dashed(lines: list[Line], dash: float = 0.14) -> list[Line]:
    """The same lines cut into dashes of about this length."""
    out = []
    for line in lines:
        fine = _resampled(line, dash / 4)
        for start in range(0, len(fine) - 1, 7):
            piece = fine[start : start + 5]
            if len(piece) > 1:
                out.append(piece)
    return out


def _resampled(line: Line, step: float) -> Line:
    lengths = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    at = np.arange(0.0, along[-1], step)
    return np.stack([np.interp(at, along, line[:, k]) for k in (0, 1)], axis=1)
