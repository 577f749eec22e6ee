"""The whole road in real browsers: Chromium and WebKit, at the sizes of phones and a tablet.

Skipped, with the reason, where a browser or its driver is absent. axe-core, an open checker of
accessible pages, is asked where PAPERNUDGE_AXE names its script.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest
from shared_browsers import browser, display, sized
from shared_phone import FIXTURES, TOKEN, Home

pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

SIZES = {"small phone": (320, 568), "large phone": (430, 932), "tablet": (820, 1180)}
__all__ = ["browser", "display"]
AXE = os.environ.get("PAPERNUDGE_AXE")


class Visit:
    """A browser on the page, with the words of a person."""

    def __init__(self, driver: Any, home: Home, size: str) -> None:
        self.driver, self.home = driver, home
        sized(driver, *SIZES[size])
        driver.delete_all_cookies()
        driver.get(f"{home.address}/in/{TOKEN}")
        self.until(lambda: self.sentence.startswith("One nudge"))

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

    def send(self, name: str, form: int = 0) -> None:
        was = self.driver.current_url
        inputs = self.driver.find_elements(By.CSS_SELECTOR, "input[type=file]")
        inputs[form].send_keys(str(FIXTURES / name))
        self.until(lambda: self.driver.current_url != was and "/p/" in self.driver.current_url)
        self.until(lambda: self.loaded)

    @property
    def loaded(self) -> bool:
        return bool(
            self.driver.execute_script(
                "return document.readyState === 'complete' &&"
                " [...document.images].every((i) => i.loading === 'lazy' || i.naturalWidth > 0)"
            )
        )

    def press(self, words: str) -> None:
        was = self.driver.current_url
        found = [
            one
            for one in self.driver.find_elements(By.CSS_SELECTOR, "button, a.button, a.inline")
            if one.text.strip() == words
        ]
        assert found, f"no button says {words!r}"
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found[0])
        found[0].click()
        self.until(lambda: self.driver.current_url != was and self.loaded)

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
    browser.refresh()
    visit.until(lambda: visit.sentence == said[3])
    browser.back()
    visit.until(lambda: visit.sentence == said[2])
    browser.forward()
    visit.until(lambda: visit.sentence == said[3])
    visit.press("I wrote it")
    assert visit.sentence not in said
    visit.press("Is it right so far?")
    visit.fits()
    visit.accessible()


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
