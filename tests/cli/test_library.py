"""``import papernudge``: from a photo to words without a terminal."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from inspect import getdoc
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.request import Request, urlopen

import cv2
import numpy as np
import pytest

import papernudge

ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"


HIDDEN = (40, 71)
TRUTH = json.loads((FIXTURES / "clean.jpg.json").read_text("utf-8"))["grids"][0]


@pytest.fixture(scope="module")
def sheet() -> papernudge.Sheet:
    """Of a photo on which coins lie on two cells."""
    pixels = np.asarray(cv2.imread(str(FIXTURES / "clean.jpg")), np.uint8).copy()
    mesh = papernudge.open_photo(pixels).sheet().grid.mesh
    assert mesh is not None
    for cell in HIDDEN:
        row, column = divmod(cell, 9)
        around = mesh.crossings[row : row + 2, column : column + 2].reshape(4, 2)
        middle, side = around.mean(axis=0), np.linalg.norm(around[1] - around[0])
        x, y = middle.round().astype(int).tolist()
        cv2.circle(pixels, (x, y), round(0.6 * float(side)), (70, 110, 190), -1, cv2.LINE_AA)
    return papernudge.open_photo(pixels).sheet()


def truth(cell: int) -> str:
    """What stands under a coin, as an answer."""
    name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
    given, entry = TRUTH["givens"][cell], TRUTH["entries"][cell]
    kind, digit = ("given", given) if given != "." else ("entry", entry)
    return f"{name}=." if digit == "." else f"{name}={kind}:{digit}"


def test_importing_it_loads_nothing_heavy_and_nothing_of_the_terminal() -> None:
    code = (
        "import sys, papernudge\nassert 'open_photo' in dir(papernudge)\n"
        "print([m for m in ('numpy', 'cv2', 'onnxruntime', 'typer') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_sitting_loads_nothing_of_the_terminal() -> None:
    code = (
        "import sys, papernudge\n"
        "page = papernudge.read_lines('53..7....6..195....98....6.8...6...34..8.3..17...2...6"
        ".6....28....419..5....8..79')\n"
        "answer = papernudge.nudge(page.sheet())\n"
        "papernudge.load(papernudge.save(papernudge.wrote(answer)))\n"
        "papernudge.picture(answer, '.svg')\n"
        "print([m for m in sys.modules if m.startswith('papernudge.cli.terminal')"
        " or m in ('typer', 'papernudge.cli.app', 'papernudge.cli.base.exits')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", papernudge.__all__)
def test_each_name_is_there_and_says_what_it_is(name: str) -> None:
    assert len((getdoc(getattr(papernudge, name)) or "").split()) >= 6


def test_the_session_and_the_pictures_neither_print_nor_ask_nor_end_the_process() -> None:
    for room in ("session", "pictures", "root"):
        for path in (ROOT / "cli" / room).glob("*.py"):
            tree = ast.parse(path.read_text("utf-8"))
            called = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call)
                      and isinstance(n.func, ast.Name)}  # fmt: skip
            assert not called & {"print", "input", "exit", "quit", "write_whole"}, path


def test_a_path_bytes_and_pixels_read_the_same() -> None:
    photo = FIXTURES / "clean.png"
    pixels = np.asarray(cv2.imread(str(photo)), np.uint8)
    pages = [papernudge.open_photo(one) for one in (str(photo), photo.read_bytes(), pixels)]
    assert len({page.sheet().grid.givens for page in pages}) == 1
    assert [page.called for page in pages] == [str(photo), None, None]


@pytest.mark.parametrize(
    ("photo", "said"),
    [
        (b"", "the photo is empty"),
        (b"hello", "the photo"),
        (FIXTURES / "gone.jpg", "gone.jpg"),
        (np.zeros((4, 4), np.uint8), r"uint8 \(height, width, 3\); got uint8 \(4, 4\)"),
    ],
)
def test_what_is_no_photo_is_told_in_a_sentence(photo: Any, said: str) -> None:
    with pytest.raises(papernudge.PhotoError, match=said) as told:
        papernudge.open_photo(photo)
    assert told.value.stage == "open"
    assert told.value.sentence.endswith(".")


def test_no_grid_one_that_is_cut_off_and_one_that_is_not_there_are_told() -> None:
    with pytest.raises(papernudge.GridError) as none:
        papernudge.open_photo(FIXTURES / "no-grid.jpg").sheet()
    assert none.value.stage in ("find", "flatten")
    with pytest.raises(papernudge.GridError, match="cut off"):
        papernudge.open_photo(FIXTURES / "cut-off.jpg").sheet()
    with pytest.raises(papernudge.WordsError, match="no grid 2 here: 1 found"):
        papernudge.read_lines("." * 81).sheet(2)


def test_doubts_come_as_questions_with_choices_and_an_answer_settles_them(
    sheet: papernudge.Sheet,
) -> None:
    answer = papernudge.check(sheet)
    assert answer.state == "unsure"
    asked = papernudge.questions(answer)
    assert [question.cell for question in asked] == list(HIDDEN)
    for question in asked:
        assert question.asks.endswith("?")
        assert all(choice.says.startswith(f"{question.name}=") for choice in question.choices)
    assert papernudge.doubts(sheet) == asked
    told = papernudge.answered(sheet, asked[0].choices[0], *map(truth, HIDDEN))
    assert papernudge.questions(papernudge.check(told)) == ()
    assert told.grid.givens == TRUTH["givens"]
    assert papernudge.check(sheet).state == "unsure"  # a sheet is a value


def test_what_was_written_leads_to_the_next_nudge() -> None:
    later = papernudge.open_photo(FIXTURES / "kitchen-table-later.jpg")
    page = papernudge.open_photo(FIXTURES / "kitchen-table.jpg")
    first = papernudge.nudge(page.sheet(), 4)
    ((_, digit),) = first.told.places  # type: ignore[union-attr]
    after = papernudge.wrote(papernudge.nudge(page.sheet(), 1))
    ((cell, _),) = first.told.places  # type: ignore[union-attr]
    assert after.grid.entries[cell] == str(digit)
    assert papernudge.nudge(after, 4).sentence != first.sentence
    assert papernudge.nudge(later.sheet(), since=page).state in ("open", "unsure")
    with pytest.raises(papernudge.WordsError, match="same printed digits"):
        papernudge.check(later.sheet(), since=papernudge.read_lines("." * 81))


@pytest.mark.parametrize("depth", [0, 5, -1, 1.5])
def test_another_depth_is_refused(depth: Any) -> None:
    lines = papernudge.read_lines("." * 81).sheet()
    for ask in (papernudge.nudge, papernudge.check, papernudge.walk):
        with pytest.raises(papernudge.WordsError, match="from 1 to 4"):
            ask(lines, depth)


def test_a_session_saved_and_loaded_elsewhere_answers_as_here(
    sheet: papernudge.Sheet, tmp_path: Path
) -> None:
    told = papernudge.answered(sheet, truth(HIDDEN[0]))
    data = papernudge.save(told)
    assert len(data) <= 65_536
    (tmp_path / "sheet").write_bytes(data)
    says = truth(HIDDEN[1])
    program = (
        "import json, sys, papernudge\n"
        "told = papernudge.load(open(sys.argv[1], 'rb').read())\n"
        "told = papernudge.answered(told, sys.argv[2])\n"
        "print(json.dumps([papernudge.nudge(told, 4).document(),"
        " papernudge.check(told, 4).document()]))"
    )
    words = [sys.executable, "-c", program, str(tmp_path / "sheet"), says]
    there = subprocess.run(words, capture_output=True, text=True, check=True)
    here = papernudge.answered(told, says)
    answers = papernudge.nudge(here, 4), papernudge.check(here, 4)
    assert json.loads(there.stdout) == json.loads(json.dumps([a.document() for a in answers]))


def test_a_session_of_lines_is_saved_too() -> None:
    puzzle = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"
    sheet = papernudge.answered(papernudge.read_lines(puzzle).sheet(), "R1C3=notes:14", "R1C3=.")
    told = papernudge.wrote(papernudge.nudge(sheet))
    back = papernudge.load(papernudge.save(told))
    assert papernudge.nudge(back, 4).document() == papernudge.nudge(told, 4).document()


@pytest.mark.parametrize("data", [b"", b"{}", b"{", b"hello", b'{"form": 9}', b"PK\x03\x04"])
def test_what_is_no_session_is_refused_with_a_sentence(data: bytes) -> None:
    with pytest.raises(papernudge.SavedError) as told:
        papernudge.load(data)
    assert told.value.sentence.endswith(".")


# ---------------------------------------------------------------- a toy web server


class Handler(BaseHTTPRequestHandler):
    """Takes a photo or a saved sheet, gives a nudge; keeps nothing."""

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        try:
            resumed = self.path.startswith("/sheet")
            sheet = papernudge.load(body) if resumed else papernudge.open_photo(body).sheet()
            sheet = papernudge.answered(sheet, *self.headers.get_all("Answer", []))
            answer = (papernudge.check if resumed else papernudge.nudge)(sheet, 2)
            asks = [[q.asks, [c.says for c in q.choices]] for q in papernudge.questions(answer)]
            self._send(HTTPStatus.OK, {"says": answer.sentence, "asks": asks})
        except papernudge.Trouble as trouble:
            self._send(HTTPStatus.UNPROCESSABLE_ENTITY, {"says": trouble.sentence})

    def _send(self, status: HTTPStatus, told: dict[str, Any]) -> None:
        self.send_response(status)
        self.end_headers()
        self.wfile.write(json.dumps(told).encode())

    def log_message(self, *_: object) -> None:
        """Nothing is logged."""


def test_a_toy_web_server_gives_nudges(sheet: papernudge.Sheet) -> None:
    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        home = f"http://127.0.0.1:{server.server_port}"
        photo = (FIXTURES / "kitchen-table.jpg").read_bytes()
        with urlopen(Request(f"{home}/photo", photo)) as reply:
            assert json.load(reply)["says"] == "In which house is just one place left for a 2?"
        saved = papernudge.save(sheet)
        with urlopen(Request(f"{home}/sheet", saved)) as reply:
            told = json.load(reply)
        assert told["asks"]
        with urlopen(Request(f"{home}/sheet", saved, {"Answer": truth(HIDDEN[0])})) as reply:
            assert json.load(reply)["asks"] == told["asks"][1:]
        server.shutdown()
