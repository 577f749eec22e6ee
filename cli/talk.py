"""A conversation at the terminal: a little more each time, only when asked for."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from papernudge.cli.assume import Assumption, parse_assumption
from papernudge.cli.board import board, marks_of
from papernudge.cli.doubting import asked
from papernudge.cli.exits import Stop

if TYPE_CHECKING:
    from papernudge.cli.answers import Answer
    from papernudge.cli.commands import Outcome
    from papernudge.cli.pages import Sheet
    from papernudge.vision.reading import Doubt

Answering = Callable[["Sheet", int], "Answer"]


class Talk:
    """Says an answer and waits: Enter for more, p for a picture, c to correct a cell, s to stop.

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

    def over(self, sheet: Sheet, depth: int, answering: Answering) -> Outcome:
        """Talks until the user stops or nothing is left to tell."""
        while True:
            answer = answering(sheet, depth)
            if answer.doubts:
                if self._picture is not None:
                    self._show_picture(answer)
                better = self._settle(sheet, answer.doubts[0])
                if better is None:
                    return self._end(answer)
                sheet = better
                continue
            self._say(answer)
            step = self._next(answer, sheet)
            if step is None:
                return self._end(answer)
            sheet, depth = step

    def _say(self, answer: Answer) -> None:
        said = (answer.depth, answer.sentence)
        if said == self._said:
            return
        self._said = said
        if self._picture is not None:
            self._show_picture(answer)
        if not self._sentences and answer.told is not None:
            drawn = board(answer.sheet.grid, marks_of(answer))
            if drawn != self._drawn:
                print(drawn, file=self._out)
            self._drawn = drawn
        print(answer.sentence, file=self._out, flush=True)

    def _next(self, answer: Answer, sheet: Sheet) -> tuple[Sheet, int] | None:
        """What to say next, and how deep; None for the end."""
        placed = getattr(answer.told, "places", ())
        first = "Enter: more" if answer.deeper else "Enter: done"
        offers = f"{first}, {'n: written, what next, ' if placed else ''}p: picture"
        while True:
            reply = self._ask(f"[{offers}, c: correct a cell, s: stop] ")
            if reply is None or reply in ("s", "q"):
                return None
            if reply == "":
                return (sheet, answer.depth + 1) if answer.deeper else None
            if reply == "p":
                self._show_picture(answer)
            elif reply == "n" and placed:
                return sheet.assuming([Assumption(None, c, "entry", d) for c, d in placed]), 1
            elif reply == "c":
                corrected = self._correct(sheet)
                if corrected is not None:
                    return corrected, answer.depth
            else:
                self._tell(f"Press Enter, or type {'n, ' if placed else ''}p, c or s.")

    def _end(self, answer: Answer) -> Outcome:
        from papernudge.cli.commands import Outcome

        return Outcome(answer.document(), "", answer.code)

    def _settle(self, sheet: Sheet, doubt: Doubt) -> Sheet | None:
        """Asks one doubt, with the cell drawn large; None if the user stops."""
        from papernudge.vision.reading import cell_name

        if not self._sentences:
            from papernudge.cli.closeup import close_up

            drawn = close_up(sheet, doubt.cell)
            if drawn:
                self._tell(drawn)
        name = cell_name(doubt.cell)
        notes = "".join(map(str, sorted(sheet.grid.cells[doubt.cell].notes)))
        while True:
            self._tell(asked(sheet.grid, doubt))
            reply = self._ask(f"[{_choices(doubt)}, s: stop] ")
            if reply is None or reply in ("s", "q"):
                return None
            try:
                return sheet.assuming([_reply_to(doubt, name, reply, notes)])
            except Stop:
                self._tell("That is none of the answers.")

    def _correct(self, sheet: Sheet) -> Sheet | None:
        reply = self._ask("[a cell and what stands there, as R4C7=1, or R4C7=. for nothing] ")
        if not reply:
            return None
        try:
            return sheet.assuming([parse_assumption(reply)])
        except Stop as stop:
            self._tell(stop.sentence)
            return None

    def _show_picture(self, answer: Answer) -> None:
        from papernudge.cli.files import write_whole
        from papernudge.cli.pictures import answer_picture, doubt_picture

        path = self._picture or self._picture_path(answer)
        drawn = doubt_picture if answer.doubts else answer_picture
        try:
            write_whole(path, drawn(answer, self._side, path.suffix.lower()))
        except Stop as stop:
            self._tell(stop.sentence)
        else:
            self._tell(f"The picture is {path}")

    def _picture_path(self, answer: Answer) -> Path:
        folder = Path(tempfile.mkdtemp(prefix="papernudge-"))
        return folder / f"{answer.command}-{answer.depth}.png"

    def _ask(self, prompt: str) -> str | None:
        """The reply, trimmed and in lower case where it is a letter; None at the end of input."""
        print(prompt, end="", file=self._err, flush=True)
        line = self._in.readline()
        if not line:
            print(file=self._err)
            return None
        reply = line.strip()
        return reply.lower() if len(reply) == 1 else reply

    def _tell(self, text: str) -> None:
        print(text, file=self._err, flush=True)


def _choices(doubt: Doubt) -> str:
    if doubt.about == "seen":
        return "type the digit it holds, given:1 or entry:1, or . for nothing"
    if doubt.about == "hand":
        return "g: printed, e: by hand"
    if doubt.about == "notes":
        return "Enter: they are right, or type them, or . for none"
    read = "nothing" if doubt.read is None else str(doubt.read)
    return f"Enter: {read}, or type the digit, or . for nothing"


def _reply_to(doubt: Doubt, name: str, reply: str, notes: str) -> Assumption:
    if doubt.about == "hand":
        kinds = {"g": "given", "e": "entry"}
        return parse_assumption(f"{name}={kinds.get(reply, '')}:{doubt.read}")
    if doubt.about == "notes":
        return parse_assumption(f"{name}=notes:{reply.replace(' ', '') or notes or '.'}")
    if doubt.about == "seen":
        return parse_assumption(f"{name}={reply}")
    value = reply or ("." if doubt.read is None else str(doubt.read))
    return parse_assumption(f"{name}={value}")
