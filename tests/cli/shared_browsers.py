"""Real browsers for tests: Chromium and WebKit, each skipped with the reason where it is absent."""

from __future__ import annotations

import os
import shutil
import subprocess
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")

_QUIET = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def chromium(folder: Path) -> Any:
    binary, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if binary is None or driver is None:
        pytest.skip("Chromium or its driver is not on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = binary
    for word in (*_QUIET, f"--user-data-dir={folder}"):
        options.add_argument(word)
    service = webdriver.ChromeService(driver)
    return webdriver.Chrome(options=options, service=service)


def webkit(_: Path) -> Any:
    driver = shutil.which("WebKitWebDriver")
    if driver is None:
        pytest.skip("WebKit's driver is not on this machine")
    if "DISPLAY" not in os.environ:
        pytest.skip("there is no display for WebKit: Xvfb is not on this machine")
    browser = Path("/usr/lib")
    found = sorted(browser.glob("*/webkit2gtk-4.*/MiniBrowser"))
    if not found:
        pytest.skip("WebKit's browser for tests is not on this machine")
    options = webdriver.WebKitGTKOptions()
    options.binary_location = str(found[-1])
    options.add_argument("--automation")
    with warnings.catch_warnings():  # selenium warns of itself
        warnings.simplefilter("ignore", DeprecationWarning)
        return webdriver.WebKitGTK(options=options, service=webdriver.WebKitGTKService(driver))


@pytest.fixture(scope="module")
def display() -> Iterator[None]:
    """A screen nobody sees, for the browser that needs one."""
    program = shutil.which("Xvfb")
    if program is None or "DISPLAY" in os.environ:
        yield
        return
    process = subprocess.Popen(
        [program, "-displayfd", "1", "-screen", "0", "1400x1400x24", "-nolisten", "tcp"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    os.environ["DISPLAY"] = f":{process.stdout.readline().strip()}"
    yield
    del os.environ["DISPLAY"]
    process.terminate()
    process.wait(10)
    process.stdout.close()


@pytest.fixture(scope="module", params=[chromium, webkit], ids=["chromium", "webkit"])
def browser(
    request: pytest.FixtureRequest, display: None, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Any]:
    driver = request.param(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


def sized(driver: Any, width: int, height: int) -> None:
    """Shows the page as a screen of this size does; a window of WebKit's browser for tests is no
    narrower than its buttons, some 450 pixels.
    """
    if driver.name.startswith("chrom"):
        view = {"width": width, "height": height, "deviceScaleFactor": 2, "mobile": True}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", view)
    else:
        driver.set_window_rect(0, 0, width, height)
