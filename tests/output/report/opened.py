"""The page in a browser without a network, for tests of what only a browser can tell."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
DRAWS_WITHOUT_CARD = ("--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader",
                      "--enable-unsafe-swiftshader")  # fmt: skip


@contextmanager
def started_browser() -> Iterator[Browser]:
    place = next(filter(None, map(shutil.which, BROWSERS)), None)
    if place is None:
        pytest.fail("no Chromium on this machine: install the package chromium")
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=place, args=DRAWS_WITHOUT_CARD)
        yield started
        started.close()


@contextmanager
def opened_page(
    browser: Browser, place: Path, width: int, *, ready: str = "#results[data-ready=yes]", **more: Any
) -> Iterator[Page]:
    """Open a page, and hold it to ask for nothing and to complain of nothing while it is open."""
    opened = browser.new_page(viewport={"width": width, "height": 800}, **more)
    said: list[str] = []
    opened.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on("request", lambda asked: said.append(asked.url))
    opened.goto(place.as_uri())
    opened.wait_for_selector(ready)
    yield opened
    found = [line for line in said if not line.startswith(("data:", "blob:"))]
    opened.close()
    assert found == [place.as_uri()]  # the page itself, and no error
