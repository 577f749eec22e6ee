"""A real server on loopback, and a plain client: what this folder's tests share."""

from __future__ import annotations

import asyncio
import http.client
import os
import re
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
import uvicorn

from papernudge.cli.phone.desk import Desk
from papernudge.cli.phone.line import Line
from papernudge.cli.phone.serve import application
from papernudge.cli.phone.shelf import Shelf

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
TOKEN = "a-token-of-the-tests"


@dataclass
class Reply:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes
    url: str

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def sentence(self) -> str:
        found = re.search(r"<h1[^>]*>(.*?)</h1>", self.text, re.DOTALL)
        assert found is not None, self.text
        return found[1].strip()


@dataclass
class Phone:
    """A visitor: keeps its cookie, follows redirects."""

    port: int
    cookie: str = ""
    trusted: ssl.SSLContext | None = None

    def ask(
        self,
        path: str,
        method: str = "GET",
        body: bytes | None = None,
        headers: dict[str, str] | None = None,
    ) -> Reply:
        scheme, line = "http", http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        if self.trusted is not None:
            scheme = "https"
            line = http.client.HTTPSConnection(
                "127.0.0.1", self.port, timeout=60, context=self.trusted
            )
        said = {"Host": f"127.0.0.1:{self.port}"}
        if method == "POST":
            said["Origin"] = f"{scheme}://127.0.0.1:{self.port}"
        if self.cookie:
            said["Cookie"] = self.cookie
        said.update(headers or {})
        try:
            line.request(method, path, body, said)
            answer = line.getresponse()
            got = {name.lower(): value for name, value in answer.getheaders()}
            reply = Reply(answer.status, got, answer.read(), path)
        finally:
            line.close()
        if "set-cookie" in got:
            self.cookie = got["set-cookie"].split(";")[0]
        return self.ask(got["location"]) if reply.status == 303 else reply

    def enter(self) -> Phone:
        assert self.ask(f"/in/{TOKEN}").status == 200
        return self

    def send(self, name: str, after: str = "") -> Reply:
        return self.send_bytes((FIXTURES / name).read_bytes(), after)

    def send_bytes(self, photo: bytes, after: str = "") -> Reply:
        kind = {"Content-Type": "application/octet-stream"}
        return self.ask("/photo" + (f"?after={after}" if after else ""), "POST", photo, kind)

    def press(self, at: Reply, **form: str) -> Reply:
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self.ask(at.url, "POST", urlencode(form).encode(), kind)


@dataclass
class Home:
    """The running server."""

    port: int
    stop: Callable[[], None] = lambda: None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def phone(self) -> Phone:
        return Phone(self.port).enter()


@pytest.fixture(scope="session", autouse=True)
def no_worker_before_a_photo_comes() -> Iterator[None]:
    """Most servers of these tests never see a photo. That the command starts one sooner is seen
    where the command itself is started (``served``).
    """
    warm = Desk.warm

    async def later(_: Desk) -> None:
        return

    Desk.warm = later  # type: ignore[method-assign]
    yield
    Desk.warm = warm  # type: ignore[method-assign]


@contextmanager
def running(book: Path | None = None, log: Path | None = None) -> Iterator[Home]:
    """A server of its own."""
    bound = socket.create_server(("127.0.0.1", 0))
    port = bound.getsockname()[1]
    hosts = frozenset({f"127.0.0.1:{port}"})
    shelf = None if book is None else Shelf(book)
    app = application(TOKEN, hosts, "http", shelf, log)
    config = uvicorn.Config(
        app, http=Line, log_level="critical", access_log=False, server_header=False
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=lambda: asyncio.run(server.serve(sockets=[bound])))
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)

    def stop() -> None:
        server.should_exit = True
        thread.join(20)
        bound.close()

    yield Home(port, stop)
    stop()


@dataclass
class Served:
    """The command itself, in a process of its own. ``enter``: the path that holds its token."""

    process: subprocess.Popen[str]
    scheme: str
    port: int
    enter: str

    def phone(self, trusted: ssl.SSLContext | None = None) -> Phone:
        visitor = Phone(self.port, trusted=trusted)
        assert visitor.ask(self.enter).status == 200
        return visitor


