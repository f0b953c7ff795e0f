"""The page of claims: verdicts made up, numbers that are cells, names that are text, no request."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser
from playwright.sync_api import Page as Opened

from pipeline.output.report.claims import claims_page
from pipeline.storage.files import read_table, write_table
from pipeline.tables.judged import CLAIM_COLUMNS, FAILS, HOLDS, NOT_CHOSEN, NOT_JUDGED, OPEN
from tests.output.report.made_up import HOSTILE
from tests.output.report.opened import opened_page
from tests.output.report.reading import Page
from tests.runs import write_run

CHANGE: dict[str, Any] = {
    "sentence": "The plate lowers movement of the far cortex by 47 ± 5 %.",
    "source": "an invented paper, table 2", "kind": "change_percent", "construct": "nail-10-plate",
    "compared_with": "nail-10", "stage": "atrophic", "load": "hip", "quantity": "gap_movement",
    "location": "far", "what": "in words", "computed": -41.4834, "error": 2.28799, "stated": -47.0,
    "allowed": 5.0, "unit": "%", "result": FAILS, "reason": OPEN, "flags": "nail-10: gap strain 35 %",
}  # fmt: skip
BOUND = CHANGE | {
    "sentence": f"The nail is stressed less than 151.25 MPa. {HOSTILE}", "source": "",
    "kind": "less_than", "construct": "nail-10", "compared_with": "", "quantity": "von_mises_5mm3",
    "computed": 141.0895, "error": "", "stated": 151.25, "allowed": "", "unit": "MPa",
    "result": HOLDS, "reason": "", "flags": "",
}  # fmt: skip
AGAINST = BOUND | {
    "sentence": "It is stressed more than the plated one.", "kind": "greater_than",
    "compared_with": "nail-10-plate", "error": 10.44038, "stated": 98.76543,
}  # fmt: skip
EMPTY = {"computed": "", "error": "", "flags": ""}
LOST = BOUND | EMPTY | {"sentence": "Nobody ran this.", "result": NOT_JUDGED, "reason": "no such load"}
LEFT = AGAINST | EMPTY | {
    "sentence": "Not asked for here.", "stated": "", "result": NOT_CHOSEN, "reason": "not run",
}  # fmt: skip
ROWS = (CHANGE, BOUND, AGAINST, LOST, LEFT)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = write_run(tmp_path_factory.mktemp("judged") / "out")
    write_table(out / "claims.csv", ROWS, CLAIM_COLUMNS)
    assert claims_page(out, "gapstrain 0.0.9.", "For <research> only.") == out / "claims.html"
    return out


@pytest.fixture(scope="module")
def page(out: Path) -> Page:
    return Page((out / "claims.html").read_text(encoding="utf-8"))


def test_it_opens_with_how_many_claims_hold_and_which_are_open(page: Page):
    text = page.text
    assert (
        "Of 5 claims, 2 hold, 1 fails, 1 can not be judged, 1 is not in the subset. These numbers do "
        "not bear out claim 1. "
    ) in text
    assert "so that another mesh may judge otherwise: claim 1." in text
    order = ("For <research> only.", "Do the numbers", "Of 5 claims", CHANGE["sentence"], "Figure 1.",
             "A claim holds where", "Provenance Run with")  # fmt: skip
    first = [text.index(words) for words in order]
    assert first == sorted(first)


@pytest.mark.parametrize("row", ROWS)
def test_each_claim_has_its_words_source_verdict_and_construct(out: Path, row: dict[str, Any]):
    text = (out / "claims.html").read_text(encoding="utf-8")
    own = Page(text[text.index(f'id="claim-{ROWS.index(row) + 1}"') :].split("</tr>")[0]).text
    for name in ("sentence", "source", "result", "reason", "construct", "compared_with", "load"):
        assert str(row[name]) in own


def test_every_number_is_its_cell_and_what_is_claimed_keeps_its_digits(page: Page, out: Path):
    table = read_table(out / "claims.csv")
    shown = {(int(one["data-row"]), one["data-col"]): text for one, text in page.cells}
    for (row, column), text in shown.items():
        printed = float(text.replace("\N{MINUS SIGN}", "-"))
        assert printed == pytest.approx(float(table[row][column]), rel=5e-3)  # three digits
    assert shown[0, "stated"] == "\N{MINUS SIGN}47"
    assert shown[1, "stated"] == "151.25"  # of the paper
    assert shown[2, "stated"] == "98.8"  # of another construct
    assert {(row, "computed") for row in range(3)} <= shown.keys()
    assert not {(row, "computed") for row in (3, 4)} & shown.keys()


def test_charts_have_words_and_what_was_not_judged_is_in_none(page: Page):
    words = [one["aria-label"] for _, one in page.tags if one.get("role") == "img"]
    minus = "\N{MINUS SIGN}"
    assert words == [
        f"Found and claimed: change, %: claim 1 fails, {OPEN}, found {minus}41.5 ± 2.29, flagged, "
        f"claimed {minus}47 ± 5.",
        "Found and claimed: stress exceeded in 5 mm³, MPa: claim 2 holds, found 141, error not known, "
        "claimed less than 151.25; claim 3 holds, found 141 ± 10.4, claimed more than 98.8.",
    ]


def test_names_are_text_and_nothing_is_asked_for(page: Page):
    assert not page.every("img")
    assert not [found for _, found in page.tags for name in found if name.startswith("on")]
    assert page.text.count("$\\frac{1}{0}$") == 1
    places = [found[name] for _, found in page.tags for name in ("src", "href") if name in found]
    assert [place for place in places if not place.startswith("#")] == []
    policy = next(one for one in page.every("meta") if one.get("http-equiv"))["content"]
    assert "default-src 'none'" in policy


def test_a_table_of_someone_else_makes_a_page_all_the_same(tmp_path: Path):
    out = write_run(tmp_path / "out")
    odd = [CHANGE | {"computed": value, "error": -2, "allowed": -5} for value in ("nan", "x", "-3")]
    write_table(out / "claims.csv", odd, CLAIM_COLUMNS)
    assert claims_page(out, "gapstrain 0.0.9.", "For research only.")
    (words,) = [one["aria-label"] for _, one in Page((out / "claims.html").read_text()).tags
                if one.get("role") == "img"]  # fmt: skip
    assert words.startswith("Found and claimed: change, %: claim 3 ")


def test_a_flag_is_told_beside_its_claim_alone(page: Page):
    flags = [one for one in page.every("a") if one.get("class") == "flag"]
    assert [one["href"] for one in flags] == ["#doubt-1"]
    assert [one["data-flags"] for one in flags] == [CHANGE["flags"]]
    assert [found["id"] for _, found in page.tags if found.get("id", "").startswith("doubt-")] == [
        "doubt-1"
    ]


@pytest.fixture(params=[(390, "light"), (1440, "dark")], ids=str)
def opened(request: pytest.FixtureRequest, browser: Browser, out: Path) -> Iterator[Opened]:
    width, scheme = request.param
    place = out / "claims.html"
    with opened_page(browser, place, width, ready=".said", color_scheme=scheme) as one:
        yield one


@pytest.mark.slow
def test_in_a_browser_it_asks_for_nothing_fits_and_prints(opened: Opened):
    """`opened_page` holds it to that: no request, and no line of the console."""
    assert opened.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    flag, tip = opened.locator("table .flag"), opened.locator("#tip")
    flag.focus()
    assert tip.inner_text() == CHANGE["flags"]
    with opened.expect_download() as saved:
        opened.locator("[data-get=csv]").first.click()
    text = Path(saved.value.path()).read_text(encoding="utf-8-sig")
    assert "-41.5" in text
    assert "fails" in text
    opened.emulate_media(media="print")
    assert opened.locator(".always").is_visible()
    assert not opened.locator("#contents").is_visible()
    assert len(opened.pdf()) > 10_000
