"""The whole road in real browsers: Chromium and WebKit, at the sizes of phones and a tablet.

Skipped, with the reason, where a browser or its driver is absent. axe-core, an open checker of
accessible pages, is asked where PAPERNUDGE_AXE names its script.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from shared_browsers import browser, display, sized
from shared_phone import FIXTURES, TOKEN, Home, covered, running, scrawled
from test_book_and_log import doubted, into_book, truth

from papernudge.cli.said.languages import words_in

pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

SIZES = {"small phone": (320, 568), "large phone": (430, 932), "tablet": (820, 1180)}
__all__ = ["browser", "display"]
AXE = os.environ.get("PAPERNUDGE_AXE")
pytestmark = pytest.mark.slow


class Visit:
    """A browser on the page, with the words of a person."""

    def __init__(self, driver: Any, home: Home, size: str) -> None:
        self.driver, self.home = driver, home
        sized(driver, *SIZES[size])
        driver.delete_all_cookies()
        driver.get(f"{home.address}/in/{TOKEN}")
        self.until(lambda: self.loaded and self.sentence.startswith("One nudge"))

    def until(self, holds: Any) -> None:
        def safely(_: Any) -> bool:
            try:
                return bool(holds())
            except Exception:  # the page is just being left
                return False

        WebDriverWait(self.driver, 30, 0.05).until(safely)

    @property
    def sentence(self) -> str:
        return str(self.driver.find_element(By.TAG_NAME, "h1").text)

    def send(self, name: str | Path, form: int = 0, to: str = "/p/") -> None:
        inputs = self.driver.find_elements(By.CSS_SELECTOR, "input[type=file]")
        with self.leaving():
            inputs[form].send_keys(str(FIXTURES / name))
        assert to in self.driver.current_url

    @contextmanager
    def leaving(self) -> Iterator[None]:
        """Waits until another page stands there whole: what is done inside leads away from this
        one. The address may change before the page does, so the page itself is marked.
        """
        self.driver.execute_script("window.left = true")
        yield
        self.until(lambda: self.loaded and self.driver.execute_script("return !window.left"))

    def moved(self, move: Any, sentence: str) -> None:
        """The browser's own buttons, and what stands there then, whole: a press while the look is
        still on its way would hit what lies elsewhere a moment later.
        """
        move()
        self.until(lambda: self.sentence == sentence and self.loaded)

    @property
    def loaded(self) -> bool:
        return bool(
            self.driver.execute_script(
                "return document.readyState === 'complete' && document.styleSheets.length > 0 &&"
                " [...document.images].every((i) => i.loading === 'lazy' || i.naturalWidth > 0)"
            )
        )

    def press(self, words: str) -> None:
        found = [
            one
            for one in self.driver.find_elements(By.CSS_SELECTOR, "button, a.button, a.inline")
            if one.text.strip() == words
        ]
        assert found, f"no button says {words!r}"
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found[0])
        with self.leaving():
            found[0].click()

    def turned(self, width: int, height: int, letters: str = "") -> None:
        """The phone laid on its side, or its letters made larger."""
        sized(self.driver, width, height)
        self.driver.execute_script(
            "document.documentElement.style.fontSize = arguments[0]", letters
        )

    def fits(self) -> None:
        """Nothing is cut off at the side, every target is large enough, images keep their place."""
        wide = self.driver.execute_script(
            "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 0
        small = self.driver.execute_script(
            "return [...document.querySelectorAll('a, button, label.button')]"
            ".filter((e) => e.offsetParent && (e.getBoundingClientRect().height < 44"
            " || e.getBoundingClientRect().width < 44)).map((e) => e.outerHTML)"
        )
        assert small == []

    def accessible(self) -> None:
        """axe-core finds nothing of level A or AA."""
        if AXE is None:
            return
        self.driver.execute_script(Path(AXE).read_text("utf-8"))
        found = self.driver.execute_async_script(
            "const done = arguments[0]; axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a',"
            " 'wcag21aa', 'wcag22aa']}).then((r) => done(r.violations.map((v) => v.id + ': ' +"
            " v.nodes.map((n) => n.html).join(' | '))))"
        )
        assert found == []


@pytest.mark.parametrize("size", SIZES)
def test_the_whole_road(browser: Any, home: Home, size: str) -> None:
    visit = Visit(browser, home, size)
    visit.fits()
    visit.accessible()
    visit.send("kitchen-table.jpg")
    first = visit.sentence
    visit.fits()
    visit.accessible()
    said = [first]
    for _ in range(3):
        visit.press("A little more")
        said.append(visit.sentence)
        visit.fits()
    visit.accessible()
    assert len(set(said)) == 4
    with visit.leaving():
        browser.refresh()
    assert visit.sentence == said[3]
    visit.moved(browser.back, said[2])
    visit.moved(browser.forward, said[3])
    visit.press("I wrote it")
    assert visit.sentence not in said
    visit.press("Is it right so far?")
    visit.fits()
    visit.accessible()


@pytest.mark.parametrize("language", ["de", "ja"])
def test_the_page_speaks_the_language_that_is_chosen(
    browser: Any, home: Home, language: str
) -> None:
    """German has the longest words, Japanese no blanks to break lines at."""
    words = words_in(language)
    visit = Visit(browser, home, "small phone")
    visit.driver.find_element(By.TAG_NAME, "summary").click()
    visit.fits()
    visit.driver.find_element(By.CSS_SELECTOR, f"button[value={language}]").click()
    visit.until(lambda: visit.loaded and visit.sentence == words.say("home, head"))
    visit.fits()
    visit.accessible()
    visit.send("kitchen-table.jpg")
    assert visit.driver.find_element(By.TAG_NAME, "html").get_attribute("lang") == language
    assert visit.sentence == words.say("follow digit", digit=2)
    visit.press(words.say("nudge, more"))
    visit.press(words.say("nudge, more"))
    assert "R5C5" in visit.sentence
    visit.fits()


@pytest.mark.parametrize("size", ["small phone"])
def test_a_cell_is_corrected_from_the_list_of_blocks(browser: Any, home: Home, size: str) -> None:
    visit = Visit(browser, home, size)
    visit.send("one-mistake.jpg")
    visit.press("choose it from a list")
    visit.fits()
    visit.accessible()
    browser.find_element(By.CSS_SELECTOR, "nav a:nth-child(5)").click()
    visit.until(lambda: visit.sentence.startswith("Which cell") and visit.loaded)
    visit.fits()
    visit.accessible()
    browser.find_element(By.CSS_SELECTOR, ".cells a").click()
    visit.until(lambda: visit.sentence.startswith("What stands") and visit.loaded)
    visit.fits()
    visit.accessible()
    visit.press("Nothing")
    assert "/p/" in browser.current_url


def test_a_tap_on_the_photo_opens_the_cell_under_the_finger(browser: Any, home: Home) -> None:
    visit = Visit(browser, home, "large phone")
    visit.send("kitchen-table.jpg")
    middle = browser.execute_script(
        "const i = document.querySelector('img.paper');"
        "const c = JSON.parse(i.dataset.cells)[40], box = i.getBoundingClientRect();"
        "const s = box.width / i.getAttribute('width');"
        "const x = box.left + s * (c[0][0] + c[2][0]) / 2;"
        "const y = box.top + s * (c[0][1] + c[2][1]) / 2;"
        "i.dispatchEvent(new MouseEvent('click', {clientX: x, clientY: y, bubbles: true}));"
    )
    assert middle is None
    visit.until(lambda: browser.current_url.endswith("/cell/R5C5"))


def test_a_grid_of_several_is_chosen(browser: Any, home: Home) -> None:
    visit = Visit(browser, home, "large phone")
    visit.send("two-grids.jpg")
    visit.press("Another grid")
    visit.accessible()
    visit.press("Grid 2, a puzzle")
    assert "Grid 2 of 2" in browser.page_source


def test_a_later_photo_tells_what_was_written_since(browser: Any, home: Home) -> None:
    visit = Visit(browser, home, "large phone")
    visit.send("kitchen-table.jpg")
    visit.send("kitchen-table-later.jpg")
    assert "Written since the photo before" in browser.page_source


def test_a_page_without_a_grid_says_so_and_offers_the_camera(browser: Any, home: Home) -> None:
    visit = Visit(browser, home, "small phone")
    visit.send("no-grid.jpg")
    visit.fits()
    visit.accessible()
    assert "Take a photo" in browser.page_source


def test_the_road_can_be_gone_with_the_keyboard_alone(browser: Any, home: Home) -> None:
    visit = Visit(browser, home, "tablet")
    visit.send("kitchen-table.jpg")
    before = visit.sentence
    for _ in range(20):
        browser.switch_to.active_element.send_keys(Keys.TAB)
        if browser.switch_to.active_element.text == "A little more":
            break
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    visit.until(lambda: visit.sentence != before)


def test_the_server_gone_is_told_and_nothing_is_lost(browser: Any, gate_alone: Home) -> None:
    Visit(browser, gate_alone, "small phone")
    gate_alone.stop()
    browser.find_elements(By.CSS_SELECTOR, "input[type=file]")[0].send_keys(
        str(FIXTURES / "clean.jpg")
    )
    until = time.monotonic() + 20
    while "does not answer" not in browser.page_source and time.monotonic() < until:
        time.sleep(0.1)
    assert "is papernudge still running there?" in browser.page_source


@pytest.fixture(scope="module")
def thumb(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo with something over the first cells."""
    photo = tmp_path_factory.mktemp("thumb") / "thumb.jpg"
    photo.write_bytes(covered("kitchen-table.jpg"))
    return photo


