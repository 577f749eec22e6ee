"""Typefaces and pen strokes that pages are drawn with, from the system or from one pack.

Drawing needs two supplies: grey masks of printed digits and letters, and the strokes of
handwritten digits. On a machine with the Debian font packages of ``fonts.json`` and the stroke
file at hand they are read from there; on one without, :func:`use_pack` reads them from a file
that the ``pack`` command wrote.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.chance import stream

Mask = npt.NDArray[np.uint8]

HIGH = 108
"""Rows of a glyph mask."""
BASE = 78
"""Row on which glyphs stand."""
CAP = 64
"""Rows from the base to the top of the 8."""
LINE_HIGH = 40
"""Rows of a strip of running text; titles have twice as many."""

FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "/usr/share/texmf/fonts")
"""Where font files are looked for."""
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
BOARD_LETTERS = LETTERS[:7]
"""Those that stand for 10 to 16."""
TITLES = (
    "The Tidewick Lantern",
    "Sudoku",
    "SUDOKU",
    "Number puzzle",
    "Puzzle page",
    "No. 2,417  Over coffee",
    "A short one",
    "A long one",
    "Solution on page 34",
    "Yesterday's solution",
    "Fill each row, column and block with 1 to 9",
    "Thursday 14 March",
    "For the train",
    "Crossword 881",
)
_TEXT_FACES = (
    "LiberationSans-Regular.ttf",
    "LiberationSans-Bold.ttf",
    "LiberationSerif-Regular.ttf",
    "LiberationSerif-Bold.ttf",
    "DejaVuSans.ttf",
    "NotoSerif-Regular.ttf",
    "Caladea-Regular.ttf",
    "LinLibertine_R.otf",
)


class MissingSuppliesError(RuntimeError):
    """A typeface or the stroke file is not on this machine."""


@dataclass(frozen=True, slots=True)
class FaceInfo:
    """One row of ``fonts.json``: a file of one design family."""

    file: str
    design: str
    split: str
    kind: str
    style: str
    package: str
    licence: str


@lru_cache(maxsize=1)
def table() -> tuple[FaceInfo, ...]:
    """All typefaces that pages may use, in the order of ``fonts.json``."""
    raw = json.loads((Path(__file__).parent / "fonts.json").read_text(encoding="utf-8"))
    return tuple(
        FaceInfo(
            face["file"],
            family["design"],
            family["split"],
            family["class"],
            face["style"],
            face["package"],
            face["licence"],
        )
        for family in raw["families"]
        for face in family["faces"]
    )


@lru_cache(maxsize=8)
def designs(split: str) -> dict[str, tuple[FaceInfo, ...]]:
    """The faces of a split by design family."""
    out: dict[str, list[FaceInfo]] = {}
    for face in table():
        if face.split == split:
            out.setdefault(face.design, []).append(face)
    return {design: tuple(faces) for design, faces in out.items()}


class Supplies:
    """Where glyphs and strokes come from. Masks are uint8, 255 full ink."""

    def digits(self, file: str) -> list[Mask]:
        """Masks of 0 to 9, each (HIGH, width), of the face stored in ``file``."""
        raise NotImplementedError

    def letters(self, file: str) -> list[Mask]:
        """Masks of A to G, which stand for 10 to 16, likewise."""
        raise NotImplementedError

    def text(self, number: int) -> dict[str, Any]:
        """Text face ``number``: ``letters`` (26 masks), ``lines`` and ``titles`` (strips)."""
        raise NotImplementedError

    def strokes(self) -> dict[str, npt.NDArray[Any]]:
        """The arrays of the pen stroke file."""
        raise NotImplementedError


class SystemSupplies(Supplies):
    """Reads installed font files and the stroke file of the data folder."""

    def __init__(self) -> None:
        """Looks for font files once."""
        self._paths: dict[str, Path] = {}
        for folder in FOLDERS:
            for path in sorted(Path(folder).rglob("*")):
                if path.suffix.lower() in {".ttf", ".otf", ".ttc"}:
                    self._paths.setdefault(path.name, path)

    def path(self, file: str) -> Path:
        """The font file's place; MissingSuppliesError when it is not installed."""
        if file in self._paths:
            return self._paths[file]
        package = next((f.package for f in table() if f.file == file), "the fonts of fonts.json")
        raise MissingSuppliesError(
            f"expected the font file {file}, found none under {FOLDERS}: "
            f"install {package}, or name a pack in PAPERNUDGE_PAGES_PACK"
        )

    @lru_cache(maxsize=512)  # noqa: B019  one instance lives for the whole process
    def digits(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.digits`."""
        font = _sized(self.path(file), CAP)
        return [_glyph(font, str(d)) for d in range(10)]

    @lru_cache(maxsize=512)  # noqa: B019
    def letters(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.letters`."""
        font = _sized(self.path(file), CAP)
        return [_glyph(font, letter) for letter in BOARD_LETTERS]

    @lru_cache(maxsize=32)  # noqa: B019
    def text(self, number: int) -> dict[str, Any]:
        """See :meth:`Supplies.text`."""
        path = self.path(_TEXT_FACES[number % len(_TEXT_FACES)])
        small = _sized(path, 22)
        words = stream(number, "words")
        return {
            "letters": [_glyph(_sized(path, CAP), letter) for letter in LETTERS],
            "lines": [_strip(small, _sentence(words), 1400) for _ in range(6)],
            "titles": [_strip(_sized(path, 44), title, None, 2) for title in TITLES],
        }

    @lru_cache(maxsize=1)  # noqa: B019
    def strokes(self) -> dict[str, npt.NDArray[Any]]:
        """See :meth:`Supplies.strokes`."""
        place = os.environ.get("PAPERNUDGE_DATA")
        folder = Path(place) if place else Path(__file__).parents[3].parent / "shared" / "data"
        file = folder / "handwriting" / "pen_strokes.npz"
        if not file.exists():
            raise MissingSuppliesError(
                f"expected pen strokes at {file}, found none: name the data folder in "
                "PAPERNUDGE_DATA, or a pack in PAPERNUDGE_PAGES_PACK"
            )
        with np.load(file) as held:
            return {name: held[name] for name in held.files}


class PackSupplies(Supplies):
    """Reads what the ``pack`` command wrote."""

    def __init__(self, path: str | Path) -> None:
        """``path``: the .npz file."""
        with np.load(path) as held:
            self._held = {name: held[name] for name in held.files}
        rows = self._held["glyphs"].shape[0]
        if rows != HIGH:
            raise MissingSuppliesError(
                f"expected glyphs of {HIGH} rows, {path} holds {rows}: write the pack anew"
            )
        self._files = {str(f): i for i, f in enumerate(self._held["files"])}
        self._starts = np.concatenate([[0], np.cumsum(self._held["widths"].ravel())])

    def digits(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.digits`."""
        if file not in self._files:
            raise MissingSuppliesError(f"the pack holds no {file}: write it anew with all fonts")
        first = self._files[file] * 10
        return [
            self._held["glyphs"][:, self._starts[i] : self._starts[i + 1]]
            for i in range(first, first + 10)
        ]

    def letters(self, file: str) -> list[Mask]:
        """See :meth:`Supplies.letters`."""
        if file not in self._files or "letters" not in self._held:
            raise MissingSuppliesError(f"the pack holds no letters of {file}: write it anew")
        first = self._files[file] * len(BOARD_LETTERS)
        starts = np.concatenate([[0], np.cumsum(self._held["letter_widths"].ravel())])
        return [
            self._held["letters"][:, starts[i] : starts[i + 1]]
            for i in range(first, first + len(BOARD_LETTERS))
        ]

    @lru_cache(maxsize=32)  # noqa: B019
    def text(self, number: int) -> dict[str, Any]:
        """See :meth:`Supplies.text`."""
        k = number % len(_TEXT_FACES)
        ends = np.cumsum(self._held[f"text{k}_letter_widths"])[:-1]
        title_ends = np.cumsum(self._held[f"text{k}_title_widths"])[:-1]
        return {
            "letters": np.split(self._held[f"text{k}_letters"], ends, axis=1),
            "lines": list(self._held[f"text{k}_lines"]),
            "titles": np.split(self._held[f"text{k}_titles"], title_ends, axis=1),
        }

    def strokes(self) -> dict[str, npt.NDArray[Any]]:
        """See :meth:`Supplies.strokes`."""
        prefix = "strokes_"
        return {k.removeprefix(prefix): v for k, v in self._held.items() if k.startswith(prefix)}


def write_pack(path: str | Path) -> int:
    """Writes all supplies of this machine into one compressed .npz; returns its bytes."""
    system = SystemSupplies()
    files = [face.file for face in table()]
    glyphs = [system.digits(file) for file in files]
    letters = [system.letters(file) for file in files]
    held: dict[str, Any] = {
        "files": np.array(files),
        "widths": np.array([[g.shape[1] for g in face] for face in glyphs], np.int32),
        "glyphs": np.concatenate([g for face in glyphs for g in face], axis=1),
        "letters": np.concatenate([g for face in letters for g in face], axis=1),
        "letter_widths": np.array([[g.shape[1] for g in face] for face in letters], np.int32),
    }
    for k in range(len(_TEXT_FACES)):
        text = system.text(k)
        held[f"text{k}_letters"] = np.concatenate(text["letters"], axis=1)
        held[f"text{k}_letter_widths"] = np.array([m.shape[1] for m in text["letters"]])
        held[f"text{k}_lines"] = np.stack(text["lines"])
        held[f"text{k}_titles"] = np.concatenate(text["titles"], axis=1)
        held[f"text{k}_title_widths"] = np.array([m.shape[1] for m in text["titles"]])
    for name, array in system.strokes().items():
        held[f"strokes_{name}"] = array
    np.savez_compressed(path, **held)
    return Path(path).stat().st_size


_in_use: list[Supplies] = []


def use_pack(path: str | Path) -> None:
    """From now on, draw from this pack alone; it is read once."""
    _in_use[:] = [_pack(Path(path))]


@lru_cache(maxsize=1)
def _pack(path: Path) -> PackSupplies:
    return PackSupplies(path)


def supplies() -> Supplies:
    """The pack in use, the pack named by PAPERNUDGE_PAGES_PACK, or this machine's own files."""
    if not _in_use:
        pack = os.environ.get("PAPERNUDGE_PAGES_PACK")
        _in_use.append(PackSupplies(pack) if pack else SystemSupplies())
    return _in_use[0]


def _sized(path: Path, cap: int) -> Any:
    """The font at the size at which its 8 is ``cap`` pixels high."""
    from PIL import ImageFont

    trial = ImageFont.truetype(str(path), 200)
    box = trial.getbbox("H8", anchor="ls")
    return ImageFont.truetype(str(path), max(4, round(200 * cap / max(1, -box[1]))))


def _glyph(font: Any, sign: str) -> Mask:
    from PIL import Image, ImageDraw

    left, _, right, _ = font.getbbox(sign, anchor="ls")
    canvas = Image.new("L", (max(1, int(right - left)) + 4, HIGH), 0)
    ImageDraw.Draw(canvas).text((2 - left, BASE), sign, fill=255, font=font, anchor="ls")
    return np.asarray(canvas, np.uint8)


def _strip(font: Any, text: str, width: int | None, times: int = 1) -> Mask:
    from PIL import Image, ImageDraw

    wide = width or int(font.getlength(text)) + 6
    canvas = Image.new("L", (wide, times * LINE_HIGH), 0)
    ImageDraw.Draw(canvas).text((2, times * 29), text, fill=255, font=font, anchor="ls")
    return np.asarray(canvas, np.uint8)


def _sentence(chance: np.random.Generator) -> str:
    """Invented words enough for one strip."""
    heads, tails = (
        [
            "b",
            "c",
            "d",
            "f",
            "g",
            "h",
            "l",
            "m",
            "n",
            "p",
            "r",
            "s",
            "t",
            "v",
            "w",
            "st",
            "tr",
            "ch",
        ],
        ["a", "e", "i", "o", "u", "en", "ar", "is", "ou", "el"],
    )
    words = []
    for _ in range(40):
        word = "".join(
            heads[chance.integers(len(heads))] + tails[chance.integers(len(tails))]
            for _ in range(chance.integers(1, 4))
        )
        words.append(word.capitalize() if chance.random() < 0.1 else word)
    return " ".join(words)
