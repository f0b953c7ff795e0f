"""The page: every number is a cell, every name is text, nothing is loaded, nothing is promised."""

from __future__ import annotations

import json
import re
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from pipeline.output.report.page import report_page
from pipeline.storage.casebook import SUMMARY, folder_of
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from tests.made import address_of, reseal, row_of, write_run
from tests.output.report.made_up import HOSTILE, NAMES, rows_of, study_of, write_fields
from tests.output.report.reading import Made, Page, made

ROOT = Path(__file__).parents[3]
SECTIONS = ["answer", "constructs", "charts", "numbers", "pairs", "doubts", "grounds", "origin"]


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A run without faults that several tests read and none changes."""
    demo = tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))
    demo["question"]["quantity"] = "gap_shear_movement"  # which made-up rows have
    study = parse_study(demo, "demo")
    return study, write_run(tmp_path_factory.mktemp("sound") / "out", study, rows_of())


@pytest.fixture(scope="module")
def page(sound: Made) -> Page:
    return Page(made(sound))


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> Made:
    study = study_of(demo)
    return study, write_run(tmp_path / "out", study, rows_of())


def test_every_number_is_the_cell_that_it_names(page: Page, sound: Made):
    tables = {name: read_table(sound[1] / f"{name}.csv") for name in ("results", "comparisons")}
    assert len(page.cells) > 3 * len(tables["results"])
    for found, text in page.cells:
        raw = tables[found["data-table"]][int(found["data-row"])][found["data-col"]]
        if not raw:
            assert text == ""
            continue
        printed = float(text.replace("\N{MINUS SIGN}", "-"))
        assert printed == pytest.approx(float(raw), rel=5e-3)  # definition of three digits


def test_the_answer_and_the_main_table_show_the_primary_outcome(page: Page, sound: Made):
    rows = read_table(sound[1] / "results.csv")
    for number, row in enumerate(rows):
        if (row["quantity"], row["location"]) == ("gap_shear_movement", "far"):
            address = {"data-table": "results", "data-row": str(number), "data-col": "value"}
            places = [found for found, _ in page.cells if address.items() <= found.items()]
            assert len(places) == 3  # chart, main table, table of results: definition


def test_the_implant_stress_is_that_of_the_most_loaded_part(sound: Made):
    """Of the nail, 297.62 MPa, not of its bolt, 225.1 MPa: definition of the highest."""
    text = made(sound)
    main = Page(text[text.index('aria-label="Main results"') : text.index('id="results"')])
    printed = [text for _, text in main.cells]
    assert [value for value in ("298", "208", "761") if value in printed] == ["298", "208", "761"]
    assert "225" not in printed


def test_sections_come_in_their_order_under_one_heading(page: Page):
    ids = [found["id"] for _, found in page.tags if found.get("id") in SECTIONS]
    assert ids == SECTIONS  # definition
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels.count(1) == 1
    assert all(below - above <= 1 for above, below in pairwise(levels))


def test_undecided_pairs_are_said_in_words(page: Page):
    """1.1234 ± 4 % and 1.0877 ± 3 % overlap, 0.105 ± 5 % does not: by hand."""
    text = page.text
    assert (
        "Undecided, since the errors are larger than the difference: nail-10 and exchange-nail-12."
        in text
    )
    assert "In 2 of 3 pairs the difference exceeds both errors of the mesh in sum: " in text
    assert "nail-10 is higher than plate" in text


def test_words_for_the_blind_tell_what_is_drawn(demo: dict[str, Any], tmp_path: Path):
    """A singular value has no mark, and the bone alone has no place in the overview."""
    study = study_of(demo)
    rows = rows_of()
    rows[0] |= {"mesh": "three meshes: singular, do not quote"}
    out = write_run(tmp_path / "out", study, [*rows, row_of("intact", ("q", "far", "mm"), 1.0)])
    record = folder_of(out, address_of("intact")) / SUMMARY
    bone = json.loads(record.read_text()) | {
        "parts": [{"name": "c", "role": "cortex", "material": "b"}]
    }
    record.write_text(json.dumps(bone))
    reseal(record.parent)
    text = made((study, out))
    assert (
        "Gap shear movement, far: nail-10 singular; exchange-nail-12 1.09 mm; plate 0.105 mm." in text
    )
    assert "3 constructs side by side" in text
    assert "under load hip: nail-10, exchange-nail-12, plate." in text


def test_without_errors_nothing_is_said_to_differ(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo)
    text = Page(made((study, write_run(tmp_path / "out", study, rows_of(errors=False))))).text
    assert "In 3 of 3 pairs the error is not known" in text
    assert "exceeds both errors of the mesh" not in text


def test_a_failed_case_says_why_and_is_in_no_chart(demo: dict[str, Any], tmp_path: Path):
    study, why = study_of(demo), "the nail is wider than the canal"
    out = write_run(tmp_path / "out", study, rows_of(NAMES[:2]), failed={"plate": why})
    page = Page(made((study, out)))
    assert "2 ok, 1 failed" in page.text
    assert f"plate: {why}" in page.text
    assert not any("plate" in found.get("aria-label", "") for _, found in page.tags)


def test_hostile_names_come_out_as_text(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, title=HOSTILE, question={"text": f"=1+1 {HOSTILE}"})
    what = ("gap_shear_movement", "far", "mm")
    rows = [row | {"flags": HOSTILE} for row in rows_of()]
    rows.append(row_of(HOSTILE, what, 0.7) | {"stage": HOSTILE, "quantity": HOSTILE})
    rows.append(row_of(HOSTILE, what, 0.8))
    clean = made((study_of(demo), write_run(tmp_path / "clean", study_of(demo), rows_of())))
    text = made((study, write_run(tmp_path / "out", study, rows, failed={"x-1": HOSTILE})))
    page = Page(text)
    assert len(page.every("script")) == len(Page(clean).every("script"))
    assert not [found for _, found in page.tags for name in found if name.startswith("on")]
    assert not [found for found in page.every("img") if found["src"] == "x"]
    assert page.text.count("$\\frac{1}{0}$") > 5
    assert "For <research> only." in page.text


def test_the_page_asks_for_nothing_from_elsewhere(page: Page):
    places = [
        found[name] for _, found in page.tags for name in ("src", "href", "xlink:href") if name in found
    ]
    assert [place for place in places if not place.startswith(("#", "data:image/"))] == []
    policy = next(one for one in page.every("meta") if one.get("http-equiv"))["content"]
    assert "default-src 'none'" in policy
    assert "http" not in policy


def test_paper_repeats_the_caution_and_no_text_ends_the_style(sound: Made):
    hostile = 'no "device"</style>\\n'
    text = report_page(*sound, "gapstrain 0.0.9.", hostile).read_text(encoding="utf-8")
    (said,) = re.findall(r"@bottom-left \{ content: (.*); \} \}", text)
    letters = re.findall(r"\\([0-9a-f]{6})", said)
    assert said == '"' + "".join(f"\\{letter}" for letter in letters) + '"'
    assert "".join(chr(int(letter, 16)) for letter in letters) == hostile
    assert text.count("</style>") == 1 + text.count("<style type=")  # those of charts besides


def test_what_is_not_text_has_words(page: Page):
    assert page.every("html") == [{"lang": "en"}]
    assert all(found["alt"] for found in page.every("img"))
    assert all(found["aria-label"] for _, found in page.tags if found.get("role") == "img")
    labelled = {found["for"] for found in page.every("label")}
    assert {found["id"] for found in page.every("select")} <= labelled
    assert "nail-10 1.12 mm" in " ".join(found.get("aria-label", "") for _, found in page.tags)


def test_pictures_are_made_small_and_strangers_left_out(run: Made):
    whole = len(made(run))
    (run[1] / "figures" / "overview.png").write_bytes(b"no picture")
    text = made(run)
    assert Page(text).every("img") == []
    assert whole - len(text) < 100_000


def test_a_location_that_is_not_there_is_said(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, question={"quantity": "load_point_stiffness", "location": "shaft"})
    text = Page(made((study, write_run(tmp_path / "out", study, rows_of())))).text
    assert "No construct has this result. It is read at: load_point; correct question.location." in text


def test_a_study_without_a_gap_says_that_nothing_answers(bench_study: str, tmp_path: Path):
    study = parse_study(tomllib.loads(bench_study), "tubes")
    what = ("load_point_stiffness", "load_point", "N/mm")
    rows = [
        row_of("thin", what, 5000.0) | {"site": "", "gap_mm": "", "stage": "empty", "load": "pull"},
        row_of("thick", what, 9000.0) | {"stage": "empty", "load": "pull", "quantity": "",
         "location": "", "value": "", "status": "failed", "reason": "thick can move freely"},
    ]  # fmt: skip
    page = Page(made((study, write_run(tmp_path / "out", study, rows))))
    assert "No construct has this result." in page.text
    assert "thick, stage empty: thick can move freely" in page.text


def test_a_large_table_is_cut_and_says_so(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo)
    more = [row_of("plate", ("tissue_pressure", f"p{n}", "MPa"), 0.1 * n) for n in range(2600)]
    page = Page(made((study, write_run(tmp_path / "out", study, [*rows_of(), *more]))))
    text = page.text
    shown = len({found["data-row"] for found, _ in page.cells})
    assert "rows: the headline quantities. results.csv beside this page has all." in text
    assert shown < 100


def test_surfaces_of_stored_fields_are_in_the_page(run: Made):
    for folder in (run[1] / "cases").iterdir():
        write_fields(folder)
    text = made(run)
    assert 'id="turning"' in text
    assert text.index('id="solids"') < text.index("const scene =")
    assert len(text) < 20_000_000


FORBIDDEN = re.compile(
    r"\b(recommend\w*|should be treated|heals?|will heal|healed|best|superior|winner|optimal|advis\w+"
    r"|prefer(red|able)?)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("place", ["pipeline/output/report", "pipeline/output/templates"])
def test_no_sentence_promises_or_advises(place: str):
    files = [path for path in (ROOT / place).iterdir() if path.suffix in (".py", ".html")]
    assert files
    for path in files:
        found = FORBIDDEN.findall(path.read_text(encoding="utf-8"))
        assert not found, f"{path.name}: {found}"
