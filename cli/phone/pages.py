"""The pages: what stands where, and what each button does. Works without script."""

from __future__ import annotations

import asyncio
import contextlib
import re
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from papernudge.cli.base.trouble import Trouble
from papernudge.cli.phone.desk import BusyError, Desk
from papernudge.cli.phone.gate import TooMuchError
from papernudge.cli.phone.memory import FORGOTTEN, STEPS, Memory, Snap, Step
from papernudge.cli.phone.more import BookPages, LogPages
from papernudge.cli.phone.sending import sent
from papernudge.cli.phone.sheets import keep, solve_row
from papernudge.cli.phone.speech import teach
from papernudge.cli.said import in_words
from papernudge.cli.said.languages import LANGUAGES
from papernudge.hints.geometry import CELL_NAME, cell_of
from papernudge.hints.layout import NEWSPAPER

if TYPE_CHECKING:
    from papernudge.cli.phone.shelf import Shelf
    from papernudge.cli.phone.work import Shown, Wish

HERE = Path(__file__).parent / "page"
_SWEEP = 60.0
"""Seconds between two looks for what is to be forgotten."""
_CELL = re.compile(CELL_NAME)
_STATIC = {
    "look.css": ("look.css", "text/css"),
    "page.js": ("page.js", "text/javascript"),
    "mark.svg": ("mark.svg", "image/svg+xml"),
    "favicon.ico": ("mark.svg", "image/svg+xml"),  # asked for whatever the page says
}


@dataclass(frozen=True, slots=True)
class _At:
    """Where a request is: visitor, photo, step."""

    visitor: str
    name: str
    snap: Snap
    number: int

    @property
    def step(self) -> Step:
        return self.snap.steps[self.number]

    @property
    def key(self) -> tuple[str, str, int]:
        return self.visitor, self.name, self.number

    @property
    def url(self) -> str:
        return f"/p/{self.name}/{self.number}"


