"""The review sheet in real browsers, opened from a file as a person does."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from shared_browsers import browser, display, sized

from papernudge.cli.books.corrections import parse_correction

pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

__all__ = ["browser", "display"]
pytestmark = pytest.mark.slow
PUZZLE = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
FIRST, SECOND = "0123456789abcdef-1-1", "0123456789abcdef-10-2"


def row(name: str, doubtful: list[str]) -> dict[str, Any]:
    likely = [{"digit": 8, "chance": 0.4}, {"digit": None, "chance": 0.1}]
    doubts = [
        {"cell": cell, "about": "digit", "read": 3, "chance": 0.5, "instead": likely}
        for cell in doubtful
    ]
    where = {"source": "a-very-long-name-of-a-scanned-newspaper-1987.pdf", "page": 1, "number": 1}
    return {"id": name, "reason": "doubts", "givens": PUZZLE, "doubts": doubts, **where}


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two grids: one with three doubtful cells, one that is shown whole."""
    import cv2
    import numpy as np

    from papernudge.cli.books.review import _block
    from papernudge.cli.books.review_page import page
    from papernudge.vision.crop import CROP

    crop = cv2.imencode(".jpg", np.full((CROP, CROP, 3), 200, np.uint8))[1].tobytes()
    blocks = [_block(row(FIRST, ["R1C2", "R5C5", "R9C9"]), crop), _block(row(SECOND, []), crop)]
    path = tmp_path_factory.mktemp("sheet") / "sheet.html"
    path.write_text(page(blocks), "utf-8")
    return path


class Sheet:
    """The sheet in a browser, with the words of a person."""

    def __init__(self, driver: Any, path: Path) -> None:
        self.driver = driver
        sized(driver, 390, 844)
        driver.get(path.as_uri())

    def choose(self, line: str) -> None:
        choice = f"input[value='{line}']"
        self.driver.execute_script(
            "arguments[0].scrollIntoView({block: 'center'})", self._one(choice)
        )
        self._one(choice).click()

    def field(self, start: str) -> Any:
        return self._one(f"input[data-start='{start}']")

    @property
    def lines(self) -> list[str]:
        return str(self._one("textarea").get_property("value")).splitlines()

    def undo(self) -> None:
        self._one("button").click()

    def _one(self, selector: str) -> Any:
        return self.driver.find_element(By.CSS_SELECTOR, selector)


@pytest.fixture
def open_sheet(browser: Any, sheet: Path) -> Callable[[], Sheet]:
    Sheet(browser, sheet)
    browser.execute_script(
        "for (const i of document.querySelectorAll('input'))"
        " if (i.type === 'radio') i.checked = false; else i.value = ''"
    )
    browser.refresh()
    return lambda: Sheet(browser, sheet)


def test_choices_become_lines_and_survive_a_reload(open_sheet: Any) -> None:
    page = open_sheet()
    assert page.lines == []
    page.choose(f"{FIRST} R5C5=given:8")
    page.field(f"{SECOND} ").send_keys("R1C1=given:2 r9c9=.")
    page.field(f"{FIRST} label ").send_keys("Lantern 12 May")
    wanted = [
        f"{FIRST} R5C5=given:8", f"{FIRST} label Lantern 12 May", f"{SECOND} R1C1=given:2 r9c9=.",
    ]  # fmt: skip
    assert sorted(page.lines) == wanted
    assert all(parse_correction(line) for line in page.lines)
    page.driver.refresh()
    assert sorted(page.lines) == wanted
    assert sorted(open_sheet().lines) == wanted


def test_typed_rubbish_is_told_as_it_is_typed_and_becomes_no_line(open_sheet: Any) -> None:
    page = open_sheet()
    field = page.field(f"{FIRST} R1C2=")
    said = page.driver.execute_script("return arguments[0].nextElementSibling", field)
    field.send_keys("x")
    assert "Expected a digit" in said.text
    assert page.lines == []
    field.send_keys(Keys.BACKSPACE, "entry:7")
    assert (said.text, page.lines) == ("", [f"{FIRST} R1C2=entry:7"])
    whole = page.field(f"{SECOND} ")
    whole.send_keys("R1C10=3")
    assert whole.get_attribute("aria-invalid") == "true"
    assert page.lines == [f"{FIRST} R1C2=entry:7"]


def test_each_step_can_be_undone(open_sheet: Any) -> None:
    page = open_sheet()
    assert not page._one("button").is_enabled()
    page.choose(f"{FIRST} R5C5=given:8")
    page.choose(f"{FIRST} R5C5=given:3")
    page.field(f"{FIRST} R1C2=").send_keys("7", Keys.TAB)
    page.undo()
    assert page.lines == [f"{FIRST} R5C5=given:3"]
    page.undo()
    assert page.lines == [f"{FIRST} R5C5=given:8"]
    page.undo()
    assert page.lines == []
    page.driver.refresh()
    assert page.lines == []


def test_it_can_be_read_and_used_on_a_small_screen(open_sheet: Any) -> None:
    page = open_sheet()
    ask = page.driver.execute_script
    wide = ask("return innerWidth")
    assert wide <= 450  # a window of WebKit's has its own least width
    assert ask("return document.documentElement.scrollWidth") <= wide
    small = ask(
        "return [...document.querySelectorAll('body *')].filter(e => e.offsetHeight &&"
        " parseFloat(getComputedStyle(e).fontSize) < 14).map(e => e.outerHTML.slice(0, 80))"
    )
    assert small == []
    # WCAG 2.2, 2.5.8: targets of 24 by 24.
    low = ask(
        "return [...document.querySelectorAll('label, button, input[type=text], a')].filter(e =>"
        " e.getBoundingClientRect().height < 24).map(e => e.outerHTML.slice(0, 80))"
    )
    assert low == []
