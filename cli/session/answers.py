"""The answer to ``hint`` and ``check`` for one grid at one depth: state, sentence, document."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from papernudge.cli.said import ENGLISH
from papernudge.cli.session.documents import FORMAT, doubt_document, layout_field
from papernudge.cli.session.doubting import paper_state, questions, rests_on, standing
from papernudge.cli.session.hidden import cannot_be_seen, hidden_in, regions
from papernudge.hints.catalogue import Words

if TYPE_CHECKING:
    from papernudge.cli.session.pages import Sheet
    from papernudge.hints import Nudge, Position, Told1, Walk
    from papernudge.hints.checking import Checked
    from papernudge.hints.route import Route
    from papernudge.vision.reading import Doubt, GridReading

DEEPEST = 4


@dataclass(frozen=True, eq=False)
class Answer:
    """What is said about one grid.

    ``told``: the depth's own type, for drawing; None where there is nothing to draw. ``doubts``
    are the ones that must be answered first (state ``unsure``). ``deeper``: whether another
    depth would say more. ``nudge``: the whole step, from which nothing is told that ``told``
    doesn't hold; what the user says to have written is compared with it. ``fields`` go into the
    document besides the common ones. ``words``: the language of the sentence.
    """

    command: str
    sheet: Sheet
    state: str
    depth: int
    sentence: str
    told: Told1 | Checked | Route | Walk | None = None
    doubts: tuple[Doubt, ...] = ()
    deeper: bool = False
    nudge: Nudge | None = None
    fields: dict[str, Any] = field(default_factory=dict)
    words: Words = ENGLISH

    @property
    def alone(self) -> str:
        """The sentence without which grid it is about."""
        lead = self.words.paragraph(self.sheet.leads(self.words))
        return self.sentence.removeprefix(lead).lstrip(" ")

    def document(self) -> dict[str, Any]:
        """The answer as JSON."""
        out = {
            "format": FORMAT,
            "photo": self.sheet.page.called,
            "grid": self.sheet.number,
            "state": self.state,
            "depth": self.depth,
            "sentence": self.sentence,
            **layout_field(self.sheet.grid.layout),
            **self.fields,
        }
        if self.doubts:
            out["doubts"] = [doubt_document(doubt, self.sheet.grid) for doubt in self.doubts]
        return out


@dataclass(frozen=True, slots=True)
class HintWishes:
    """``earlier``: what was written before, a line; ``uniqueness``: also allow steps that
    lean on there being one solution; ``route``: a walk in an order that keeps the eye's way short;
    ``words``: the language.
    """

    earlier: str | None = None
    uniqueness: bool = False
    route: bool = False
    words: Words = ENGLISH


def hint_answer(sheet: Sheet, depth: int, wishes: HintWishes) -> Answer:
    """The next step at this depth, or why there is none."""
    from papernudge.cli.session.pages import position_of

    words = wishes.words.on(sheet.grid.layout)
    last = (*_written_since(sheet.grid, wishes.earlier), *sheet.latest)

    def nudged(grid: GridReading) -> Nudge | None:
        from papernudge.hints import next_nudge

        return next_nudge(position_of(grid), last=last, uniqueness=wishes.uniqueness)

    def with_notes(grid: GridReading) -> object:
        nudge = nudged(grid)
        return json.dumps(nudge.at(depth).to_json()) if nudge else ""

    state = paper_state(sheet.position)
    nudge = nudged(sheet.grid) if state == "open" else None
    hidden = hidden_in(sheet.grid.doubts)
    doubts = standing(sheet.grid, with_notes if nudge else None)
    if hidden and state == "not one solution":
        doubts = tuple(doubt for doubt in doubts if doubt not in hidden)
        nudge = _step_by_what_is_seen(sheet.position)
        state = "open" if nudge else state
    unsafe = nudge is None or rests_on(nudge, (doubt.cell for doubt in hidden))
    if hidden and unsafe and state != "mistaken":
        doubts = (*(d for d in doubts if d not in hidden), *hidden)
    if doubts:
        return _unsure("hint", sheet, depth, doubts, {"nudge": None}, words)
    if nudge is not None:
        told = nudge.at(depth)
        said = words.paragraph([*sheet.leads(words), told.said(words), *_beside(hidden, words)])
        return Answer(
            "hint", sheet, state, depth, said, told=told, deeper=depth < DEEPEST, nudge=nudge,
            fields={"nudge": told.to_json(words)}, words=words,
        )  # fmt: skip
    state = "no step" if state == "open" else state
    said = words.paragraph([*sheet.leads(words), _no_nudge(state, sheet.position, words)])
    return Answer("hint", sheet, state, depth, said, fields={"nudge": None}, words=words)


def _step_by_what_is_seen(position: Position) -> Nudge | None:
    """The next step of a puzzle whose givens don't all show.

    What the others force holds whatever the rest may be. But an entry can't be told right or wrong
    then: where something is written there is no step.
    """
    from papernudge.hints import next_nudge
    from papernudge.hints.solver import count_solutions

    if position.entries.strip("."):
        return None
    if count_solutions(position.givens, layout=position.layout) == 0:
        return None
    return next_nudge(position)


def _beside(hidden: Sequence[Doubt], words: Words) -> list[str]:
    """What a nudge says of cells that can't be seen and that it doesn't rest on."""
    if not hidden:
        return []
    said = [cannot_be_seen(region, words) for region in regions(hidden, words.layout)]
    return [words.say("rests on none", hidden=words.chained("regions", said))]


def _written_since(grid: GridReading, earlier: str | None) -> tuple[int, ...]:
    if earlier is None:
        return ()
    pairs = zip(earlier, grid.entries, strict=True)
    return tuple(c for c, (old, new) in enumerate(pairs) if new not in (".", old))


_NO_NUDGE = {
    "solved": "this grid is solved",
    "mistaken": "a hint would lead astray",
    "no step": "no step",
}
"""What is said where there is no nudge, by state; for any other state what a check says."""


def _no_nudge(state: str, position: Position, words: Words) -> str:
    if state in _NO_NUDGE:
        return words.say(_NO_NUDGE[state], count=position.layout.many)
    from papernudge.hints.checking import check

    return check(position).at(1, words).sentence


def _unsure(
    command: str,
    sheet: Sheet,
    depth: int,
    doubts: tuple[Doubt, ...],
    fields: dict[str, Any],
    words: Words,
) -> Answer:
    asking = words.paragraph([asks for asks, _ in questions(sheet.grid, doubts, words)])
    said = words.paragraph([*sheet.leads(words), words.say("first, the page", questions=asking)])
    return Answer(command, sheet, "unsure", depth, said, doubts=doubts, fields=fields, words=words)


def walk_answer(sheet: Sheet, depth: int, wishes: HintWishes) -> Answer:
    """The whole solve from here, line by line, each as deep as asked."""
    from papernudge.hints import walk

    words = wishes.words.on(sheet.grid.layout)
    first = hint_answer(sheet, depth, wishes)
    if first.state not in ("open", "no step"):
        return first
    if wishes.route and depth == DEEPEST:
        from papernudge.cli.session.routes import route_told

        best, lines, fields = route_told(sheet.position, words)
        said = words.paragraph([*sheet.leads(words), "\n".join(lines)])
        return Answer(
            "hint", sheet, first.state, DEEPEST, said, told=best, fields=fields, words=words
        )
    whole: Walk = walk(sheet.position)
    lines = list(whole.sentences(depth, words))
    if not whole.solved:
        lines.append(words.say("no further"))
    said = words.paragraph([*sheet.leads(words), "\n".join(lines)])
    fields = {"nudge": None, "walk": whole.to_json(depth, words)}
    told = whole if depth == DEEPEST else first.told
    return Answer("hint", sheet, first.state, depth, said, told=told, fields=fields, words=words)


def check_answer(sheet: Sheet, depth: int, earlier: str | None, words: Words = ENGLISH) -> Answer:
    """Whether the paper is right so far, at this depth.

    ``earlier``: what was written before, a line; ``words``: the language.
    """
    from papernudge.cli.session.pages import position_of
    from papernudge.hints import Position
    from papernudge.hints.checking import Check, check

    words = words.on(sheet.grid.layout)

    def checked(grid: GridReading) -> Check:
        before = None
        if earlier is not None:
            pairs = zip(grid.givens, earlier, strict=True)
            entries = "".join(e if g == "." else "." for g, e in pairs)
            before = Position.of(grid.givens, entries, layout=grid.layout)
        return check(position_of(grid), before)

    def with_notes(grid: GridReading) -> object:
        return json.dumps(checked(grid).at(depth).to_json())

    result = checked(sheet.grid)
    told = result.at(depth, words)
    doubts = standing(sheet.grid, with_notes)
    # What can't be seen may be wrong too.
    doubts = (*(d for d in doubts if d.about != "seen"), *hidden_in(sheet.grid.doubts))
    if doubts:
        return _unsure("check", sheet, depth, doubts, {"filled": told.filled}, words)
    deeper = depth < result.deepest
    said = words.paragraph([*sheet.leads(words), told.sentence])
    fields = {k: v for k, v in told.to_json().items() if k not in ("state", "depth", "sentence")}
    return Answer(
        "check",
        sheet,
        str(result.state),
        depth,
        said,
        told,
        deeper=deeper,
        fields=fields,
        words=words,
    )
