"""The sheet code: all that marking a page needs, in one QR symbol, so that no file is kept.

A page is a whole number in mixed radix (each field is counted up to its own limit, so a fraction
of a bit is never lost), written in the 45 letters of a QR symbol's alphanumeric mode (ISO/IEC
18004) behind ``PN1:``. A filled grid takes about 80 bits that way: each of its digits is counted
among those that its row, column and block have left.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field

from papernudge.hints.drilling import Places, Reason
from papernudge.hints.geometry import PEERS, members
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.registry import PRACTISED

PREFIX = "PN1:"
LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_NAMES = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""For people: no 0, O, 1 or I."""
_KINDS = (None, "row", "column", "line", "block")
_CHECK = 1 << 20
_UP_TO = NEWSPAPER.side + 1
"""How many values a count of the cells of a house has."""
MOST_PAGES, MOST_NUMBER, MOST_LOOKS, MOST_EACH, MOST_LINES = 1000, 10000, 200, 12, 16


@dataclass(frozen=True, slots=True)
class Task:
    """One position on a page. ``digits``: what is printed, a character for each cell, ``solution``:
    the same filled; ``reason`` None on a scan sheet; ``answers``: what each line that counts
    writes; ``why``: a sentence for each, for the page of answers, which is in no code.
    """

    number: int
    digits: str
    solution: str
    reason: Reason | None
    looks: int
    answers: tuple[Places, ...]
    why: tuple[str, ...] = field(default=(), compare=False)


@dataclass(frozen=True, slots=True)
class SheetPage:
    """One page of a sheet. ``sheet``: a number below 2**30 that all its pages share; ``minutes``:
    of a scan sheet, else 0; ``paper``: a4 or letter; ``each``: for how many the page is laid out;
    ``layout``: of which board the tasks are.
    """

    sheet: int
    page: int
    paper: str
    each: int
    minutes: int
    tasks: tuple[Task, ...]
    layout: Layout = NEWSPAPER

    @property
    def name(self) -> str:
        """What people call it: six letters and the page."""
        letters = "".join(_NAMES[self.sheet >> 5 * k & 31] for k in range(6))
        return f"{letters}-{self.page}"


@dataclass
class _Packer:
    """Collects fields, or gives them back in the same order."""

    fields: list[tuple[int, int]] = field(default_factory=list)
    whole: int = 0

    def put(self, value: int, radix: int) -> None:
        if not 0 <= value < radix:
            raise ValueError(
                f"expected a number from 0 to {radix - 1} in a sheet code, got {value}"
            )
        self.fields.append((value, radix))

    def packed(self) -> int:
        whole = 1
        for value, radix in reversed(self.fields):
            whole = whole * radix + value
        return whole

    def take(self, radix: int) -> int:
        self.whole, value = divmod(self.whole, radix)
        return value


def encode(page: SheetPage) -> str:
    """The text of the symbol. ValueError where a number is beyond what a code can hold, or for
    another board than the newspaper's: no code tells of one.
    """
    if page.layout is not NEWSPAPER:
        raise ValueError("expected tasks of the newspaper's grid: no sheet code tells of others")
    packer = _Packer()
    for value, radix in (
        (page.sheet, 1 << 30),
        (page.page, MOST_PAGES),
        (int(page.paper == "letter"), 2),
        (page.each, MOST_EACH + 1),
        (page.minutes, 100),
        (len(page.tasks), MOST_EACH + 1),
    ):
        packer.put(value, radix)
    for task in page.tasks:
        _put_task(packer, task)
    whole, text = packer.packed(), ""
    whole = whole * _CHECK + _check(whole)
    while whole:
        whole, letter = divmod(whole, 45)
        text += LETTERS[letter]
    return PREFIX + text


def decode(text: str) -> SheetPage | None:
    """The page that a code's text tells of; None for any other text."""
    if not text.startswith(PREFIX) or any(letter not in LETTERS for letter in text):
        return None
    whole = 0
    for letter in reversed(text[len(PREFIX) :]):
        whole = whole * 45 + LETTERS.index(letter)
    whole, check = divmod(whole, _CHECK)
    if _check(whole) != check:
        return None
    packer = _Packer(whole=whole)
    sheet, page = packer.take(1 << 30), packer.take(MOST_PAGES)
    paper = ("a4", "letter")[packer.take(2)]
    each, minutes, many = packer.take(MOST_EACH + 1), packer.take(100), packer.take(MOST_EACH + 1)
    try:
        tasks = tuple(_take_task(packer) for _ in range(many))
    except (LookupError, ValueError):
        return None
    return SheetPage(sheet, page, paper, each, minutes, tasks) if packer.whole == 1 else None


def _check(whole: int) -> int:
    return zlib.crc32(whole.to_bytes((whole.bit_length() + 7) // 8, "little")) % _CHECK


def _put_task(packer: _Packer, task: Task) -> None:
    packer.put(task.number, MOST_NUMBER)
    packer.put(task.looks, MOST_LOOKS)
    printed = sum(1 << c for c, mark in enumerate(task.digits) if mark != ".")
    packer.put(printed, 1 << NEWSPAPER.many)
    placed = [0] * NEWSPAPER.many
    for cell, mark in enumerate(task.solution):
        options = _options(placed, cell)
        packer.put(options.index(int(mark)), len(options))
        placed[cell] = int(mark)
    packer.put(0 if task.reason is None else 1, 2)
    if task.reason is not None:
        packer.put(PRACTISED.index(task.reason.technique), 32)
        packer.put(_KINDS.index(task.reason.kind), 5)
        packer.put(task.reason.blanks or 0, _UP_TO)
        packer.put(len(task.answers), MOST_LINES)
        for places in task.answers:
            packer.put(len(places), _UP_TO)
            for cell, _ in places:
                packer.put(cell, NEWSPAPER.many)


def _take_task(packer: _Packer) -> Task:
    number, looks = packer.take(MOST_NUMBER), packer.take(MOST_LOOKS)
    printed = packer.take(1 << NEWSPAPER.many)
    placed = [0] * NEWSPAPER.many
    for cell in NEWSPAPER.cells:
        options = _options(placed, cell)
        placed[cell] = options[packer.take(len(options))]
    solution = "".join(map(str, placed))
    digits = "".join(d if printed >> c & 1 else "." for c, d in enumerate(solution))
    reason: Reason | None = None
    answers: tuple[Places, ...] = ()
    if packer.take(2):
        technique, kind = PRACTISED[packer.take(32)], _KINDS[packer.take(5)]
        reason = Reason(technique, kind, packer.take(_UP_TO) or None)
        answers = tuple(_take_places(packer, placed) for _ in range(packer.take(MOST_LINES)))
    return Task(number, digits, solution, reason, looks, answers)


def _take_places(packer: _Packer, placed: list[int]) -> Places:
    cells = [packer.take(NEWSPAPER.many) for _ in range(packer.take(_UP_TO))]
    return tuple((cell, placed[cell]) for cell in cells)


def _options(placed: list[int], cell: int) -> list[int]:
    """The digits that the cells before leave this one, in a grid filled in reading order."""
    used = {placed[peer] for peer in members(PEERS[cell]) if peer < cell}
    options = [digit for digit in NEWSPAPER.digits if digit not in used]
    if not options:
        raise ValueError("expected a filled grid that keeps the rules")
    return options
