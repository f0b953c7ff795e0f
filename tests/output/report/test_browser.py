"""The page in a browser without a network: nothing is asked for, nothing fails, the table works."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from pipeline.output.report.page import report_page
from tests.output.report.made_up import bounded_rows, rows_of, write_fields, write_set_beside
from tests.output.report.opened import opened_page, started_browser

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with started_browser() as one:
        yield one


@pytest.fixture
def place(demo: dict[str, Any], tmp_path: Path) -> Path:
    study, out = write_set_beside(demo, tmp_path / "out", [*rows_of(), *bounded_rows()])
    for folder in (out / "cases").iterdir():
        write_fields(folder)
    return report_page(study, out, "gapstrain 0.0.9.", "For research only.")


@pytest.fixture(params=[390, 1280])
def page(request: pytest.FixtureRequest, browser: Browser, place: Path) -> Iterator[Page]:
    with opened_page(browser, place, request.param) as one:
        yield one


def values(page: Page) -> list[float]:
    column = page.locator("#results thead th", has_text="value").evaluate("cell => cell.cellIndex")
    cells = page.locator(f"#results tbody td:nth-child({column + 1})")
    return [float(cell.get_attribute("data-order") or "nan") for cell in cells.all()]


def test_the_page_fits_and_its_table_sorts_and_filters(page: Page):
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0
    heading = page.locator("#results thead th", has_text="value")
    heading.focus()
    heading.click()
    page.wait_for_timeout(200)
    assert values(page) == sorted(values(page))
    page.select_option("#filter-construct", "plate")
    page.wait_for_timeout(200)
    names = page.locator("#results tbody td.construct").all_inner_texts()
    assert set(names) == {"plate"}


def test_the_table_of_measurements_sorts(page: Page):
    table = page.locator("#published table")
    table.locator("thead th", has_text="measured").first.click()
    page.wait_for_timeout(200)
    cells = table.locator("tbody td[data-order]:nth-child(4)").all()
    assert [cell.get_attribute("data-order") for cell in cells] == ["3.7", "9123.4", "more"]


def test_a_construct_can_be_turned_cut_and_coloured(page: Page):
    page.locator("#constructs").scroll_into_view_if_needed()
    page.wait_for_selector("#turning canvas")
    for name in ("[data-field=stress]", "#half", "#near", "#left", "#larger", "[data-field=strain]"):
        page.locator(name).focus()
        page.keyboard.press("Enter")
    assert "whole, colours show strain" in (page.get_attribute("#turning", "aria-label") or "")
    assert page.locator("#half").get_attribute("aria-pressed") == "false"


def test_it_prints_without_what_only_a_screen_can_do(page: Page):
    page.emulate_media(media="print")
    assert not page.locator("#turning").is_visible()
    assert not page.locator("nav[aria-label=Contents]").is_visible()
    assert not page.locator("#results").is_visible()  # all of it is in results.csv
    assert page.locator(".first svg").is_visible()
    assert len(page.pdf()) > 10_000