class Pages:
    """The handlers, over a desk of workers and a memory."""

    def __init__(
        self, desk: Desk, memory: Memory, shelf: Shelf | None = None, log: Path | None = None
    ) -> None:
        self._desk, self._memory, self._shelf, self._log = desk, memory, shelf, log
        memory.forgets = desk.forget
        self._asked: dict[tuple[str, str, int], asyncio.Task[Shown]] = {}
        self._more: list[Route] = []
        if shelf is not None:
            self._more += BookPages(shelf, desk, self._page).routes()
        if log is not None:
            self._more += LogPages(log, desk, memory, self._page).routes()
        self._roads = {"book": shelf is not None, "log": log is not None}
        self._templates = Environment(
            loader=FileSystemLoader(HERE),
            autoescape=select_autoescape(),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        teach(self._templates)
        for name in self._templates.list_templates(extensions=["html"]):
            self._templates.get_template(name)  # else the first photo would wait for it

    def application(self) -> Starlette:
        """The ASGI application, without its gate. Closing it ends the workers."""
        at = "/p/{name}/{number:int}"
        return Starlette(
            routes=[
                Route("/", self.home),
                Route("/photo", self.photo, methods=["POST"]),
                Route("/language", self.language, methods=["POST"]),
                Route("/clock", self.clock, methods=["POST"]),
                Route("/clock/photo", self.solved, methods=["POST"]),
                Route(at, self.show),
                Route(at, self.act, methods=["POST"]),
                Route(at + "/picture.jpg", self.picture),
                Route(at + "/page.jpg", self.overview),
                Route(at + "/grids", self.grids),
                Route(at + "/blocks", self.blocks),
                Route(at + "/block/{block:int}", self.block),
                Route(at + "/cell/{cell}", self.cell),
                Route(at + "/crop/{cell}.jpg", self.crop),
                Route("/p/{name}/forget", self.forget, methods=["POST"]),
                *self._more,
                Route("/{file}", self.static),
            ],
            exception_handlers={
                400: self.odd,
                404: self.nothing,
                405: self.nothing,
                TooMuchError: self.too_much,
            },
            lifespan=self._life,
        )

    @contextlib.asynccontextmanager
    async def _life(self, _: Starlette) -> AsyncIterator[None]:
        beside = [asyncio.create_task(one) for one in (self._desk.warm(), self._forgetting())]
        yield
        for task in beside:
            task.cancel()
        await asyncio.gather(*beside, return_exceptions=True)
        if self._shelf is not None:
            await self._shelf.close()
        self._desk.close()

    async def _forgetting(self) -> None:
        """Forgets in time, also while nobody asks for anything."""
        while True:
            await asyncio.sleep(_SWEEP)
            self._memory.sweep()
            self._desk.rest(FORGOTTEN)

    # ------------------------------------------------------------ pages

    async def home(self, request: Request) -> Response:
        """The camera button, and the photos that are still kept."""
        names = self._memory.photos(request.scope["visitor"])
        kept = [
            (name, len(snap.steps) - 1)
            for name in names
            if (snap := self._memory.peek(request.scope["visitor"], name)) is not None
            and not snap.failed
        ]
        seconds = self._memory.clock(request.scope["visitor"])
        clock = None if seconds is None else int(seconds)
        return self._page(
            "home.html", kept=kept, roads=self._roads, clock=clock, languages=LANGUAGES
        )

    async def photo(self, request: Request) -> Response:
        """Takes a photo, raw or from a form, and goes to what it says."""
        visitor = request.scope["visitor"]
        came = await sent(request)
        if not came.photo:
            return self._sorry(in_words("no photo came"), 400)
        before = await self._before(visitor, came.after)
        name = self._memory.keep(visitor, came.photo, before)
        self._begin(visitor, name)
        return RedirectResponse(f"/p/{name}/0", 303)

    def _begin(self, visitor: str, name: str) -> None:
        """Has a photo read while the phone still follows to its page."""
        snap = self._memory.find(visitor, name)
        assert snap is not None
        self._asking(_At(visitor, name, snap, 0))

    async def language(self, request: Request) -> Response:
        """Speaks another language from now on."""
        async with request.form(max_files=0, max_fields=2) as form:
            chosen = str(form.get("language", ""))
        if chosen not in LANGUAGES:
            return self._sorry(in_words("no answer that fits"), 400)
        self._memory.choose_language(request.scope["visitor"], chosen)
        return RedirectResponse("/", 303)

    async def clock(self, request: Request) -> Response:
        """Starts the visitor's clock."""
        self._memory.start_clock(request.scope["visitor"])
        return RedirectResponse("/", 303)

    async def solved(self, request: Request) -> Response:
        """Stops the clock with a photo of the finished grid, which is checked."""
        visitor = request.scope["visitor"]
        took = self._memory.clock(visitor)
        came = await sent(request)
        if not came.photo:
            return self._sorry(in_words("no photo came"), 400)
        self._memory.stop_clock(visitor)
        name = self._memory.keep(visitor, came.photo, None)
        snap = self._memory.find(visitor, name)
        assert snap is not None
        snap.took = took
        snap.steps[0] = Step(view="check")
        self._begin(visitor, name)
        return RedirectResponse(f"/p/{name}/0", 303)

    async def _keep_time(self, at: _At, shown: Shown) -> None:
        """Writes a solve that came out right into the log, once."""
        snap = at.snap
        if self._log is None or snap.took is None or snap.kept or shown.state != "solved":
            return
        snap.kept = True
        pupil = self._memory.pupil(at.visitor)
        row = solve_row(shown.givens, shown.looks, snap.took, pupil)
        await keep(self._log, (row,))

    async def _before(self, visitor: str, after: str) -> tuple[str, str] | None:
        """Givens and digits of the photo (``id/step``) that the new one follows."""
        name, _, number = after.partition("/")
        snap = self._memory.find(visitor, name)
        if snap is None or not number.isdigit() or int(number) >= len(snap.steps):
            return None
        shown = await self._shown(_At(visitor, name, snap, int(number)))
        return None if shown.failed else (shown.givens, shown.digits)

    async def show(self, request: Request) -> Response:
        """The photo with what is said of it."""
        at = self._at(request)
        if at is None:
            return self._gone()
        try:
            shown = await self._shown(at)
        except BusyError:
            return self._busy()
        if shown.failed:
            return self._sorry(shown.sentence, 200, at)
        try:
            await self._keep_time(at, shown)
        except Trouble as stop:
            return self._sorry(stop.sentence, 500, at)
        puzzles = [n for n, kind in shown.grids if kind == "puzzle"]
        return self._page(
            "nudge.html", at=at, shown=shown, step=at.step, puzzles=puzzles, took=at.snap.took
        )

    async def act(self, request: Request) -> Response:
        """A button was pressed: a further step, or none where the words are off."""
        at = self._at(request)
        if at is None:
            return self._gone()
        if len(at.snap.steps) >= STEPS:
            return self._sorry(in_words("come a long way"), 400, at)
        async with request.form(max_files=0, max_fields=8) as form:
            change = _change(at.step, {key: str(value) for key, value in form.items()})
        if change is None:
            return self._sorry(in_words("no answer that fits"), 400, at)
        number = at.snap.add(at.number, **change)
        return RedirectResponse(f"/p/{at.name}/{number}", 303)

    async def grids(self, request: Request) -> Response:
        """All grids of the page, to tap one."""
        at = self._at(request)
        if at is None:
            return self._gone()
        return await self._seen(at, "grids.html", replace(at.snap.wish(at.number), view="page"))

    async def blocks(self, request: Request) -> Response:
        """The whole board, a block each to tap: the way to a cell by keyboard and voice."""
        at = self._at(request)
        if at is None:
            return self._gone()
        return await self._seen(at, "blocks.html", _cells_of(at))

    async def block(self, request: Request) -> Response:
        """The nine cells of a block, large."""
        at, block = self._at(request), request.path_params["block"]
        if at is None or not block_cells(block):
            return self._gone()
        numbers = block_cells(block)
        cells = [NEWSPAPER.place(cell) for cell in numbers]
        wish = replace(_cells_of(at), cells=numbers)
        return await self._seen(at, "block.html", wish, block=block, cells=cells)

    async def cell(self, request: Request) -> Response:
        """One cell: what stands there?"""
        at, found = self._at(request), _CELL.fullmatch(request.path_params["cell"])
        if at is None or found is None:
            return self._gone()
        cell = cell_of(found[0])
        wish = replace(_cells_of(at), cells=(cell,))
        return await self._seen(at, "cell.html", wish, cell=cell, name=found[0])

    async def _seen(self, at: _At, template: str, wish: Wish, **more: Any) -> Response:
        try:
            shown = await self._desk.ask(wish)
        except BusyError:
            return self._busy()
        if shown.failed:
            return self._sorry(shown.sentence, 200, at)
        for cell, crop in shown.crops:  # the pictures of the page that is being sent
            self._memory.cut((*at.key, cell), crop)
        return self._page(template, at=at, shown=shown, **more)

    async def forget(self, request: Request) -> Response:
        """Forgets the photo at once."""
        self._memory.forget_for_good(request.scope["visitor"], request.path_params["name"])
        return RedirectResponse("/", 303)

    # ------------------------------------------------------------ pictures

    async def picture(self, request: Request) -> Response:
        """The photo with the nudge drawn on it."""
        at = self._at(request, used=False)
        return await self._image(at, lambda here: self._shown(here))

    async def overview(self, request: Request) -> Response:
        """The whole page."""
        at = self._at(request, used=False)
        return await self._image(
            at, lambda here: self._desk.ask(replace(here.snap.wish(here.number), view="page"))
        )

    async def _image(self, at: _At | None, ask: Callable[[_At], Awaitable[Shown]]) -> Response:
        if at is None:
            return Response(status_code=404)
        try:
            shown = await ask(at)
        except BusyError:
            return Response(status_code=503)
        return Response(shown.picture, 404 if shown.failed else 200, media_type="image/jpeg")

    async def crop(self, request: Request) -> Response:
        """One cell of the photo, as it is."""
        at, found = self._at(request, used=False), _CELL.fullmatch(request.path_params["cell"])
        if at is None or found is None:
            return Response(status_code=404)
        cell = cell_of(found[0])
        kept = self._memory.crop((*at.key, cell))
        if kept is None:
            try:
                shown = await self._desk.ask(replace(_cells_of(at), cells=(cell,)))
            except BusyError:
                return Response(status_code=503)
            if shown.failed:
                return Response(status_code=404)
            kept = shown.crops[0][1]
            self._memory.cut((*at.key, cell), kept)
        return Response(kept, media_type="image/jpeg")

    async def static(self, request: Request) -> Response:
        """Look, script and mark of the page."""
        if request.path_params["file"] not in _STATIC:
            return self._gone()
        file, kind = _STATIC[request.path_params["file"]]
        return Response((HERE / file).read_bytes(), media_type=kind)

    # ------------------------------------------------------------ what they share

    async def _shown(self, at: _At) -> Shown:
        shown = self._memory.drawn(at.key)
        return shown if shown is not None else await asyncio.shield(self._asking(at))

    def _asking(self, at: _At) -> asyncio.Task[Shown]:
        """The one question to the desk about a step, however often its page is asked for."""
        if at.key not in self._asked:
            task = self._asked[at.key] = asyncio.create_task(self._ask(at))
            task.add_done_callback(lambda done: self._answered(at.key, done))
        return self._asked[at.key]

    def _answered(self, key: tuple[str, str, int], done: asyncio.Task[Shown]) -> None:
        del self._asked[key]
        if not done.cancelled():
            done.exception()  # whoever waits gets it; where nobody does, nothing is to be said

    async def _ask(self, at: _At) -> Shown:
        shown = await self._desk.ask(at.snap.wish(at.number))
        if self._memory.peek(at.visitor, at.name) is not at.snap:  # forgotten in the meantime
            return shown
        if at.number == 0:
            at.snap.failed = shown.failed
        if shown.reason != "worker":  # that may go better the next time
            self._memory.draw(at.key, shown)
        for question in shown.questions:
            self._memory.cut((*at.key, question.at), question.crop)
        return shown

    def _at(self, request: Request, used: bool = True) -> _At | None:
        visitor, name = request.scope["visitor"], request.path_params["name"]
        number = request.path_params["number"]
        snap = (self._memory.find if used else self._memory.peek)(visitor, name)
        if snap is None or number >= len(snap.steps):
            return None
        return _At(visitor, name, snap, number)

    def _page(self, template: str, status: int = 200, **what: Any) -> HTMLResponse:
        return HTMLResponse(self._templates.get_template(template).render(**what), status)

    def _sorry(self, sentence: str, status: int, at: _At | None = None) -> HTMLResponse:
        return self._page("sorry.html", status, sentence=sentence, at=at)

    def _busy(self) -> HTMLResponse:
        return self._sorry(in_words("too many wait"), 503)

    def _gone(self) -> HTMLResponse:
        return self._sorry(in_words("no longer kept"), 404)

    async def nothing(self, _: Request, __: Exception) -> Response:
        """For addresses that are none."""
        return self._gone()

    async def odd(self, _: Request, __: Exception) -> Response:
        """For forms that are none."""
        return self._sorry(in_words("no answer that fits"), 400)

    async def too_much(self, _: Request, error: Exception) -> Response:
        """For bodies too long or too slow: said at once, and the line is closed."""
        page = self._sorry(str(error), 413)
        page.headers["connection"] = "close"
        return page


def block_cells(number: int) -> tuple[int, ...]:
    """The cells of a block, empty where there is none of this number."""
    blocks = (h for h in NEWSPAPER.houses if h.kind == "block" and h.number == number)
    return next((block.cells for block in blocks), ())


def _cells_of(at: _At) -> Wish:
    return replace(at.snap.wish(at.number), view="cells", cells=())


_ANSWER = re.compile(
    rf"{CELL_NAME}=(?:(?:given:|entry:)?[1-9]|\.|notes:(?:[1-9]{{1,9}}|\.)|block:{CELL_NAME})"
)


def _change(step: Step, form: dict[str, str]) -> dict[str, object] | None:
    """What a button changes in the step; None where it fits no button."""
    match form.get("do"):
        case "more":
            return {"depth": min(4, step.depth + 1)}
        case "hint" | "check" as view:
            return {"view": view, "depth": 1}
        case "grid":
            number = form.get("grid", "")
            if not number.isdigit() or not 1 <= int(number) <= 999:
                return None
            return {"grid": int(number), "answers": (), "depth": 1}
        case "tell" | "wrote" as what:
            said = form.get("answer", "")
            if _ANSWER.fullmatch(said) is None:
                return None
            if what == "tell":
                return {"answers": (*step.answers, said)}
            return {"answers": (*step.answers, said), "view": "hint", "depth": 1}
    return None