@pytest.fixture(scope="module")
def scrawl(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo with a digit that can hardly be told."""
    photo = tmp_path_factory.mktemp("scrawl") / "scrawl.jpg"
    photo.write_bytes(scrawled("kitchen-table.jpg"))
    return photo


def test_doubts_are_answered_one_by_one_and_then_the_nudge_comes(
    browser: Any, home: Home, thumb: Path
) -> None:
    printed = truth("kitchen-table.jpg")["givens"]
    visit = Visit(browser, home, "small phone")
    visit.send(thumb)
    asked = []
    while visit.sentence == "First, what does the page say?":
        visit.fits()
        visit.accessible()
        assert len(asked) < 9
        was = browser.current_url
        hidden = browser.find_elements(By.CSS_SELECTOR, "nav.choices a")
        if hidden:
            assert "can't be seen" in browser.page_source
            assert "Take the photo again" in browser.page_source
            cell = hidden[0].text
        else:
            cell = browser.find_element(By.CSS_SELECTOR, ".question img").get_attribute("alt")[9:13]
        asked.append(cell)
        browser.get(f"{was.rsplit('?', 1)[0]}/cell/{cell}")
        digit = printed[9 * (int(cell[1]) - 1) + int(cell[3]) - 1]
        told = f"{cell}=given:{digit}" if digit != "." else f"{cell}=."
        browser.find_element(By.CSS_SELECTOR, f'button[value="{told}"]').click()
        visit.until(lambda last=was: browser.current_url != last and visit.loaded)
        visit.until(lambda: "/cell/" not in browser.current_url)
    assert asked
    assert len(asked) == len(set(asked))
    assert visit.sentence.startswith(("Follow the", "Look at"))
    browser.back()
    browser.back()
    visit.until(lambda: visit.sentence == "First, what does the page say?")


def test_a_doubt_is_answered_by_one_tap(browser: Any, home: Home, scrawl: Path) -> None:
    visit = Visit(browser, home, "large phone")
    visit.send(scrawl)
    button = browser.find_element(By.CSS_SELECTOR, ".question .choices button")
    was, words = browser.current_url, button.get_attribute("value")
    button.click()
    visit.until(lambda: browser.current_url != was and visit.loaded)
    assert f"The cell {words[:4]}" not in browser.page_source


def test_a_second_phone_beside_it_changes_nothing(browser: Any, home: Home) -> None:
    visit = Visit(browser, home, "large phone")
    visit.send("kitchen-table.jpg")
    said, address = visit.sentence, browser.current_url
    other = home.phone()
    theirs = other.press(other.send("solved.jpg"), do="check")
    assert other.ask(address.removeprefix(home.address)).status == 404
    browser.get(home.address + theirs.url)
    assert "no longer kept" in visit.sentence
    browser.get(address)
    assert visit.sentence == said
    browser.get(home.address)
    assert len(browser.find_elements(By.CSS_SELECTOR, ".kept a")) == 1


@pytest.mark.parametrize(
    ("width", "height", "letters"), [(844, 390, ""), (390, 844, "200%")], ids=["turned", "large"]
)
def test_a_phone_on_its_side_and_large_letters_lose_nothing(
    browser: Any, home: Home, width: int, height: int, letters: str
) -> None:
    visit = Visit(browser, home, "large phone")
    visit.turned(width, height, letters)
    visit.fits()
    visit.send("two-grids.jpg")
    address = browser.current_url
    for path in ("", "/grids", "/blocks", "/block/5", "/cell/R5C5"):
        browser.get(address + path)
        visit.until(lambda: visit.loaded)
        visit.turned(width, height, letters)
        visit.fits()
    if not letters:  # sentence and first button stand beside the picture, in sight
        browser.get(address)
        visit.until(lambda: visit.loaded)
        foot = browser.execute_script(
            "return document.querySelector('.button.main').getBoundingClientRect().bottom"
        )
        assert foot < height


def test_nothing_moves_while_a_page_is_put_together(browser: Any, home: Home) -> None:
    """Chromium alone counts layout shifts."""
    if not browser.name.startswith("chrom"):
        pytest.skip("this browser does not count layout shifts")
    visit = Visit(browser, home, "small phone")
    visit.send("kitchen-table.jpg")
    address = browser.current_url
    for path in ("", "/grids", "/blocks", "/block/1", "/cell/R1C1", None):
        browser.get(home.address if path is None else address + path)
        visit.until(lambda: visit.loaded)
        moved = browser.execute_async_script(
            "const done = arguments[0]; let sum = 0;"
            "new PerformanceObserver((seen) => { for (const one of seen.getEntries())"
            " sum += one.value; }).observe({type: 'layout-shift', buffered: true});"
            "setTimeout(() => done(sum), 250);"
        )
        assert moved == 0, path


def test_the_road_can_be_gone_with_script_off(browser: Any, home: Home) -> None:
    if not browser.name.startswith("chrom"):
        pytest.skip("this driver can't switch scripts off")
    visit = Visit(browser, home, "small phone")
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get(home.address)
        form = browser.find_element(By.CSS_SELECTOR, "form.photo")
        form.find_element(By.CSS_SELECTOR, "input[type=file]").send_keys(
            str(FIXTURES / "kitchen-table.jpg")
        )
        form.find_element(By.CSS_SELECTOR, ".send").click()
        visit.until(lambda: visit.sentence.startswith("Follow"))
        said = {visit.sentence}
        for words in ("A little more", "A little more", "A little more", "I wrote it"):
            buttons = browser.find_elements(By.CSS_SELECTOR, "button")
            next(one for one in buttons if one.text == words).click()
            visit.until(lambda: visit.sentence not in said)
            said.add(visit.sentence)
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


@pytest.mark.parametrize("size", ["small phone"])
def test_book_and_practice_on_the_phone(
    browser: Any, tmp_path: Path, sheet: bytes, size: str
) -> None:
    book = tmp_path / "shelf.book"
    with running(book=book) as home:
        into_book(home.phone(), "kitchen-table.jpg")
    _, cell, read = doubted(book)
    snapped = tmp_path / "sheet.jpg"
    snapped.write_bytes(sheet)
    with running(book=book, log=tmp_path / "practice.log") as home:
        visit = Visit(browser, home, size)
        visit.press("Pages into the book")
        visit.fits()
        visit.accessible()
        assert f"What stands in {cell}" in browser.page_source
        browser.find_element(By.CSS_SELECTOR, f'button[value="given:{read}"]').click()
        visit.until(lambda: f"What stands in {cell}" not in browser.page_source)
        assert "1 puzzle clean" in browser.page_source
        browser.find_elements(By.CSS_SELECTOR, "input[type=file]")[0].send_keys(
            str(FIXTURES / "clean.jpg")
        )
        visit.until(lambda: "2 pages" in browser.find_element(By.ID, "running").text)
        browser.get(f"{home.address}/sheet")
        visit.press("Whose sheet is it?")
        visit.fits()
        visit.accessible()
        browser.find_element(By.ID, "pupil").send_keys("<b>Zoë</b>" + Keys.ENTER)
        visit.until(lambda: visit.sentence == "Mark a sheet of <b>Zoë</b>")
        visit.send(snapped, to="/sheet/")
        visit.fits()
        visit.accessible()
        assert "4 blank" in visit.sentence
        visit.press("Another sheet of <b>Zoë</b>")
        visit.fits()
        visit.accessible()
