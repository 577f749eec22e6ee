"""Which doubts matter for a question, and how they are asked."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from typing import TYPE_CHECKING

from papernudge.cli.said import ENGLISH
from papernudge.cli.session.hidden import cannot_be_seen, hidden_in, how_to_tell, regions
from papernudge.hints.catalogue import Words
from papernudge.hints.layout import beside
from papernudge.hints.masks import SYMBOLS, VALUES
from papernudge.hints.words import a_digit, named_cell

if TYPE_CHECKING:
    from papernudge.hints import Nudge, Position
    from papernudge.vision.reading import Doubt, GridReading

_MOST_WORLDS = 24  # ways to answer the doubts that are tried out before all are asked
_SOFT = 0.01
"""A wrong digit is blamed on the solver only if the right one had less than this chance to be
what the page says."""


def paper_state(position: Position) -> str:
    """What can be said of the paper as a whole: one of the states of a hint, "no step" aside."""
    solution = position.solution
    if solution is None:
        return "not one solution"
    pairs = list(zip(position.entries, solution, strict=True))
    if any(written not in (".", right) for written, right in pairs):
        return "mistaken"
    return "open" if "." in position.digits else "solved"


def standing(
    grid: GridReading, with_notes: Callable[[GridReading], object] | None
) -> tuple[Doubt, ...]:
    """Doubts to ask before answering; the same for a hint and a check, whatever the depth.

    Those about digits and hands that change what can be said of the paper, then mistakes that may
    be misreadings. Doubts about notes only where ``with_notes``, the answer itself, hangs on them.
    """
    from papernudge.cli.session.pages import position_of

    # One answer about the blocks settles all of them, and may settle everything else.
    laid = tuple(d for d in grid.doubts if d.about == "layout")[:1]
    others = tuple(d for d in grid.doubts if d.about not in ("notes", "layout"))
    plain = replace(grid, doubts=others)
    position = position_of(grid)
    state = paper_state(position)
    if state == "not one solution":
        # The givens may be misread in more than one place: what no single answer mends,
        # all of them together may.
        return laid + plain.doubts
    noted = replace(grid, doubts=tuple(d for d in grid.doubts if d.about == "notes"))
    asked_about = laid
    if plain.doubts:
        asked_about += doubts_that_matter(plain, _told_of_paper(state))
    if with_notes is not None and noted.doubts:
        asked_about += doubts_that_matter(noted, with_notes)
    if state != "mistaken":
        return asked_about
    solution = position.solution or ""
    wrong = [c for c, e in enumerate(position.entries) if e not in (".", solution[c])]
    return (*asked_about, *misreadings(grid, wrong, solution))


def _told_of_paper(as_read: str) -> Callable[[GridReading], object]:
    """All that a hint or a check would say of a paper, at any depth, notes aside."""
    from papernudge.cli.session.pages import position_of
    from papernudge.hints import Position, next_nudge
    from papernudge.hints.checking import check

    def told(grid: GridReading) -> object:
        whole = position_of(grid)
        position = Position(whole.givens, whole.entries, layout=whole.layout)
        state = paper_state(position)
        if state != as_read:  # that is difference enough
            return state
        nudge = next_nudge(position) if state == "open" else None
        step = nudge.at(4).to_json() if nudge else None
        return state, json.dumps([step, check(position).at(4).to_json()])

    return told


def doubts_that_matter(
    grid: GridReading, outcome: Callable[[GridReading], object]
) -> tuple[Doubt, ...]:
    """The doubts whose answers would change ``outcome``, the answer to the user's question.

    Every combination of answers is tried where there are few; else each doubt alone, and with
    very many all of them count. Cells that can't be seen are another matter: see
    :func:`rests_on`.
    """
    doubts = tuple(doubt for doubt in grid.doubts if doubt.about != "seen")
    if not doubts:
        return ()
    as_read = outcome(grid)
    if len(doubts) > _MOST_WORLDS:
        return doubts
    answers = [_answers(grid, doubt) for doubt in doubts]
    worlds = 1
    for each in answers:
        worlds *= 1 + len(each)
    if worlds > _MOST_WORLDS:
        alone = (any(outcome(_told(grid, [cell])) != as_read for cell in each) for each in answers)
        return tuple(d for d, matters in zip(doubts, alone, strict=True) if matters)
    changing: set[int] = set()
    for world in islice(product(*([None, *each] for each in answers)), 1, None):
        touched = {n for n, cell in enumerate(world) if cell is not None}
        if touched & changing and len(touched) > 1:
            continue  # part of it is known to matter already
        if outcome(_told(grid, [cell for cell in world if cell is not None])) != as_read:
            changing |= touched
    return tuple(d for n, d in enumerate(doubts) if n in changing)


def rests_on(nudge: Nudge, cells: Iterable[int]) -> bool:
    """Whether a nudge builds on any of these cells, or would write into one.

    A cell that it takes for blank though something may stand there does no harm: a digit there
    leaves fewer places for others, and what was the last one still is.
    """
    from papernudge.hints.nudge import Told4

    told = nudge.at(4)
    assert isinstance(told, Told4)
    used = {cell for cell, _ in told.places} | set(told.evidence) | set(told.noted)
    for step in told.line:
        used |= {*step.evidence, *step.noted}
    return not used.isdisjoint(cells)


_Answer = tuple[int, "object"]


def _answers(grid: GridReading, doubt: Doubt) -> list[_Answer]:
    """The cell as it would read if the doubt were answered otherwise."""
    from papernudge.vision.reading import CellKind

    cell = grid.cells[doubt.cell]
    if doubt.about == "hand":
        other = CellKind.ENTRY if cell.kind is CellKind.GIVEN else CellKind.GIVEN
        return [(doubt.cell, replace(cell, kind=other))]
    if doubt.about == "notes":
        sets = {*note_sets(grid, doubt), frozenset[int]()}
        return [(doubt.cell, replace(cell, notes=one, notes_chance=1.0)) for one in sets]
    out: list[_Answer] = []
    for digit in _others(grid, doubt):
        kind = cell.kind
        if digit is None:
            kind = CellKind.BLANK
        elif kind is CellKind.BLANK:
            kind = CellKind.GIVEN if cell.given_chance > 0.5 else CellKind.ENTRY
        out.append((doubt.cell, replace(cell, kind=kind, digit=digit)))
    return out


def _others(grid: GridReading, doubt: Doubt) -> list[int | None]:
    """What else the cell may hold: as the doubt names it, else the likeliest other reading, else
    any other digit, so that a doubt that names nothing still counts.
    """
    if doubt.instead:
        return [digit for digit, _ in doubt.instead]
    side = grid.layout.side
    chances = list(grid.cells[doubt.cell].digit_chances) or [0.0] * (side + 1)
    chances[doubt.read or 0] = -1.0
    likeliest = max(range(side + 1), key=lambda digit: chances[digit])
    if chances[likeliest] > 0:
        return [likeliest or None]
    return [(doubt.read or 0) % side + 1]


def _told(grid: GridReading, answers: Iterable[_Answer]) -> GridReading:
    cells: list[object] = list(grid.cells)
    for at, cell in answers:
        cells[at] = cell
    return replace(grid, cells=tuple(cells))  # type: ignore[arg-type]


def misreadings(grid: GridReading, wrong: Iterable[int], solution: str) -> tuple[Doubt, ...]:
    """Doubts about wrong entries that may be right entries misread: asked about, not blamed.

    ``wrong``: cells; ``solution``: of the givens, a character for each cell.
    """
    from papernudge.vision.reading import Doubt

    known = {d.cell for d in grid.doubts}
    out = []
    for at in wrong:
        cell = grid.cells[at]
        if at in known or not cell.digit_chances or cell.chance >= 1.0:
            continue
        right = VALUES[solution[at]]
        if cell.digit_chances[right] >= _SOFT:
            instead = ((right, cell.digit_chances[right]),)
            out.append(Doubt(at, "digit", cell.digit, cell.chance, instead))
    return tuple(out)


def questions(
    grid: GridReading, doubts: Sequence[Doubt], words: Words = ENGLISH
) -> list[tuple[str, str]]:
    """What is asked, and how it is answered on the command line: doubt by doubt, cells that can't
    be seen region by region.
    """
    words = words.on(grid.layout)
    plain = [
        (asked(grid, d, words), how_to_answer(grid, d, words)) for d in doubts if d.about != "seen"
    ]
    hidden = [
        (words.say("stop", said=cannot_be_seen(r, words)), how_to_tell(r, words))
        for r in regions(hidden_in(doubts), grid.layout)
    ]
    return plain + hidden


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer to a doubt. ``words``: as a button would say it; ``says``: as ``--assume`` and
    :func:`papernudge.cli.session.assume.parse_assumption` take it.
    """

    words: str
    says: str


