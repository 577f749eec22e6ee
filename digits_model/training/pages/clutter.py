"""What else stands on a puzzle page: text, crosswords, tables, grids of another kind."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream
from papernudge.digits_model.training.pages.fonts import Supplies
from papernudge.digits_model.training.pages.printing import print_givens, rule_grid, set_digit
from papernudge.digits_model.training.pages.puzzles import puzzle
from papernudge.digits_model.training.pages.sheet import Raster, Sheet
from papernudge.digits_model.training.pages.spec import Colour, PageSpec
from papernudge.digits_model.training.pages.truth import CellTruth

Box = tuple[float, float, float, float]
_BLACK: Colour = (30, 30, 30)


@lru_cache(maxsize=128)
def text_lines(held: Supplies, number: int, rows: int) -> tuple[Raster, ...]:
    """The strips of a text face at a height of ``rows`` pixels."""
    import cv2

    out = []
    for strip in held.text(number)["lines"]:
        size = (max(2, round(rows * strip.shape[1] / strip.shape[0])), rows)
        how = cv2.INTER_AREA if rows < strip.shape[0] else cv2.INTER_LINEAR
        out.append(np.asarray(cv2.resize(strip, size, interpolation=how), np.uint8))
    return tuple(out)


class Clutter:
    """Draws one place of the page after another. ``other`` collects grids of another kind and
    small solved grids as (kind, name, box, cells).
    """

    def __init__(self, sheet: Sheet, spec: PageSpec, held: Supplies) -> None:
        """All on this sheet, in this spec's text face."""
        self.sheet, self.spec, self.held = sheet, spec, held
        self.other: list[tuple[str, str, Box, list[CellTruth]]] = []
        self.decoys: list[tuple[str, Box]] = []

    def fill(self, what: str, box: Box, number: int) -> None:
        """Draws decoy ``what`` into the box (page cells); ``number`` seeds it."""
        chance = stream(self.spec.seed, "decoy", number)
        draw: dict[str, Callable[[Box, np.random.Generator], None]] = {
            "text": self._text,
            "crossword": self._crossword,
            "letters": self._letters,
            "table": self._table,
            "picture": self._picture,
            "small solved": self._small_solved,
            "4x4": partial(self._plain, name="4x4", size=4, block=(2, 2)),
            "6x6": partial(self._plain, name="6x6", size=6, block=(2, 3)),
            "16x16": partial(self._plain, name="16x16", size=16, block=(4, 4)),
            "irregular": self._irregular,
            "cages": self._cages,
            "diagonals": self._diagonals,
        }
        draw[what](box, chance)

    def title(self, box: Box, number: int, ink: Colour = _BLACK) -> None:
        """A heading above a grid, fitted to the height of the box."""
        chance = stream(self.spec.seed, "title", number)
        titles = self.held.text(self.spec.text)["titles"]
        chosen = int(chance.integers(len(titles)))
        if number == 0 and self.spec.title >= 0:
            chosen = self.spec.title % len(titles)
        strip = titles[chosen]
        high = (box[3] - box[1]) * float(chance.uniform(0.6, 1.0))
        wide = min(high * strip.shape[1] / strip.shape[0], box[2] - box[0])
        if chance.random() < 0.25:  # white on a bar of colour
            bar = np.full(
                (
                    max(2, round((box[3] - box[1]) * self.sheet.scale)),
                    max(2, round((box[2] - box[0]) * self.sheet.scale)),
                ),
                255,
                np.uint8,
            )
            words = self.sheet.fitted(strip, wide * 0.95, high * 0.95)[
                : bar.shape[0], : bar.shape[1] - 4
            ]
            bar[: words.shape[0], 4 : 4 + words.shape[1]] -= words
            colour = [ink, (150, 60, 30), (60, 40, 170), (120, 30, 110)][int(chance.integers(4))]
            self.sheet.stamp(bar, box[0], box[1], colour)
            return
        left = box[0] if chance.random() < 0.6 else (box[0] + box[2] - wide) / 2
        self.sheet.stamp(self.sheet.fitted(strip, wide, high), left, box[3] - high, ink)

    def masthead(self, left: float, right: float, foot: float) -> None:
        """The paper's name across the page, standing on a rule at ``foot``."""
        strip = self.held.text(self.spec.text)["titles"][0]
        high = min(1.9, 0.8 * (right - left) * strip.shape[0] / strip.shape[1])
        wide = high * strip.shape[1] / strip.shape[0]
        mask = self.sheet.fitted(strip, wide, high)
        self.sheet.stamp(mask, (left + right - wide) / 2, foot - high, _BLACK)
        self.sheet.bar(left, foot, right, foot + 0.05, _BLACK)
        self.decoys.append(
            ("masthead", ((left + right - wide) / 2, foot - high, (left + right + wide) / 2, foot))
        )

    def _text(self, box: Box, chance: np.random.Generator) -> None:
        """Columns of running text."""
        lines = self.held.text(self.spec.text)["lines"]
        line_high = float(chance.uniform(0.32, 0.62))
        columns = int(chance.integers(1, 4))
        wide = (box[2] - box[0]) / columns
        share = (wide - 0.4) / (line_high * lines[0].shape[1] / lines[0].shape[0])
        ink = _BLACK if chance.random() < 0.85 else (150, 110, 60)
        rows = max(2, round(line_high * self.sheet.scale))
        strips = text_lines(self.held, self.spec.text, rows)
        for k in range(columns):
            top = box[1]
            while top + line_high < box[3]:
                strip = strips[int(chance.integers(len(strips)))]
                span = int(
                    min(1.0, share * (chance.uniform(0.3, 1) if chance.random() < 0.15 else 1))
                    * strip.shape[1]
                )
                first = int(chance.integers(0, max(1, strip.shape[1] - span)))
                self.sheet.stamp(strip[:, first : first + span], box[0] + k * wide + 0.2, top, ink)
                top += line_high * 1.02
        self.decoys.append(("text", box))

    def _crossword(self, box: Box, chance: np.random.Generator) -> None:
        side, count = _square_side(box), int(chance.integers(9, 16))
        unit = side / count
        rule_grid(self.sheet, self.spec, box[0], box[1], count, (99, 99), unit)
        half = chance.random((count, count)) < 0.17
        both = half | half[::-1, ::-1]
        black = both.tolist()
        for r, c in np.argwhere(both).tolist():
            x, y = box[0] + c * unit, box[1] + r * unit
            self.sheet.bar(x, y, x + unit, y + unit, _BLACK)
        number = 1
        for r, c in np.argwhere(~both).tolist():
            starts = (c == 0 or black[r][c - 1]) or (r == 0 or black[r - 1][c])
            if starts and number < 60:
                self._number(
                    number, box[0] + (c + 0.2) * unit, box[1] + (r + 0.2) * unit, 0.26 * unit
                )
                number += 1
        self.decoys.append(("crossword", (box[0], box[1], box[0] + side, box[1] + side)))

    def _number(self, number: int, x: float, y: float, high: float) -> None:
        cap = max(3.0, round(high * self.sheet.scale))
        for k, digit in enumerate(str(number)):
            mask, left, top, _ = set_digit(self.held, self.spec.face, int(digit), cap, 0.0)
            s = self.sheet.scale
            self.sheet.stamp(mask, x + k * high * 0.62 + left / s, y + top / s, _BLACK)

    def _letters(self, box: Box, chance: np.random.Generator) -> None:
        """A word search: letters in a grid of cells, often without lines."""
        side, count = _square_side(box), int(chance.integers(8, 14))
        unit = side / count
        if chance.random() < 0.6:
            rule_grid(self.sheet, self.spec, box[0], box[1], count, (99, 99), unit)
        letters = [
            self.sheet.fitted(m, 0.9 * unit * m.shape[1] / m.shape[0], 0.9 * unit)
            for m in self.held.text(self.spec.text)["letters"]
        ]
        for k in range(count * count):
            mask = letters[int(chance.integers(26))]
            x = box[0] + (k % count + 0.5) * unit - mask.shape[1] / self.sheet.scale / 2
            self.sheet.stamp(mask, x, box[1] + (k // count) * unit, _BLACK)
        self.decoys.append(("letters", (box[0], box[1], box[0] + side, box[1] + side)))

    def _table(self, box: Box, chance: np.random.Generator) -> None:
        """Ruled rows with text in the first column and numbers in the others."""
        rows, columns = int(chance.integers(6, 16)), int(chance.integers(2, 7))
        high, wide = (box[3] - box[1]) / rows, (box[2] - box[0]) / columns
        ruled = chance.random()
        for r in range(rows + 1):
            self.sheet.bar(box[0], box[1] + r * high, box[2], box[1] + r * high + 0.025, _BLACK)
        for c in range(columns + 1):
            if ruled < 0.7 or c in {0, columns}:
                self.sheet.bar(box[0] + c * wide, box[1], box[0] + c * wide + 0.025, box[3], _BLACK)
        lines = self.held.text(self.spec.text)["lines"]
        for r in range(rows):
            strip = lines[int(chance.integers(len(lines)))]
            text_high = min(0.55, 0.7 * high)
            span = int(strip.shape[0] * 0.8 * wide / text_high)
            self.sheet.picture(
                strip[:, :span],
                box[0] + 0.1,
                box[1] + r * high + 0.1,
                box[0] + 0.9 * wide,
                box[1] + r * high + 0.1 + text_high,
            )
            for c in range(1, columns):
                self._number(
                    int(chance.integers(1, 999)),
                    box[0] + (c + 0.3) * wide,
                    box[1] + (r + 0.5) * high,
                    min(0.35, 0.5 * high),
                )
        self.decoys.append(("table", box))

    def _picture(self, box: Box, chance: np.random.Generator) -> None:
        """A framed halftone of clouds and edges: what an advertisement or a photo leaves."""
        import cv2

        coarse = chance.integers(0, 256, (7, 7), dtype=np.uint8)
        wide, high = box[2] - box[0], box[3] - box[1]
        mask = self.sheet.fitted(
            np.asarray(cv2.resize(coarse, (64, 64), interpolation=cv2.INTER_CUBIC), np.uint8),
            wide,
            high,
        )
        if chance.random() < 0.5:
            mask = np.asarray((mask > 128) * np.uint8(200), np.uint8)
        ink = tuple(int(v) for v in chance.integers(20, 200, 3))
        self.sheet.stamp(mask, box[0], box[1], (ink[0], ink[1], ink[2]), 0.85)
        if chance.random() < 0.6:
            for k in range(2):
                self.sheet.bar(box[0], box[1] + k * high, box[2], box[1] + k * high + 0.05, _BLACK)
                self.sheet.bar(box[0] + k * wide, box[1], box[0] + k * wide + 0.05, box[3], _BLACK)
        self.decoys.append(("picture", box))

    def _small_solved(self, box: Box, chance: np.random.Generator) -> None:
        """Yesterday's solution, printed small."""
        side = min(_square_side(box), float(chance.uniform(2.8, 5.0)))
        unit = side / 9
        rule_grid(self.sheet, self.spec, box[0], box[1], 9, (3, 3), unit)
        _, solution, _ = puzzle(
            self.spec.split, self.spec.seed, 1000 + int(chance.integers(1 << 30)), 30
        )
        cells = [CellTruth("given", d) for d in solution]
        print_givens(self.sheet, self.spec, self.held, box[0], box[1], cells, unit)
        end = (box[0], box[1], box[0] + side, box[1] + side)
        self.other.append(("full", "small solved", end, cells))

    def _plain(
        self, box: Box, chance: np.random.Generator, name: str, size: int, block: tuple[int, int]
    ) -> None:
        self._square(box, chance, name, size, block)

    def _square(
        self, box: Box, chance: np.random.Generator, name: str, size: int, block: tuple[int, int]
    ) -> Box:
        """A grid of another size, some numbers in it."""
        side = _square_side(box)
        unit = side / size
        rule_grid(self.sheet, self.spec, box[0], box[1], size, block, unit)
        for k in range(size * size):
            if chance.random() < 0.32:
                number = int(chance.integers(1, size + 1))
                high = 0.5 * unit if number < 10 else 0.38 * unit
                x = box[0] + (k % size + (0.5 if number < 10 else 0.34)) * unit
                self._number(number, x, box[1] + (k // size + 0.5) * unit, high)
        end = (box[0], box[1], box[0] + side, box[1] + side)
        self.other.append(("other", name, end, []))
        return end

    def _irregular(self, box: Box, chance: np.random.Generator) -> None:
        """Nine cells to a block, but the blocks are not square."""
        side = _square_side(box)
        unit, end = side / 9, self._square(box, chance, "irregular", 9, (99, 99))
        owner = _patches(int(chance.integers(64))).tolist()
        half = self.spec.thick * unit / 2
        for r in range(9):
            for c in range(9):
                x, y = box[0] + c * unit, box[1] + r * unit
                if c < 8 and owner[r][c] != owner[r][c + 1]:
                    self.sheet.bar(x + unit - half, y, x + unit + half, y + unit, _BLACK)
                if r < 8 and owner[r][c] != owner[r + 1][c]:
                    self.sheet.bar(x, y + unit - half, x + unit, y + unit + half, _BLACK)
        self.other[-1] = ("other", "irregular", end, [])

    def _cages(self, box: Box, chance: np.random.Generator) -> None:
        """Dotted cages with small sums, hardly a given."""
        side = _square_side(box)
        unit = side / 9
        rule_grid(self.sheet, self.spec, box[0], box[1], 9, (3, 3), unit)
        owner = np.arange(81).reshape(9, 9)
        for _ in range(55):
            r, c = (int(v) for v in chance.integers(0, 9, 2))
            rr, cc = (r, min(8, c + 1)) if chance.random() < 0.5 else (min(8, r + 1), c)
            if (owner == owner[r, c]).sum() + (owner == owner[rr, cc]).sum() <= 4:
                owner[owner == owner[rr, cc]] = owner[r, c]
        cage = owner.tolist()
        inset, weight = 0.1 * unit, 0.03 * unit
        for r in range(9):
            for c in range(9):
                x, y = box[0] + c * unit, box[1] + r * unit
                me = cage[r][c]
                if r == 0 or cage[r - 1][c] != me:
                    self.sheet.bar(
                        x + inset, y + inset, x + unit - inset, y + inset + weight, (90, 90, 90)
                    )
                if r == 8 or cage[r + 1][c] != me:
                    self.sheet.bar(
                        x + inset,
                        y + unit - inset - weight,
                        x + unit - inset,
                        y + unit - inset,
                        (90, 90, 90),
                    )
                if c == 0 or cage[r][c - 1] != me:
                    self.sheet.bar(
                        x + inset, y + inset, x + inset + weight, y + unit - inset, (90, 90, 90)
                    )
                if c == 8 or cage[r][c + 1] != me:
                    self.sheet.bar(
                        x + unit - inset - weight,
                        y + inset,
                        x + unit - inset,
                        y + unit - inset,
                        (90, 90, 90),
                    )
        seen: set[int] = set()
        for k, me in enumerate(owner.ravel().tolist()):
            if me not in seen:
                seen.add(me)
                self._number(
                    int(chance.integers(3, 28)),
                    box[0] + (k % 9 + 0.24) * unit,
                    box[1] + (k // 9 + 0.26) * unit,
                    0.22 * unit,
                )
        self.other.append(("other", "cages", (box[0], box[1], box[0] + side, box[1] + side), []))

    def _diagonals(self, box: Box, chance: np.random.Generator) -> None:
        """A 9×9 grid whose diagonals count: shaded or ruled."""
        side = _square_side(box)
        unit = side / 9
        shaded = chance.random() < 0.6
        if shaded:
            for k in range(9):
                for c in {k, 8 - k}:
                    self.sheet.bar(
                        box[0] + c * unit,
                        box[1] + k * unit,
                        box[0] + (c + 1) * unit,
                        box[1] + (k + 1) * unit,
                        (190, 190, 190),
                    )
        end = self._square(box, chance, "diagonals", 9, (3, 3))
        if not shaded:
            steps = 9 * max(4, int(unit * self.sheet.scale / 2))
            for k in range(steps):
                at = side * k / steps
                for x in (at, side - at):
                    self.sheet.bar(
                        box[0] + x - 0.02,
                        box[1] + at - 0.02,
                        box[0] + x + 0.03,
                        box[1] + at + 0.03,
                        (110, 110, 110),
                    )
        self.other[-1] = ("other", "diagonals", end, [])


def _square_side(box: Box) -> float:
    return min(box[2] - box[0], box[3] - box[1])


@lru_cache(maxsize=64)
def _patches(kind: int) -> npt.NDArray[np.int64]:
    """Nine blocks of nine joined cells (9, 9), none of them square any more.

    From the usual blocks, two cells on a border change sides again and again, whenever both
    blocks stay in one piece.
    """
    chance = stream(kind, "irregular")
    r, c = np.mgrid[0:9, 0:9]
    owner = (r // 3 * 3 + c // 3).astype(np.int64)
    traded = 0
    for _ in range(3000):
        a, b = (int(v) for v in chance.integers(0, 9, 2))
        mine, yours = np.argwhere(owner == a), np.argwhere(owner == b)
        near = np.abs(mine[:, None] - yours[None]).sum(axis=2) == 1
        if a == b or not near.any():
            continue
        give = mine[int(chance.choice(np.nonzero(near.any(axis=1))[0]))]
        take = yours[int(chance.choice(np.nonzero(near.any(axis=0))[0]))]
        new = owner.copy()
        new[tuple(give)], new[tuple(take)] = b, a
        if _joined(new == a) and _joined(new == b):
            owner, traded = new, traded + 1
            if traded == 40:
                break
    return np.asarray(owner)


def _joined(cells: npt.NDArray[np.bool_]) -> bool:
    import cv2

    return int(cv2.connectedComponents(cells.astype(np.uint8), connectivity=4)[0]) == 2
