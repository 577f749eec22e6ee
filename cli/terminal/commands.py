"""What the commands do, once their words are in order."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from papernudge.cli.base.breaking import broken
from papernudge.cli.base.exits import Exit, bad_words, code_of, from_fault
from papernudge.cli.base.language import in_english
from papernudge.cli.base.paths import Named, keep_apart, photo_named
from papernudge.cli.base.say import say, short, show, visible, warn
from papernudge.cli.base.trouble import GridError, Trouble
from papernudge.cli.pictures import ENDINGS
from papernudge.cli.said import ENGLISH, in_words, spoken
from papernudge.cli.session.assume import LARGEST_BOARD, grid_said, parse_assumption
from papernudge.cli.session.documents import Document, failure_document, page_document
from papernudge.cli.session.naming import with_legend
from papernudge.cli.session.pages import Page, Sheet, choose, on_board, unreadable, written_before
from papernudge.cli.terminal.outcome import Outcome, code_of_answer
from papernudge.cli.terminal.sources import Lines, Source, open_page, sources
from papernudge.hints.catalogue import Run, message
from papernudge.hints.layout import Layout

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer


@dataclass(frozen=True, slots=True)
class Wishes:
    """The options that all commands share, checked."""

    output: str  # "text", "json" or "json lines"
    picture: Path | None
    side: int
    assume: tuple[str, ...]
    grid: int | None
    sentences: bool

    @classmethod
    def of(
        cls,
        as_json: bool,
        json_lines: bool,
        picture: str | None,
        side: int,
        assume: Sequence[str] | None,
        grid: int | None,
        sentences: bool,
        layout: Layout | None = None,
    ) -> Wishes:
        """Stop (2) where the words are off, before any file is opened. ``layout``: the board that
        is talked about, None for whatever a photo shows.
        """
        if as_json and json_lines:
            raise bad_words("json or json lines")
        if picture is not None and Path(picture).suffix.lower() not in ENDINGS:
            ends = Run(ENDINGS)
            raise bad_words("picture ends in", endings=ends, got=short(picture))
        output = "json" if as_json else "json lines" if json_lines else "text"
        for text in assume or ():
            parse_assumption(text, layout or LARGEST_BOARD)
        where = None if picture is None else Path(picture)
        return cls(output, where, side, tuple(assume or ()), grid, sentences)

    def told(self, sheet: Sheet) -> Sheet:
        """The sheet with what the user said of cells; Stop (2) for cells and digits that its board
        has not.
        """
        return sheet.assuming(
            [parse_assumption(text, _board_of(text, sheet)) for text in self.assume]
        )

    @property
    def talks(self) -> bool:
        """Whether somebody sits at a terminal and can be asked."""
        return self.output == "text" and sys.stdin.isatty() and sys.stdout.isatty()


def _board_of(text: str, sheet: Sheet) -> Layout:
    """The board of the grid that an assumption is about."""
    number = grid_said(text) or sheet.number
    grids = sheet.page.grids
    return grids[number - 1].layout if number <= len(grids) else sheet.grid.layout


def run_read(photos: Sequence[str], lines: Lines, wishes: Wishes) -> int:
    """``papernudge read``."""
    found = sources(photos, lines)
    _one_picture(found, wishes)
    return _report(found, wishes, lambda source: _read_one(source, wishes))


def _read_one(source: Source, wishes: Wishes) -> Outcome:
    from papernudge.cli.session.pages import first_puzzle, nearest_miss
    from papernudge.cli.terminal.words import page_words

    page, number = _opened(source, wishes)
    if wishes.grid is not None:
        choose(page, wishes.grid)
    number = number or first_puzzle(page) or nearest_miss(page)
    page = wishes.told(Sheet(page, number)).page
    code, told = Exit.DONE, list[str]()
    if not any(grid.cells for grid in page.grids):
        wrong = unreadable(page, number)
        told = [wrong.sentence]
        code = code_of(wrong)
    if wishes.picture is not None:
        from papernudge.cli.pictures.pictures import read_picture

        _draw(wishes, lambda: read_picture(page, number, wishes.side, _ending(wishes)))
    document = page_document(page)
    text = page_words(page, wishes.grid, wishes.sentences)
    return Outcome(document, text, code, tuple(told))


def run_hint(
    photos: Sequence[str],
    lines: Lines,
    wishes: Wishes,
    tell: int | None,
    walk: bool,
    since: str | None,
    uniqueness: bool,
    route: bool = False,
) -> int:
    """``papernudge hint``. ``tell`` None: depth 1, of a walk depth 4."""
    if route and not walk:
        raise bad_words("route needs walk")
    if route and tell not in (None, 4):
        raise bad_words("route tells all")
    depth = tell or (4 if walk else 1)
    found = sources(photos, lines)
    _one_picture(found, wishes, since)

    def one(source: Source) -> Outcome:
        from papernudge.cli.session.answers import (
            HintWishes,
            check_answer,
            hint_answer,
            walk_answer,
        )

        sheet = wishes.told(_chosen(*_opened(source, wishes), wishes))
        earlier = _earlier(since, sheet)

        def hints() -> HintWishes:
            return HintWishes(earlier, uniqueness, route, spoken())

        if walk:
            return _said(lambda: walk_answer(sheet, depth, hints()), wishes)
        return _answered(
            sheet,
            depth,
            wishes,
            lambda s, deep: hint_answer(s, deep, hints()),
            lambda s, deep: check_answer(s, deep, earlier, spoken()),
        )

    return _report(found, wishes, one)


def run_check(
    photos: Sequence[str],
    lines: Lines,
    wishes: Wishes,
    tell: int,
    since: str | None,
) -> int:
    """``papernudge check``."""
    found = sources(photos, lines)
    _one_picture(found, wishes, since)
    if since is not None and len(found) > 1:
        raise bad_words("since compares one")

    def one(source: Source) -> Outcome:
        from papernudge.cli.session.answers import check_answer

        page, number = _opened(source, wishes)
        puzzles = [n for n, grid in enumerate(page.grids, start=1) if grid.kind == "puzzle"]
        if number is None and since is None and len(puzzles) > 1:
            return _check_all(page, puzzles, wishes, tell)
        sheet = wishes.told(_chosen(page, number, wishes))
        earlier = _earlier(since, sheet)
        return _answered(
            sheet, tell, wishes, lambda s, deep: check_answer(s, deep, earlier, spoken())
        )

    return _report(found, wishes, one)


def _opened(source: Source, wishes: Wishes) -> tuple[Page, int | None]:
    """The page, and the grid in question where it was said: by its number or by its board."""
    page, board = open_page(source), source.board
    return (page, wishes.grid) if board is None else on_board(page, board, wishes.grid)


def _chosen(page: Page, number: int | None, wishes: Wishes) -> Sheet:
    """The grid in question; of one that can't be read the picture still shows where and why."""
    from papernudge.cli.pictures.pictures import read_picture
    from papernudge.cli.session.pages import nearest_miss

    try:
        return choose(page, number)
    except GridError:
        drawable = page.photo is not None and page.grids and _ending(wishes) != ".svg"
        if drawable:
            at = number or nearest_miss(page)
            _draw(wishes, lambda: read_picture(page, at, wishes.side, _ending(wishes)))
        raise