@contextmanager
def served(*words: str) -> Iterator[Served]:
    """``papernudge phone`` on loopback with these words; killed at the end."""
    command = [sys.executable, "-m", "papernudge.cli", "phone", "--host", "127.0.0.1"]
    process = subprocess.Popen([*command, "--port", "0", *words], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        address = re.compile(r"(https?)://127.0.0.1:(\d+)(/in/\S+)")
        while (found := address.search(process.stdout.readline())) is None:
            assert process.poll() is None
        yield Served(process, found[1], int(found[2]), found[3])
    finally:
        process.kill()
        process.wait(20)
        process.stdout.close()


def killed(book: Path, after: float, salt: int = 0) -> set[str]:
    """Pages that a server had shown as done when it was killed, so many seconds after its first.

    ``salt``: another number sends other pages.
    """
    with served("--book", str(book)) as server:
        return _shown_until(server.phone(), after, salt)


def _shown_until(visitor: Phone, after: float, salt: int) -> set[str]:
    photo, shown, until = (FIXTURES / "clean.jpg").read_bytes(), set[str](), 0.0
    kind = {"Content-Type": "application/octet-stream"}
    turn, latest = 0, time.monotonic() + 90
    while not until or time.monotonic() < until:
        visitor.ask("/book/photo", "POST", photo + bytes([salt, turn % 256, turn // 256]), kind)
        turn += 1
        shown |= set(re.findall(r"<li>(phone-[0-9a-f]+): \d", visitor.ask("/book").text))
        if shown and not until:
            until = time.monotonic() + after
        assert time.monotonic() < latest, "no page was done in a minute and a half"
        time.sleep(0.03)
    return shown


def covered(name: str) -> bytes:
    """A fixture with something the colour of skin over its first grid's first cells."""
    import cv2

    photo, (x, y), along, down = first_cell(name)
    middle = (round(x + 0.5 * (along[0] + down[0])), round(y + 0.5 * (along[1] + down[1])))
    side = (along[0] ** 2 + along[1] ** 2) ** 0.5
    size = (round(0.78 * side), round(0.57 * side))
    cv2.ellipse(photo, middle, size, 20, 0, 360, (120, 150, 205), -1, cv2.LINE_AA)
    return cv2.imencode(".jpg", photo)[1].tobytes()


def scrawled(name: str) -> bytes:
    """A fixture with a zigzag over the digit in its first grid's second cell."""
    import cv2
    import numpy as np

    photo, (x, y), along, down = first_cell(name)
    places = [(1.25 + 0.5 * (k % 2), 0.2 + 0.06 * k) for k in range(11)]
    line = [(x + u * along[0] + v * down[0], y + u * along[1] + v * down[1]) for u, v in places]
    wide = max(2, round(0.07 * (along[0] ** 2 + along[1] ** 2) ** 0.5))
    ends = np.rint(line).astype(np.int32)
    cv2.polylines(photo, [ends], False, (60, 50, 50), wide, cv2.LINE_AA)
    return cv2.imencode(".jpg", photo)[1].tobytes()


def first_cell(name: str) -> tuple[Any, Any, Any, Any]:
    """A fixture's pixels, its first grid's first corner, and a cell's width and height, x/y."""
    import json

    import cv2

    page = json.loads((FIXTURES / f"{name}.json").read_text("utf-8"))
    corners = next(grid for grid in page["grids"] if grid["kind"] == "puzzle")["corners"]
    (x0, y0), (x1, y1), _, (x3, y3) = corners
    along, down = ((x1 - x0) / 9, (y1 - y0) / 9), ((x3 - x0) / 9, (y3 - y0) / 9)
    return cv2.imread(str(FIXTURES / name)), (x0, y0), along, down


def snapped_sheet(folder: Path) -> bytes:
    """A practice sheet of four positions that nobody has written on, as a clean photo."""
    import cv2
    import numpy as np
    import pypdfium2

    from papernudge.cli.app import run

    out = folder / "sheet.pdf"
    words = ["--reason", "hidden single in a block", "--positions", "4", "--out", str(out)]
    assert run(["drill", *words]) == 0
    document = pypdfium2.PdfDocument(str(out))
    raster = np.asarray(document[0].render(scale=150 / 72).to_numpy())[..., :3]
    document.close()
    table = cv2.copyMakeBorder(raster, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=(60, 80, 110))
    return cv2.imencode(".jpg", table)[1].tobytes()


def children(parent: int | None = None) -> list[int]:
    """The desk's workers: processes that this one, or another, has started to work in limits."""
    parent = parent or os.getpid()
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            status = (place / "status").read_text("utf-8")
            command = (place / "cmdline").read_bytes()
        except OSError:  # it has ended
            continue
        if f"PPid:\t{parent}\n" in status and b"papernudge.cli.base.limited" in command:
            found.append(int(place.name))
    return found


@pytest.fixture(scope="session")
def home() -> Iterator[Home]:
    with running() as one:
        yield one


@pytest.fixture
def gate_alone() -> Iterator[Home]:
    with running() as one:
        yield one


@pytest.fixture
def phone(home: Home) -> Phone:
    return home.phone()


@pytest.fixture(scope="session")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A practice sheet that nobody has written on, photographed."""
    return snapped_sheet(tmp_path_factory.mktemp("sheet"))