def choices(grid: GridReading, doubt: Doubt, words: Words = ENGLISH) -> tuple[Choice, ...]:
    """The answers that a doubt leaves, what was read first; of a cell that can't be seen, all."""
    name = grid.layout.name(doubt.cell)
    if doubt.about == "layout":
        near = [grid.layout.name(cell) for cell in neighbours(grid, doubt)]
        return tuple(Choice(cell, f"{name}=block:{cell}") for cell in near)
    if doubt.about == "hand":
        kinds = (("printed", "given"), ("by hand", "entry"))
        return tuple(Choice(words.say(code), f"{name}={kind}:{doubt.read}") for code, kind in kinds)
    if doubt.about == "notes":
        sets = [as_typed(one) for one in note_sets(grid, doubt) if one]
        told = [words.say("yes")] if len(sets) == 1 else [" ".join(one) for one in sets]
        offered = [Choice(t, f"{name}=notes:{one}") for t, one in zip(told, sets, strict=True)]
        return (*offered, Choice(words.say("there are none"), f"{name}=notes:."))
    values = [doubt.read, *(digit for digit, _ in doubt.instead)]
    if doubt.about == "seen":
        values = [*grid.layout.digits, None]
    nothing = words.say("nothing")
    said = (Choice(str(v), f"{name}={v}") if v else Choice(nothing, f"{name}=.") for v in values)
    return tuple(dict.fromkeys(said))


