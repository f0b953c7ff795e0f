"""What a reader does with the page: finds a place, reads a flag, takes a table along, prints it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from playwright.sync_api import Browser, Page

from pipeline.output.report.page import report_page
from tests.output.exploring import write_explored
from tests.output.report.made_up import HOSTILE, bounded_rows, rows_of, write_set_beside
from tests.output.report.opened import opened_page

pytestmark = pytest.mark.slow
FLAG = "gap strain 35 % (closing, at the rim), beyond small strains"
WIDE, NARROW = 1440, 390
MINUS = "\N{MINUS SIGN}"


@pytest.fixture
def place(demo: dict[str, Any], tmp_path: Path) -> Path:
    flagged = [row | ({"flags": FLAG} if row["construct"] == "plate" else {}) for row in rows_of()]
    study, out = write_set_beside(demo, tmp_path / "out", [*flagged, *bounded_rows()])
    write_explored(out)
    return report_page(study, out, "gapstrain 0.0.9.", "For research only.")


@pytest.fixture
def wide(browser: Browser, place: Path) -> Iterator[Page]:
    with opened_page(browser, place, WIDE) as page:
        yield page


@pytest.fixture
def narrow(browser: Browser, place: Path) -> Iterator[Page]:
    with opened_page(browser, place, NARROW) as page:
        yield page


def saved(page: Page, button: str) -> tuple[str, str]:
    with page.expect_download() as found:
        page.locator(button).click()
    return found.value.suggested_filename, Path(found.value.path()).read_text(encoding="utf-8-sig")


def told_rows() -> str:
    """All rows of the plate are flagged."""
    count = sum(row["construct"] == "plate" for row in rows_of())
    return f"{count} of {count}"


def marks(page: Page, place: str) -> bool:
    """Whether the contents come to mark one place alone, as soon as the browser draws again."""
    one = "[...document.querySelectorAll('#contents a[aria-current]')].map(one => one.hash).join() === "
    page.wait_for_function(f"place => {one} place", arg=place, timeout=8000)
    return True


def is_covered(page: Page, what: str) -> bool:
    """Whether something else lies over the middle of an element."""
    return page.locator(what).evaluate("""one => {
        const box = one.getBoundingClientRect();
        const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
        return !one.contains(top);
    }""")


def test_contents_mark_the_section_in_view(wide: Page):
    assert marks(wide, "#answer")
    for name in ("numbers", "inputs", "doubts"):
        wide.locator(f"#contents a[href='#{name}']").click()
        assert marks(wide, f"#{name}")
        assert not is_covered(wide, f"#{name} h2")
    wide.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    assert marks(wide, "#origin")
    assert wide.locator("#contents").is_visible()


def test_on_a_phone_contents_open_and_close(narrow: Page):
    opener, places = narrow.locator("#contents button"), narrow.locator("#places")
    assert not places.is_visible()
    assert opener.inner_text() == "Contents: Answer"
    opener.focus()
    narrow.keyboard.press("Enter")
    assert places.is_visible()
    assert opener.get_attribute("aria-expanded") == "true"
    narrow.locator("#contents a[href='#pairs']").click()
    assert not places.is_visible()
    assert marks(narrow, "#pairs")
    assert opener.inner_text() == "Contents: Comparisons"


@pytest.mark.parametrize("width", [NARROW, 800, WIDE])
def test_the_caution_stays_and_nothing_runs_off_sideways(browser: Browser, place: Path, width: int):
    with opened_page(browser, place, width) as page:
        for name in ("#numbers", "#reversed", "#origin"):
            page.evaluate("name => document.querySelector(name).scrollIntoView()", name)
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
            assert not is_covered(page, ".always")
            assert page.locator(".always").inner_text() == "For research only."
        empty = page.locator("table").evaluate_all(
            "all => all.filter(one => one.clientHeight < 30).length"
        )
        assert empty == 0


def test_a_flag_is_told_to_the_keyboard(wide: Page):
    flag, tip = wide.locator("#numbers .flag"), wide.locator("#tip")
    assert flag.count() == 1  # the plate's row alone
    assert "plate" in flag.locator("xpath=ancestor::tr").inner_text()
    assert not tip.is_visible()
    flag.focus()
    assert tip.is_visible()
    assert tip.inner_text() == FLAG
    wide.keyboard.press("Escape")
    assert not tip.is_visible()
    flag.focus()
    wide.keyboard.press("Enter")
    wide.wait_for_timeout(150)
    told = wide.locator("#doubts details", has_text="plate: ")
    assert told.locator("li").all_inner_texts() == [f"{told_rows()} rows: {FLAG}"]
    assert told.locator("li").is_visible()  # the browser opens what one jumps into


def test_a_flagged_mark_is_open_and_the_others_are_full(wide: Page):
    """Of three constructs one is flagged, so one dagger; a ring is white inside."""
    first = wide.locator("#figure-1")
    assert first.locator("text", has_text="†").count() == 1
    fills = first.locator("use").evaluate_all("all => all.map(one => getComputedStyle(one).fill)")
    assert fills.count("rgb(255, 255, 255)") == 1


def test_a_table_is_saved_as_it_is_shown(wide: Page):
    """Cells with a digit in the page and in the file are the same, the error in its own column."""
    name, text = saved(wide, "#numbers .get >> nth=0")
    assert name == "table-1.csv"
    head, *rows = csv.reader(io.StringIO(text))
    assert len({len(row) for row in (head, *rows)}) == 1
    names = wide.locator("#table-1 tbody th").evaluate_all(
        "all => all.map(one => one.firstChild.textContent.trim())"
    )
    assert [row[0] for row in rows] == names
    plate = next(dict(zip(head, row, strict=True)) for row in rows if row[0] == "plate")
    assert plate["flags"] == FLAG
    assert plate["shear far mm"] == "0.105"
    assert plate["shear far mm ±"] == "5.00 %"
    shown = wide.locator("#numbers tr", has_text="plate").first.locator("[data-col=value]")
    numbers = [one.replace(MINUS, "-") for one in shown.all_inner_texts()]
    assert numbers
    assert set(numbers) <= set(plate.values())


def test_the_table_of_results_is_saved_in_all_its_pages_as_it_is_filtered(wide: Page):
    number = wide.locator("#results").locator("xpath=ancestor::figure").get_attribute("id")
    assert wide.locator("#results tbody tr").count() < len(rows_of())  # a page of it is shown
    _, whole = saved(wide, f"#{number} .get")
    assert len(list(csv.DictReader(io.StringIO(whole)))) == len(rows_of()) + len(bounded_rows())
    wide.select_option("#filter-construct", "nail-10")
    wide.wait_for_timeout(200)
    _, text = saved(wide, f"#{number} .get")
    found = list(csv.DictReader(io.StringIO(text)))
    shown = [row for row in rows_of() if row["construct"] == "nail-10"]
    assert len(found) == len(shown)
    assert {row["construct"] for row in found} == {"nail-10"}


def test_no_cell_is_a_formula_in_a_sheet(browser: Browser, demo: dict[str, Any], tmp_path: Path):
    rows = [row | {"stage": f"=1+1 {HOSTILE}"} for row in rows_of()]
    study, out = write_set_beside(demo, tmp_path / "hostile", rows)
    table = out / "results.csv"  # of a stranger, who took our own guard away
    table.write_text(table.read_text(encoding="utf-8").replace("'=1+1", "=1+1"), encoding="utf-8")
    report_page(study, out, "gapstrain 0.0.9.", "For research only.")
    with opened_page(browser, out / "report.html", WIDE) as page:
        number = page.locator("#results").locator("xpath=ancestor::figure").get_attribute("id")
        _, text = saved(page, f"#{number} .get")
    stages = {row["stage"] for row in csv.DictReader(io.StringIO(text))}
    assert stages == {f"'=1+1 {HOSTILE}"}


def test_a_chart_is_saved_as_a_picture_of_its_own(wide: Page):
    name, text = saved(wide, "#figure-1 .get")
    assert name == "figure-1.svg"
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    said = "".join(root.itertext())
    assert "gap shear movement, far, mm" in said
    assert "0.105" in said


def luminance(page: Page, what: str, look: str) -> float:
    colour = page.locator(what).first.evaluate("(one, look) => getComputedStyle(one)[look]", look)
    red, green, blue = (int(part) / 255 for part in colour.split("(")[1].rstrip(")").split(", ")[:3])
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_and_charts_stand_out_by_day_and_by_night(browser: Browser, place: Path, scheme: str):
    """Ground on one side of the middle, what is written on the other; in charts and tables too."""
    with opened_page(browser, place, WIDE, color_scheme=scheme) as page:
        ground = luminance(page, "body", "backgroundColor")
        assert (ground < 0.2) == (scheme == "dark")
        looks = {"h1": "color", "figcaption": "color", "#results td": "color",
                 "#figure-1 text": "fill", "#figure-1 use[style*='1b5e8c']": "stroke"}  # fmt: skip
        for what, look in looks.items():
            assert abs(luminance(page, what, look) - ground) > 0.3, what
        inside = page.locator("div.dt-container").first
        assert inside.evaluate("one => getComputedStyle(one).backgroundColor") == "rgba(0, 0, 0, 0)"


def test_paper_shows_what_a_screen_folds_away(wide: Page):
    wide.emulate_media(media="print")
    folded = wide.locator("#doubts details li")
    assert folded.count() > 0
    assert all(one.is_visible() for one in folded.all())
    for what in ("#contents", ".get >> nth=0", "#results"):
        assert not wide.locator(what).is_visible()
    assert wide.locator(".always").is_visible()


def test_the_keyboard_begins_with_a_way_past_the_contents(wide: Page):
    wide.keyboard.press("Tab")
    assert wide.evaluate("document.activeElement.className") == "skip"
    box = wide.locator(".skip").bounding_box()
    assert box
    assert box["x"] >= 0
    outline = wide.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
