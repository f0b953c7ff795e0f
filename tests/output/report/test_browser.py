"""The page in a browser without a network: nothing is asked for, nothing fails, the table works."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from pipeline.output.report.page import report_page
from tests.made import row_of, write_run
from tests.output.report.made_up import bounded_rows, rows_of, study_of, write_fields, write_set_beside
from tests.output.report.opened import opened_page

pytestmark = pytest.mark.slow
SHOWS = (("atrophic", "hip"), ("woven", "torsion"), ("empty", "hip"))


@pytest.fixture
def place(demo: dict[str, Any], tmp_path: Path) -> Path:
    shear = ("gap_shear_movement", "far", "mm")
    other = row_of("plate", shear, 0.0271828, stage="woven", load="torsion")
    study, out = write_set_beside(demo, tmp_path / "out", [*rows_of(), *bounded_rows(), other])
    for folder in (out / "cases").iterdir():
        write_fields(folder, SHOWS, layers=39)
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


@pytest.mark.parametrize("width", [390, 1280])
def test_the_pager_says_where_one_is_and_goes_on(
    demo: dict[str, Any], tmp_path: Path, browser: Browser, width: int
):
    """By hand: 130 rows are six pages of 25, the last of five rows."""
    study = study_of(demo)
    sides = [(f"section_{k}", "far", "mm") for k in range(130)]
    rows = [row_of("plate", side, 1.0 + k) for k, side in enumerate(sides)]
    write_run(tmp_path, study, rows)
    place = report_page(study, tmp_path, "gapstrain 0.0.9.", "For research only.")
    with opened_page(browser, place, width) as page:
        pager, said = page.locator(".dt-paging"), page.locator(".dt-info")
        assert pager.locator("nav").bounding_box()["height"] < 60, "one line"
        assert pager.locator("button").all_inner_texts()[2:4] == ["1", "2"]
        assert said.inner_text() == "Rows 1 to 25 of 130, page 1 of 6"
        for name in ("Next", "Next", "Last"):
            pager.get_by_label(name).click()
        assert said.inner_text() == "Rows 126 to 130 of 130, page 6 of 6"
        assert pager.locator("[aria-current=page]").inner_text() == "6"
        assert page.locator("#results tbody tr").count() == 5


def test_the_table_of_measurements_sorts(page: Page):
    table = page.locator("#published table")
    table.locator("thead th", has_text="measured").first.click()
    page.wait_for_timeout(200)
    cells = table.locator("tbody td[data-order]:nth-child(4)").all()
    assert [cell.get_attribute("data-order") for cell in cells] == ["3.7", "9123.4", "more"]


@pytest.fixture
def view(page: Page) -> Page:
    """The page with the view that turns in the middle of the window."""
    page.locator("#turning").evaluate("one => one.scrollIntoView({ block: 'center' })")
    page.wait_for_selector("#turning[data-azimuth]")
    return page


def drawn(page: Page) -> None:
    """Wait until the view has drawn what it was asked for: it draws with the next frame."""
    page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def stands(page: Page) -> list[float]:
    """Azimuth, tilt and size of the view as it was last drawn."""
    drawn(page)
    return [
        float(page.get_attribute("#turning", f"data-{name}") or "nan")
        for name in ("azimuth", "tilt", "zoom")
    ]


def middle(page: Page) -> tuple[float, float]:
    box = page.locator("#turning").bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def pixels(page: Page) -> np.ndarray:
    """What the view shows, rows from the top, as red, green and blue."""
    drawn(page)
    picture = Image.open(BytesIO(page.locator("#turning canvas").screenshot()))
    return np.asarray(picture.convert("RGB")).astype(int)


def pink(page: Page) -> np.ndarray:
    """Rows and columns of the gap tissue, which alone is pink, as shares of the view."""
    red, green, blue = np.moveaxis(pixels(page), 2, 0)
    found = np.argwhere((red > 1.5 * green) & (blue > 1.2 * green))
    return found / np.array(red.shape)


def alt(page: Page) -> str:
    drawn(page)
    return page.get_attribute("#turning", "aria-label") or ""


def test_the_wheel_scrolls_the_page_and_with_ctrl_changes_the_size(view: Page):
    view.mouse.move(*middle(view))
    before, top = stands(view), view.evaluate("window.scrollY")
    view.mouse.wheel(0, 120)
    view.wait_for_timeout(300)
    assert view.evaluate("window.scrollY") == pytest.approx(top + 120, abs=2)
    assert stands(view) == before
    view.keyboard.down("Control")
    view.mouse.wheel(0, -120)
    view.keyboard.up("Control")
    assert stands(view)[2] > 1.1 * before[2]
    assert view.evaluate("window.scrollY") == pytest.approx(top + 120, abs=2)


def test_a_drag_turns_about_the_shaft_and_tilts_within_bounds(view: Page):
    x, y = middle(view)
    azimuth, tilt, zoom = stands(view)
    first = pixels(view)

    def drag(right: float, down: float) -> None:
        view.mouse.move(x, y)
        view.mouse.down()
        view.mouse.move(x + right, y + down, steps=5)
        view.mouse.up()

    drag(60, 0)
    assert stands(view) == [azimuth + 30, tilt, zoom]  # the shaft stays upright
    assert np.abs(pixels(view) - first).max() > 30
    drag(0, 20)
    assert stands(view) == [azimuth + 30, tilt + 10, zoom]
    drag(0, 250)
    assert stands(view)[1] == 85
    view.click("#reset")
    assert stands(view) == [azimuth, tilt, zoom]
    assert np.abs(pixels(view) - first).max() <= 2


def test_two_fingers_change_the_size(view: Page):
    x, y = middle(view)
    session, before = view.context.new_cdp_session(view), stands(view)

    def touch(kind: str, apart: float) -> None:
        points = [] if kind == "touchEnd" else [{"x": x - apart, "y": y}, {"x": x + apart, "y": y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    for kind, apart in (("touchStart", 30), ("touchMove", 45), ("touchMove", 60), ("touchEnd", 0)):
        touch(kind, apart)
    assert stands(view)[2] == pytest.approx(2 * before[2], rel=0.05)


def test_keys_turn_the_view_that_has_the_focus(view: Page):
    before, top = stands(view), view.evaluate("window.scrollY")
    view.locator("#turning").focus()
    for key, change in (
        ("ArrowRight", (15, 0, 0)), ("ArrowDown", (0, 15, 0)), ("+", (0, 0, 0.3)),
        ("ArrowLeft", (-15, 0, 0)), ("ArrowUp", (0, -15, 0)),
    ):  # fmt: skip
        start = stands(view)
        view.keyboard.press(key)
        assert stands(view) == pytest.approx([a + b for a, b in zip(start, change, strict=True)])
    view.keyboard.press("Home")
    assert stands(view) == before
    assert view.evaluate("window.scrollY") == top


def test_buttons_work_by_keyboard_and_the_words_follow(view: Page):
    for name in ("[data-field=stress]", "#half", "#near", "#left", "#above", "#larger"):
        view.locator(name).focus()
        view.keyboard.press("Enter")
    view.select_option("#solid-stage", "woven")
    view.select_option("#solid-load", "torsion")
    said = alt(view)
    for words in ("whole", "near the gap", "stage woven, load torsion", "colours show implant stress"):
        assert words in said
    assert "seen from anterior," in said
    assert view.locator("#half").get_attribute("aria-pressed") == "false"
    view.click("[data-field=strain]")
    assert "colours show tissue strain" in alt(view)


def test_the_legend_follows_what_is_shown(view: Page):
    legend = view.locator("#solid-legend")
    assert legend.inner_text().split("\n") == [
        "cortical bone", "tissue in the gap, stage atrophic", "nail, titanium",
    ]  # fmt: skip
    view.click("[data-field=stress]")
    assert "von Mises stress in the implants, MPa" in legend.inner_text()
    assert "above 112: the highest hundredth" in legend.inner_text()  # 100 + x, x up to 13
    assert "nail, titanium" not in legend.inner_text()
    view.click("[data-field=strain]")
    assert "octahedral shear strain of the tissue, %" in legend.inner_text()
    assert "implants, not coloured" in legend.inner_text()
    view.select_option("#solid-stage", "empty")
    assert "nothing is in the gap at stage empty" in legend.inner_text()


@pytest.mark.parametrize("cut", [True, False])
def test_near_the_gap_the_whole_gap_is_in_the_frame(view: Page, cut: bool):
    if not cut:
        view.click("#half")
    whole = pink(view)
    view.click("#near")
    for _ in range(8):  # all round, and the buttons keep it there
        found = pink(view)
        assert len(found) > 1.5 * len(whole)
        low, high = found.min(axis=0), found.max(axis=0)
        assert np.all(low > 0.02)
        assert np.all(high < 0.98)
        assert (low + high) / 2 == pytest.approx([0.5, 0.5], abs=0.12)
        if cut:
            break  # from behind the bone hides what is cut
        for _ in range(3):
            view.click("#right")


def test_choosers_change_colours_and_parts(view: Page):
    view.click("[data-field=stress]")
    first = pixels(view)
    legend = view.locator("#solid-legend")
    assert "112" in legend.inner_text()
    view.select_option("#solid-stage", "woven")  # woven under hip is not stored
    assert "no fields are stored here of stage woven under load hip" in legend.inner_text()
    assert np.abs(pixels(view) - first).max() > 50
    view.select_option("#solid-load", "torsion")
    assert "1120" in legend.inner_text()  # ten times as much, as it was written
    assert np.abs(pixels(view) - first).max() <= 5  # of a range ten times as wide
    view.click("[data-field=parts]")
    assert len(pink(view)) > 100
    view.select_option("#solid-stage", "empty")
    assert len(pink(view)) == 0
    assert "no tissue in the gap" in legend.inner_text()


def test_the_view_follows_the_scheme(view: Page):
    view.click("[data-field=stress]")
    view.click("#near")
    light = pixels(view)
    view.emulate_media(color_scheme="dark")
    dark = pixels(view)
    assert light[-5, -5].min() > 240
    assert dark[-5, -5].max() < 60
    x, y = (np.array(light.shape[1::-1]) / 2).astype(int)
    bone = (int(1.3 * y), x)  # below the gap
    assert dark[bone].max() < light[bone].max() - 40


def test_a_browser_that_can_not_draw_says_so(browser: Browser, place: Path):
    with browser.new_page() as blind:
        blind.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
        blind.goto(place.as_uri())
        assert "it has no WebGL 2: the pictures below" in blind.inner_text("#turning")
        assert not blind.locator("#half").is_visible()


def test_a_chosen_stage_and_load_changes_the_charts(view: Page):
    def shown() -> tuple[str, list[str]]:
        words = view.locator("#charts figure div[role=img]")
        return view.inner_text("#charts-shown"), [
            one.get_attribute("aria-label") or "" for one in words.all()
        ]

    first = shown()
    assert first[0] == "Stage atrophic and load hip"
    view.select_option("#chart-stage", "woven")
    assert view.locator("#charts-none").is_visible()  # nothing was solved under hip
    view.select_option("#chart-load", "torsion")
    assert not view.locator("#charts-none").is_visible()
    title, words = shown()
    assert title == "Stage woven and load torsion"
    assert any("At stage woven, load torsion." in one and "plate 0.0272 mm" in one for one in words)
    assert not any("nail-10" in one for one in words)
    view.select_option("#chart-stage", "atrophic")
    view.select_option("#chart-load", "hip")
    assert shown() == first
    ids = view.evaluate("[...document.querySelectorAll('#charts [id]')].map(one => one.id)")
    assert len(ids) == len(set(ids))
    assert view.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0


def test_it_prints_without_what_only_a_screen_can_do(page: Page):
    page.emulate_media(media="print")
    assert not page.locator("#turning").is_visible()
    assert not page.locator("nav[aria-label=Contents]").is_visible()
    assert not page.locator("#results").is_visible()  # all of it is in results.csv
    assert page.locator(".opening svg").is_visible()
    assert len(page.pdf()) > 10_000