def _check_all(page: Page, puzzles: Sequence[int], wishes: Wishes, tell: int) -> Outcome:
    """Every puzzle of a page: a line each, a table in all; the document is the first one's, with
    the others under ``grids``.
    """
    from papernudge.cli.session.answers import check_answer
    from papernudge.cli.terminal.words import grids_table

    page = wishes.told(Sheet(page, puzzles[0])).page

    def checked() -> list[Answer]:
        return [check_answer(Sheet(page, n), tell, None, spoken()) for n in puzzles]

    answers = checked()
    if wishes.picture is not None:
        from papernudge.cli.pictures.pictures import answers_picture

        said = spoken().paragraph(list(map(_short, answers)))
        _draw(wishes, lambda: answers_picture(answers, said, wishes.side, _ending(wishes)))
    doubts = [line for answer in answers for line in _doubts(answer)]
    lines = [_short(answer) for answer in answers if not answer.doubts]
    document = {}
    if wishes.output != "text":
        with in_english():
            documents = [answer.document() for answer in checked()]
        document = {**documents[0], "grids": documents}
    code = max(code_of_answer(answer) for answer in answers)
    return Outcome(document, "\n".join([*lines, "", grids_table(answers)]), code, tuple(doubts))


def _short(answer: Answer) -> str:
    """The sentence among those of other grids."""
    return in_words("grid among others", number=answer.sheet.number, said=answer.alone)


def _earlier(since: str | None, sheet: Sheet) -> str | None:
    """What was written in the earlier photo of this puzzle; Stop (2) where it shows another."""
    if since is None:
        return None
    earlier = written_before(sheet, open_page(Source(since)))
    if earlier is not None:
        return earlier
    raise bad_words("since shows another", since=since)


def _answered(
    sheet: Sheet,
    tell: int,
    wishes: Wishes,
    answer: Callable[[Sheet, int], Answer],
    check: Callable[[Sheet, int], Answer] | None = None,
) -> Outcome:
    """``check``: what a hint leads into where something written can't be right."""
    if wishes.talks and sheet.page.called != "-":
        from papernudge.cli.terminal.talk import Talk

        talk = Talk(wishes.sentences, wishes.side, wishes.picture)
        return talk.over(sheet, tell, answer, check)
    return _said(lambda: answer(sheet, tell), wishes)


