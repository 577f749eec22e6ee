"""A conversation at the terminal: a little more each time, only when asked for."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from papernudge.cli.base.breaking import broken
from papernudge.cli.base.exits import bad_words
from papernudge.cli.base.say import say, show
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.said import in_words, spoken
from papernudge.cli.session.assume import Assumption, digit_of, parse_assumption
from papernudge.cli.session.doubting import as_typed, asked, choices, note_sets
from papernudge.cli.session.naming import with_legend
from papernudge.cli.terminal.board import board, marks_of
from papernudge.cli.terminal.outcome import Outcome, code_of_answer
from papernudge.cli.terminal.viewer import Folder, opens
from papernudge.hints.catalogue import Either
from papernudge.hints.layout import Layout

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer
    from papernudge.cli.session.pages import Sheet
    from papernudge.hints import Nudge
    from papernudge.vision.reading import Doubt, GridReading

Answering = Callable[["Sheet", int], "Answer"]

_LED_INTO_CHECK = ("mistaken", "not one solution")


@lru_cache
def _written_on(layout: Layout) -> re.Pattern[str]:
    """What may stand after an n: a digit, a cell, both in either order."""
    many = layout.side > 9
    place = "1[0-6]|[1-9]" if many else "[1-9]"
    digit = "1[0-6]|[1-9A-G]" if many else "[1-9]"
    return re.compile(
        rf"(?P<first>{digit})?(?:\s*(?:in|at|=|:)?\s*)"
        rf"(?:(?P<cell>R(?:{place})\s*C(?:{place}))(?:\s*(?:is|=|:)?\s*(?P<last>{digit}))?)?",
        re.IGNORECASE,
    )


@dataclass(frozen=True, slots=True)
class _Turn:
    """What is talked about. ``checking``: a hint that has led into a check."""

    sheet: Sheet
    depth: int
    checking: bool = False


class Talk:
    """Says an answer and waits: Enter for more, n for a digit that was written, u to take that
    back, p to see a picture, c to correct a cell, s to stop.

    ``sentences``: no drawn boards; ``picture``: drawn anew with each answer. Answers go to
    standard output, questions to standard error.
    """

    def __init__(
        self,
        sentences: bool,
        side: int,
        picture: Path | None,
        streams: tuple[TextIO, TextIO, TextIO] | None = None,
    ) -> None:
        self._sentences, self._side, self._picture = sentences, side, picture
        self._in, self._out, self._err = streams or (sys.stdin, sys.stdout, sys.stderr)
        self._said: object = None
        self._drawn = ""
        self._legend = False
        self._before: list[_Turn] = []
        self._folder = Folder()

    def over(
        self, sheet: Sheet, depth: int, answering: Answering, check: Answering | None = None
    ) -> Outcome:
        """Talks until the user stops or nothing is left to tell. ``check``: what a hint leads into
        where something on the paper can't be right.
        """
        with self._folder:
            return self._turns(_Turn(sheet, depth), answering, check)

    def _turns(self, turn: _Turn, answering: Answering, check: Answering | None) -> Outcome:
        while True:
            leads = check if turn.checking else None
            answer = (leads or answering)(turn.sheet, turn.depth)
            if answer.doubts:
                if self._picture is not None:
                    self._show_picture(answer)
                better = self._settle(turn.sheet, answer.doubts[0])
                if better is None:
                    return self._end(answer)
                turn = replace(turn, sheet=better)
                continue
            into = check is not None and not turn.checking and answer.state in _LED_INTO_CHECK
            self._say(
                answer, in_words("leads astray") if into and answer.state == "mistaken" else ""
            )
            step = self._next(answer, turn, into)
            if step is None:
                return self._end(answer)
            turn = step

    def _say(self, answer: Answer, instead: str) -> None:
        sentence = answer.sentence
        if instead:
            sentence = spoken().paragraph([answer.sheet.lead, instead])
        said = (answer.depth, sentence)
        if said == self._said:
            return
        self._said = said
        if self._picture is not None:
            self._show_picture(answer)
        if not self._sentences and answer.told is not None:
            drawn = board(answer.sheet.grid, marks_of(answer))
            if drawn != self._drawn:
                show(drawn, self._out)
            self._drawn = drawn
        show(broken(self._explained(sentence), self._out), self._out)

    def _explained(self, sentence: str) -> str:
        """The first sentence that names a cell, with what the name stands for."""
        told = sentence if self._legend else with_legend(sentence, spoken())
        self._legend = self._legend or told != sentence
        return told

    def _next(self, answer: Answer, turn: _Turn, into: bool) -> _Turn | None:
        """What to say next, and how deep; None for the end. ``into``: a check is offered."""
        written = answer.command == "hint" and answer.nudge is not None
        more = "check" if into else "more" if answer.deeper else "done"
        keys = [*("n" if written else ""), *("u" if self._before else ""), "p", "c", "s"]
        offers = [in_words(f"offer, {key}") for key in (more, *keys)]
        while True:
            reply = self._ask(in_words("prompt", offers=spoken().chained("listed", offers)))
            if reply is None or reply in ("s", "q"):
                return None
            step = None
            if reply == "":
                if into:
                    # Why there is no one solution has been said: depth 1 would repeat it.
                    return _Turn(turn.sheet, 1 if answer.state == "mistaken" else 2, checking=True)
                return replace(turn, depth=turn.depth + 1) if answer.deeper else None
            if reply == "p":
                self._show_picture(answer, opened=True)
            elif reply == "u" and self._before:
                self._said = None
                return self._before.pop()
            elif reply == "c":
                step = self._correct(turn)
            elif re.match(r"n(?=[\s\dr=:]|$)", reply, re.IGNORECASE):
                step = self._written(answer, turn, reply[1:])
            else:
                self._tell(in_words("press enter", keys=Either(keys)))
            if step is not None:
                self._before.append(turn)
                self._said = None  # the next step may read the same and is another one
                return step

    def _written(self, answer: Answer, turn: _Turn, words: str) -> _Turn | None:
        """The paper with what the user says to have written, from where hints go on."""
        try:
            cell, digit = written_by(words, answer.nudge, turn.sheet.grid)
        except Trouble as wrong:
            self._tell(wrong.sentence)
            return None
        return _Turn(turn.sheet.wrote(cell, digit), 1)

    def _end(self, answer: Answer) -> Outcome:
        return Outcome(answer.document(), "", code_of_answer(answer))

    def _settle(self, sheet: Sheet, doubt: Doubt) -> Sheet | None:
        """Asks one doubt, with the cell drawn large; None if the user stops."""
        if not self._sentences:
            from papernudge.cli.terminal.closeup import close_up

            drawn = close_up(sheet, doubt.cell)
            if drawn:
                self._tell(drawn)
        name = sheet.grid.layout.name(doubt.cell)
        notes = as_typed(sheet.grid.cells[doubt.cell].notes)
        while True:
            self._tell(self._explained(asked(sheet.grid, doubt, spoken())))
            offers = [*_choices(sheet, doubt), in_words("offer, s")]
            reply = self._ask(in_words("prompt", offers=spoken().chained("listed", offers)))
            if reply is None or reply in ("s", "q"):
                return None
            try:
                return sheet.assuming([_reply_to(sheet.grid, doubt, name, reply, notes)])
            except Trouble:
                self._tell(in_words("none of the answers"))

    def _correct(self, turn: _Turn) -> _Turn | None:
        reply = self._ask(in_words("a cell and what stands there"))
        if not reply:
            return None
        try:
            sheet = turn.sheet.assuming([parse_assumption(reply, turn.sheet.grid.layout)])
            return _Turn(sheet, 1 if turn.checking else turn.depth)
        except Trouble as wrong:
            self._tell(wrong.sentence)
            return None

    def _show_picture(self, answer: Answer, *, opened: bool = False) -> None:
        from papernudge.cli.base.files import write_whole
        from papernudge.cli.pictures.pictures import answer_picture, doubt_picture

        drawn = doubt_picture if answer.doubts else answer_picture
        try:
            path = self._picture or self._folder.file(f"{answer.command}-{answer.depth}.png")
            write_whole(path, drawn(answer, self._side, path.suffix.lower()))
        except Trouble as wrong:
            say(wrong.sentence, self._err)
            return
        if self._picture is not None:
            say(in_words("the picture is", path=path), self._err)
        if opened and not opens(path) and self._picture is None:
            say(in_words("no viewer"), self._err)

    def _ask(self, prompt: str) -> str | None:
        """The reply, trimmed and in lower case where it is a letter; None at the end of input."""
        print(broken(prompt.rstrip(), self._err), end=" ", file=self._err, flush=True)
        line = self._in.readline()
        if not line:
            print(file=self._err)
            return None
        reply = line.strip()
        return reply.lower() if len(reply) == 1 else reply

    def _tell(self, text: str) -> None:
        show(broken(text, self._err), self._err)


def written_by(words: str, nudge: Nudge | None, grid: GridReading) -> tuple[int, int]:
    """Cell and digit that the user says to have written: ``R4C7=3``, ``3 in r4c7``, ``3``, ``R4C7``
    or nothing, where what is left out is what the step asked for. Stop (2) where it can't be known.
    """
    asked_for = dict(nudge.line.places) if nudge is not None else {}
    found = _written_on(grid.layout).fullmatch(words.strip(" \t=:,"))
    if found is None or (not found.group(0) and not asked_for):
        raise bad_words("type what you wrote")
    digit = next((digit_of(d) for d in (found["first"], found["last"]) if d), None)
    if found["cell"] is None:
        cells = [c for c, d in asked_for.items() if digit in (None, d)]
        if not cells:
            raise bad_words("say in which cell")
        return cells[0], asked_for[cells[0]]
    cell = grid.layout.cell("".join(found["cell"].split()))
    if cell is None or (digit or 1) not in grid.layout.digits:
        raise bad_words("type what you wrote")
    if grid.cells[cell].kind == "given":
        raise bad_words("correct a printed one", cell=grid.layout.name(cell))
    if digit is None and cell not in asked_for:
        raise bad_words("say which digit")
    return cell, digit or asked_for[cell]


def _choices(sheet: Sheet, doubt: Doubt) -> list[str]:
    if doubt.about == "layout":
        return [one.words for one in choices(sheet.grid, doubt, spoken())]
    if doubt.about in ("seen", "hand"):
        return [in_words(f"type, {doubt.about}")]
    if doubt.about == "notes":
        read, *others = (as_typed(s) for s in note_sets(sheet.grid, doubt))
        first = in_words("type, read", read=read or in_words("none read"))
        offered = [first, *others, in_words("type, other notes"), in_words("type, no notes")]
        return [one for one in offered if one]
    read = in_words("nothing read") if doubt.read is None else str(doubt.read)
    return [in_words("type, digit", read=read)]


def _reply_to(grid: GridReading, doubt: Doubt, name: str, reply: str, notes: str) -> Assumption:
    layout = grid.layout
    if doubt.about == "layout":
        return parse_assumption(f"{name}=block:{reply}", layout)
    if doubt.about == "hand":
        said = dict(zip("ge", choices(grid, doubt), strict=True))
        return parse_assumption(said[reply].says if reply in said else "", layout)
    if doubt.about == "notes":
        return parse_assumption(f"{name}=notes:{reply.replace(' ', '') or notes or '.'}", layout)
    if doubt.about == "seen":
        return parse_assumption(f"{name}={reply}", layout)
    value = reply or ("." if doubt.read is None else str(doubt.read))
    return parse_assumption(f"{name}={value}", layout)