def as_typed(notes: Iterable[int]) -> str:
    """A set of notes as it is typed, a sign each: A for 10."""
    return "".join(SYMBOLS[digit - 1] for digit in sorted(notes))


def neighbours(grid: GridReading, doubt: Doubt) -> tuple[int, ...]:
    """For each of the two blocks that a cell may belong to one of its cells, one that touches it
    where there is such, and that does not lie in the other.
    """
    near = beside(grid.layout.side, doubt.cell)
    found = []
    for block, other in zip(doubt.regions, reversed(doubt.regions), strict=True):
        own = [cell for cell in block if cell not in other]
        found.append(next((cell for cell in own if cell in near), own[0]))
    return tuple(found)


def asked(grid: GridReading, doubt: Doubt, words: Words = ENGLISH) -> str:
    """The doubt as a question."""
    words = words.on(grid.layout)
    name = named_cell(doubt.cell, words)
    if doubt.about == "layout":
        cells = words.either([named_cell(cell, words) for cell in neighbours(grid, doubt)])
        return words.say("which block?", cell=name, cells=cells)
    if doubt.about == "seen":
        return words.say("what does it hold?", hidden=cannot_be_seen([doubt], words))
    if doubt.about == "hand":
        return words.say("printed or by hand?", digit=doubt.read, cell=name)
    if doubt.about == "notes":
        read, *others = [_noted(one, words) for one in note_sets(grid, doubt)]
        if not (read or others):
            return words.say("no notes?", cell=name)
        sets = words.either([one or words.say("none of them") for one in [read, *others]])
        return words.say("which notes?", cell=name, sets=sets)
    return _which_digit(doubt, name, words)


def _which_digit(doubt: Doubt, name: str, words: Words) -> str:
    digits, maybe_blank = _options(doubt)
    named = [a_digit(d, words) for d in digits]
    if not named:
        return words.say("blank?", cell=name)
    if doubt.read is None and (maybe_blank or len(named) > 1):
        return words.say("blank or?", cell=name, digits=words.either(named))
    if len(named) == 1:
        code = "holds or nothing?" if maybe_blank else "is it?"
        return words.say(code, cell=name, digit=named[0])
    offered = [*named, *([words.say("no digit at all")] * maybe_blank)]
    return words.say("is it?", cell=name, digit=words.either(offered))


def _options(doubt: Doubt) -> tuple[list[int], bool]:
    """The digits in question, likeliest first, and whether the cell may be blank."""
    values = [doubt.read, *(d for d, _ in doubt.instead)]
    return [d for d in values if d is not None], None in values


def note_sets(grid: GridReading, doubt: Doubt) -> list[frozenset[int]]:
    """What small notes the paper may show: as read, then with each digit that is in question the
    other way round, the likeliest first.
    """
    read = grid.cells[doubt.cell].notes
    return [read, *(read ^ {digit} for digit, _ in doubt.instead if digit is not None)]


def _noted(digits: frozenset[int], words: Words) -> str:
    return words.all_of(sorted(digits))


def how_to_answer(grid: GridReading, doubt: Doubt, words: Words = ENGLISH) -> str:
    """The options that answer the doubt on the command line."""
    words = words.on(grid.layout)
    name = grid.layout.name(doubt.cell)
    if doubt.about == "seen":
        return how_to_tell([doubt], words)
    offered = [one.says for one in choices(grid, doubt, words)]
    if doubt.about == "notes":
        sets = [as_typed(one) for one in note_sets(grid, doubt)]
        none = words.say("for none", answer=f"{name}=notes:.")
        answers = [*(f"{name}=notes:{one}" for one in sets if one), none]
    elif doubt.about in ("hand", "layout"):
        answers = offered
    else:
        blank = f"{name}=."
        answers = [one for one in offered if one != blank]
        answers += [words.say("for nothing", answer=blank)] * (blank in offered)
        if len(answers) == 1:
            answers.append(words.say("whatever it holds"))
    return words.say("answer with", answers=words.either(answers))
