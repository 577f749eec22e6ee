"""``papernudge mark`` as a command: documents, a table, doubts to answer, the log."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from papernudge.cli.base.exits import Exit, bad_words, code_of, from_fault
from papernudge.cli.base.paths import LOG_FILES, Named, keep_apart, photo_named
from papernudge.cli.base.say import short, show, visible, warn
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.said import in_words, spoken
from papernudge.cli.session.documents import failure_document
from papernudge.cli.sheets.log import Row, append
from papernudge.cli.sheets.mark import UNSURE, Marked, MarkedPage, log_rows, mark_photo
from papernudge.cli.sheets.marked import result_said, results_said, right_and_wrong
from papernudge.hints.catalogue import Run, message
from papernudge.hints.geometry import cell_name
from papernudge.hints.words import named_cell

if TYPE_CHECKING:
    from papernudge.cli.session.assume import Assumption

PICTURE_ENDINGS = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True, slots=True)
class MarkWishes:
    """``output``: text, json or json lines; ``seconds``: what the page took; ``day``: when it was
    solved, ``2026-05-01``; ``picture``: where to draw it, ``side`` its longest side, pixels;
    ``pupil``: whose sheets they are, '' for nobody's.
    """

    output: str
    log: Path | None
    seconds: float | None
    day: str
    assumptions: tuple[Assumption, ...]
    picture: Path | None = None
    side: int = 1600
    pupil: str = ""


def day_of(text: str | None) -> str:
    """The day named, or today. Stop (2) if it is none."""
    if text is None:
        return datetime.date.today().isoformat()
    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise bad_words("day looks like", got=short(text)) from error


def run_mark(photos: Sequence[str], wishes: MarkWishes) -> int:
    """Marks photo after photo; the exit code is the worst one, 6 where an answer is unsure."""
    if not photos:
        raise bad_words("name a sheet's photo")
    if photos.count("-") > 1:
        raise bad_words("standard input once")
    if len(photos) > 1 and (wishes.seconds is not None or wishes.assumptions):
        raise bad_words("about one page")
    _check_files(wishes, photos)
    if any(one.grid is None for one in wishes.assumptions):
        raise bad_words("name the position first")
    worst, documents, rows = Exit.DONE, list[dict[str, Any]](), list[Row]()
    for called in photos:
        found = _attempt(called, wishes)
        if isinstance(found, Trouble):
            warn(found.sentence)
            code, document, text = code_of(found), failure_document(called, found), ""
        else:
            code = _doubts_said(found)
            document, text = found.to_json(), table(found)
            rows += log_rows(found, wishes.day, wishes.seconds, wishes.pupil)
            if wishes.picture is not None:
                _draw(found, wishes.picture, wishes.side)
        worst = max(worst, code)
        documents.append(document)
        if wishes.output == "json lines":
            show(json.dumps(document))
        elif wishes.output == "text" and text:
            show(text)
    if wishes.output == "json":
        show(json.dumps(documents if len(photos) > 1 else documents[0], indent=1))
    if wishes.log is not None and rows:
        append(wishes.log, rows)
    return int(worst)


def _check_files(wishes: MarkWishes, photos: Sequence[str]) -> None:
    """Stop (2) where one file would be lost to another."""
    inputs = [one for photo in photos for one in photo_named(photo, message("the photo itself"))]
    outputs: list[Named] = []
    if wishes.log is not None:
        log = Named("--log FILE", wishes.log)
        outputs += [log, *log.beside(*LOG_FILES)]
    if wishes.picture is not None:
        if wishes.picture.suffix.lower() not in PICTURE_ENDINGS:
            ends = Run(PICTURE_ENDINGS)
            raise bad_words("picture ends in", endings=ends, got=short(str(wishes.picture)))
        if len(photos) > 1:
            raise bad_words("picture draws one")
        outputs.append(Named("--picture OUT", wishes.picture))
    keep_apart(inputs, outputs)


def _draw(found: MarkedPage, picture: Path, side: int) -> None:
    from papernudge.cli.base.files import write_whole
    from papernudge.cli.sheets.marked import marked_picture

    write_whole(picture, marked_picture(found, side, picture.suffix.lower()))


def _attempt(called: str, wishes: MarkWishes) -> MarkedPage | Trouble:
    try:
        return mark_photo(called, wishes.assumptions)
    except Trouble as trouble:
        return trouble
    except (OSError, MemoryError):
        raise
    except Exception as fault:  # of ours; the other photos are still to be looked at
        return from_fault(fault)


def _doubts_said(marked: MarkedPage) -> Exit:
    unsure = [answer for answer in marked.answers if answer.result == UNSURE]
    for answer in unsure:
        number = answer.task.number
        if not answer.doubts:
            warn(in_words("position can't be read", number=number))
        for doubt in answer.doubts:
            others = [_digit(digit) for digit, _ in doubt.instead]
            told = {
                "number": number,
                "cell": named_cell(doubt.cell, spoken()),
                "read": _digit(doubt.read),
                "others": spoken().chained("or else", others),
                "answer": f"{number}:{cell_name(doubt.cell)}={doubt.read or '.'}",
            }
            warn(in_words("which of these", **told))
    return Exit.UNSURE if unsure else Exit.DONE


def _digit(digit: int | None) -> str:
    return in_words("nothing read") if digit is None else str(digit)


def table(marked: MarkedPage) -> str:
    """The page as lines of text, a sum below."""
    lines = [in_words("a sheet's title", called=visible(marked.called), sheet=marked.page.name)]
    lines += [
        f"{answer.task.number:>4}  {result_said(answer.result):<10}  {_written(answer)}".rstrip()
        for answer in marked.answers
    ]
    if marked.page.minutes:
        found = sum(answer.found for answer in marked.answers)
        lines.append(in_words("digits right", count=found))
        return "\n".join(lines)
    counts = Counter(answer.result for answer in marked.answers)
    lines.append(results_said(counts))
    return "\n".join(lines)


def _written(answer: Marked) -> str:
    if answer.task.reason is None and answer.written:
        return right_and_wrong(answer)
    return ", ".join(f"{cell_name(cell)}={digit}" for cell, digit in answer.written)