def _document(answer: Callable[[], Answer], wishes: Wishes) -> Document:
    """What programs read, which is in English whoever asks; empty where nobody asked for it."""
    if wishes.output == "text":
        return {}
    with in_english():
        return answer().document()


def _said(make: Callable[[], Answer], wishes: Wishes) -> Outcome:
    answer = make()
    if wishes.picture is not None and not answer.doubts:
        from papernudge.cli.pictures.pictures import answer_picture

        _draw(wishes, lambda: answer_picture(answer, wishes.side, _ending(wishes)))
    elif wishes.picture is not None:
        from papernudge.cli.pictures.pictures import doubt_picture

        _draw(wishes, lambda: doubt_picture(answer, wishes.side, _ending(wishes)))
    code = code_of_answer(answer)
    same = spoken() is ENGLISH
    document = _document((lambda: answer) if same else make, wishes)
    if answer.doubts:
        return Outcome(document, "", code, _doubts(answer))
    if code is Exit.NOT_ONE_SOLUTION:
        return Outcome(document, "", code, (with_legend(answer.sentence, spoken()),))
    return Outcome(document, with_legend(answer.sentence, spoken()), code)


def _doubts(answer: Answer) -> tuple[str, ...]:
    """What must be answered first, a sentence each."""
    from papernudge.cli.session.doubting import questions

    asked = questions(answer.sheet.grid, answer.doubts, spoken())
    told = [spoken().paragraph([answer.sheet.lead, *one]) for one in asked]
    return tuple([with_legend(told[0], spoken()), *told[1:]] if told else told)


def _report(found: Sequence[Source], wishes: Wishes, work: Callable[[Source], Outcome]) -> int:
    """Runs the work over all sources and prints in the form that was asked for. Of several, each
    sentence says which photo it is about.
    """
    worst = Exit.DONE
    documents = []
    many = len(found) > 1
    for source, outcome in _outcomes(found, work, many and wishes.talks):
        worst = max(worst, outcome.code)
        for sentence in outcome.told:
            warn(_named(source, sentence) if many else sentence)
        if wishes.output == "json":
            documents.append(outcome.document)
        elif wishes.output == "json lines":
            show(json.dumps(outcome.document))
        elif outcome.text:
            title = ""
            if many:
                title = visible(str(source.photo)) + ("\n" if "\n" in outcome.text else ": ")
            show(broken(f"{title}{outcome.text}", sys.stdout))
    if wishes.output == "json":
        whole = documents if many else documents[0]
        show(json.dumps(whole, indent=1))
    return int(worst)


def _named(source: Source, sentence: str) -> str:
    """The sentence with the photo's name, if it has not said it."""
    called = source.photo or ""
    if not called or called in sentence:
        return sentence
    return in_words("photo said", called=called, said=sentence)


def _outcomes(
    found: Sequence[Source], work: Callable[[Source], Outcome], announced: bool
) -> Iterator[tuple[Source, Outcome]]:
    """``announced``: a conversation about each photo begins with its name."""
    for source in found:
        if announced:
            say(f"{source.photo}:")
        try:
            outcome = work(source)
        except Trouble as trouble:
            if code_of(trouble) is Exit.WORDS:
                if len(found) > 1:
                    trouble.says = _named(source, trouble.sentence)
                raise
            outcome = _failed(source, trouble)
        except (OSError, MemoryError):
            raise
        except Exception as fault:  # of ours; the other photos are still to be looked at
            outcome = _failed(source, from_fault(fault))
        yield source, outcome


def _failed(source: Source, trouble: Trouble) -> Outcome:
    with in_english():
        document = failure_document(source.photo, trouble)
    return Outcome(document, "", code_of(trouble), (trouble.sentence,))


def _one_picture(found: Sequence[Source], wishes: Wishes, since: str | None = None) -> None:
    """Stop (2) where several photos would be drawn into one picture, or one would be lost."""
    photos = [source.photo for source in found]
    if since == "-" and "-" in photos:
        raise bad_words("standard input once")
    if wishes.picture is None:
        return
    if len(found) > 1:
        raise bad_words("picture draws one")
    inputs = [
        *photo_named(photos[0], message("the photo itself")),
        *photo_named(since, message("the earlier photo")),
    ]
    keep_apart(inputs, [Named("--picture OUT", wishes.picture)])


def _ending(wishes: Wishes) -> str:
    return wishes.picture.suffix.lower() if wishes.picture is not None else ".png"


def _draw(wishes: Wishes, drawn: Callable[[], bytes]) -> None:
    from papernudge.cli.base.files import write_whole

    if wishes.picture is not None:
        write_whole(wishes.picture, drawn())
