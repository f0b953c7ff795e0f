"""Every number that a reader sees or hears, in cells, sentences and charts, is in a table."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.storage.files import read_table
from tests.output.exploring import write_explored
from tests.output.growing import some_curves, write_curves
from tests.output.report import large
from tests.output.report.made_up import bounded_rows, rows_of, write_set_beside
from tests.output.report.reading import Made, Page, made

ROOT = Path(__file__).parents[3]
FEW = (("gap_shear_movement", "far"), ("gap_shear_movement", "near"), ("von_mises_5mm3", "nail"))
TABLES = ("results", "comparisons", "design", "sensitivity", "published", "brackets", "cases",
          "curves", "robustness", "robustness_maps", "takeover", "assumptions")  # fmt: skip
MINUS = "\N{MINUS SIGN}"
NUMBER = re.compile(rf"{MINUS}?\d+(?:\.\d+)?(?:e[{MINUS}+-]?\d+)?")
ANY = re.compile(r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
# Where numbers stand that are no results, and why.
NO_RESULTS = {
    r"-[xy]tick_\d": "the scale of a chart's axis, which the chart chooses",
    r"\bMaterials\b": "constants of the program's materials, each with its source in the row",
    r"\borigin( quiet)?$": "versions of what ran the study and of what made the page",
}


def texts(content: Any) -> Iterator[str]:
    """All strings and numbers in a record, as text."""
    if isinstance(content, dict):
        for key, value in content.items():
            yield str(key)
            yield from texts(value)
    elif isinstance(content, list | tuple):
        for value in content:
            yield from texts(value)
    else:
        yield str(content)


def known(out: Path) -> list[float]:
    """All numbers in the tables and records of a run, those inside a cell's words too."""
    cells = [
        cell
        for name in TABLES
        if (out / f"{name}.csv").exists()
        for row in read_table(out / f"{name}.csv")
        for cell in row.values()
    ]
    for record in (out / "inputs.json", *out.glob("cases/*/summary.json")):
        cells += texts(json.loads(record.read_text(encoding="utf-8")))
    return sorted({float(found) for cell in cells for found in ANY.findall(cell)})


def printed(page: Page) -> Iterator[tuple[str, str]]:
    """Each visible number with a decimal point or a percent sign, and the text that it stands in."""
    for place, said in page.said:
        if any(re.search(pattern, place) for pattern in NO_RESULTS):
            continue
        text = " ".join(said.split())
        for found in NUMBER.finditer(text):
            if "." in found[0] or re.match(r"\s?%", text[found.end() :]):
                yield found[0], f"{place}: {text}"


def is_among(shown: str, values: list[float]) -> bool:
    """Whether a number is that of a table to the rounding that it is printed with."""
    text = shown.replace(MINUS, "-")
    mantissa, _, power = text.partition("e")
    half = 0.5001 * 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))
    return any(abs(value - float(text)) <= half for value in values)


@pytest.fixture(scope="module", params=["beside", "design"])
def run(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A study with measurements, bounds and explored inputs; another with a design, failures and flags.

    Both are small: among ten thousand numbers any number of three digits is found.
    """
    folder = tmp_path_factory.mktemp("numbers")
    if request.param == "design":
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(large, "MEASURED", FEW)
            return large.write_large(folder, points=6)
    demo = tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))
    study, out = write_set_beside(demo, folder / "out", [*rows_of(), *bounded_rows()])
    write_curves(out, some_curves())
    write_explored(out)
    return study, out


@pytest.fixture(scope="module")
def text(run: Made) -> str:
    return made(run)


def strangers(page: Page, out: Path) -> list[tuple[str, str]]:
    """Numbers that are in no table, and where they stand."""
    values = known(out)
    return [(number, where) for number, where in printed(page) if not is_among(number, values)]


def test_every_visible_number_is_in_a_table(text: str, run: Made):
    page = Page(text)
    assert len(list(printed(page))) > 100
    assert strangers(page, run[1]) == []


@pytest.mark.parametrize("words", ["{} %", "{}", 'x<b aria-label="about {} mm"></b>'])
def test_a_number_of_nowhere_is_found_out(text: str, run: Made, words: str):
    text = text.replace("<footer>", f"<footer>{words.format('38.2717')}")
    assert [number for number, _ in strangers(Page(text), run[1])] == ["38.2717"]


def test_no_exemption_is_idle(text: str):
    places = [place for place, _ in Page(text).said]
    assert all(any(re.search(one, place) for place in places) for one in NO_RESULTS)
