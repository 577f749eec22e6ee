"""The pages of the book and of the practice log, beside those of the solver's road."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from papernudge.cli.base.trouble import Trouble
from papernudge.cli.phone.desk import BusyError, Desk
from papernudge.cli.phone.memory import Memory
from papernudge.cli.phone.sending import sent
from papernudge.cli.phone.sheets import (
    Progress,
    SheetShown,
    SheetWish,
    keep,
    progress,
    taken_name,
    today,
)
from papernudge.cli.phone.shelf import Shelf
from papernudge.cli.said import in_words
from papernudge.cli.sheets.log import LONGEST_NAME
from papernudge.hints.geometry import CELL_NAME

Render = Callable[..., HTMLResponse]
_ROW = re.compile(r"[0-9a-f]{16}-[1-9][0-9]{0,5}-[1-9][0-9]{0,5}")
_CELL = re.compile(CELL_NAME)
_SAYS = re.compile(r"(?:(?:given|entry):)?[1-9]|\.|ok|left out")


@dataclass(frozen=True, eq=False)
class BookPages:
    """``/book``: snap page after page."""

    shelf: Shelf
    desk: Desk
    render: Render

    def routes(self) -> list[Route]:
        """What stands where."""
        return [
            Route("/book", self.show),
            Route("/book/photo", self.photo, methods=["POST"]),
            Route("/book/tell", self.tell, methods=["POST"]),
            Route("/book/crop/{row}/{cell}.jpg", self.crop),
        ]

    async def show(self, request: Request) -> Response:
        """What the book holds, what is being read, one doubt to settle, the camera."""
        return self.render(
            "book.html",
            name=self.shelf.path.name,
            counts=await self.shelf.counts(),
            entries=[one for one in reversed(self.shelf.entries) if one.state != "waiting"][:12],
            waiting=self.shelf.waiting,
            question=await self.shelf.question(),
            noted=request.query_params.get("noted") == "late",
        )

    async def photo(self, request: Request) -> Response:
        """Takes a page; it is read while the next one is turned."""
        came = await sent(request)
        if not came.photo:
            said = in_words("no photo came")
            return self.render("sorry.html", 400, sentence=said, at=None)
        try:
            self.shelf.take(self.desk, came.photo)
        except BusyError:
            return self.render("sorry.html", 503, sentence=in_words("too many wait"), at=None)
        return RedirectResponse("/book", 303)

    async def tell(self, request: Request) -> Response:
        """What a person says of a doubtful cell, or of a whole row."""
        async with request.form(max_files=0, max_fields=8) as form:
            row, cell, says = (str(form.get(key, "")) for key in ("row", "cell", "answer"))
        fits = _ROW.fullmatch(row) and (not cell or _CELL.fullmatch(cell)) and _SAYS.fullmatch(says)
        if not fits:
            said = in_words("no answer that fits")
            return self.render("sorry.html", 400, sentence=said, at=None)
        try:
            first = await self.shelf.tell(row, cell, says)
        except Trouble as stop:
            return self.render("sorry.html", 400, sentence=stop.sentence, at=None)
        late = "" if first else "?noted=late"
        return RedirectResponse(f"/book{late}", 303)

    async def crop(self, request: Request) -> Response:
        """A doubtful cell as the book keeps it."""
        row, cell = request.path_params["row"], request.path_params["cell"]
        found = None
        if _ROW.fullmatch(row) and _CELL.fullmatch(cell):
            found = await self.shelf.crop(row, cell)
        if found is None:
            return Response(status_code=404)
        return Response(found, media_type="image/jpeg")


@dataclass(frozen=True, eq=False)
class LogPages:
    """``/sheet``: snap a practice sheet, see it marked, keep the result."""

    log: Path
    desk: Desk
    memory: Memory
    render: Render

    def routes(self) -> list[Route]:
        """What stands where."""
        return [
            Route("/sheet", self.start),
            Route("/sheet/photo", self.photo, methods=["POST"]),
            Route("/sheet/pupils", self.pupils),
            Route("/sheet/pupil", self.pupil, methods=["POST"]),
            Route("/sheet/{name}", self.show),
            Route("/sheet/{name}/marked.jpg", self.picture),
            Route("/progress.svg", self.plot),
        ]

    async def _progress(self, request: Request) -> Progress:
        return await progress(self.log, self.memory.pupil(request.scope["visitor"]))

    async def start(self, request: Request) -> Response:
        """The camera, and what the log shows so far."""
        return await self._seen(request, "sheets.html")

    async def pupils(self, request: Request) -> Response:
        """Whose sheets are they?"""
        return await self._seen(request, "pupils.html")

    async def _seen(self, request: Request, template: str) -> Response:
        try:
            held = await self._progress(request)
        except Trouble as stop:
            return self.render("sorry.html", 500, sentence=stop.sentence, at=None)
        pupil = self.memory.pupil(request.scope["visitor"])
        return self.render(template, name=self.log.name, held=held, pupil=pupil)

    async def pupil(self, request: Request) -> Response:
        """A name was chosen, or typed; "nobody" takes the name away."""
        async with request.form(max_files=0, max_fields=4) as form:
            chosen, nobody = str(form.get("pupil", "")), "nobody" in form
        name = "" if nobody else taken_name(chosen)
        if not name and not nobody:
            said = in_words("a name is", most=LONGEST_NAME)
            return self.render("sorry.html", 400, sentence=said, at=None)
        self.memory.name_pupil(request.scope["visitor"], name)
        return RedirectResponse("/sheet", 303)

    async def photo(self, request: Request) -> Response:
        """Marks a sheet and writes it down."""
        came = await sent(request)
        if not came.photo:
            said = in_words("no photo came")
            return self.render("sorry.html", 400, sentence=said, at=None)
        pupil = self.memory.pupil(request.scope["visitor"])
        try:
            shown = await self.desk.ask(SheetWish(came.photo, today(), pupil))
            if not shown.failed:
                await keep(self.log, shown.rows)
        except BusyError:
            return self.render("sorry.html", 503, sentence=in_words("too many wait"), at=None)
        except Trouble as stop:
            return self.render("sorry.html", 500, sentence=stop.sentence, at=None)
        if shown.failed:
            return self.render("sorry.html", 200, sentence=shown.sentence, at=None)
        name = self.memory.keep_sheet(request.scope["visitor"], shown)
        return RedirectResponse(f"/sheet/{name}", 303)

    def _found(self, request: Request) -> SheetShown | None:
        kept: Any = self.memory.sheet(request.scope["visitor"], request.path_params["name"])
        return kept if isinstance(kept, SheetShown) else None

    async def show(self, request: Request) -> Response:
        """The sheet with its marks, and the results in words."""
        shown = self._found(request)
        if shown is None:
            said = in_words("sheet no longer shown")
            return self.render("sorry.html", 404, sentence=said, at=None)
        pupil = next((row.pupil for row in shown.rows), "")
        name = request.path_params["name"]
        return self.render("sheet.html", shown=shown, name=name, pupil=pupil)

    async def picture(self, request: Request) -> Response:
        """The photo with the marks drawn on it."""
        shown = self._found(request)
        if shown is None:
            return Response(status_code=404)
        return Response(shown.picture, media_type="image/jpeg")

    async def plot(self, request: Request) -> Response:
        """Progress over the weeks."""
        try:
            plot = (await self._progress(request)).plot
        except Trouble:
            plot = b""
        if not plot:
            return Response(status_code=404)
        return Response(plot, media_type="image/svg+xml")
