"""The first screen in words: values with errors, what is decided, over which inputs, doubts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.output.report.answer import Answer, answer_of
from pipeline.output.report.doubts import doubts_in
from pipeline.output.report.run import ReportedRun
from tests.made import Row, row_of, write_run
from tests.output.exploring import write_explored
from tests.output.report.made_up import rows_of, study_of
from tests.output.report.reading import Made, Page, made

SHEAR = ("gap_shear_movement", "far", "mm")
STRAIN = "gap strain 35 % (closing, at the rim), beyond small strains"
PULLED = "bonded gap tissue is pulled"


def doubtful() -> list[Row]:
    """All rows of the plate are flagged, and one of them twice."""
    rows = [row | ({"flags": STRAIN} if row["construct"] == "plate" else {}) for row in rows_of()]
    last = max(number for number, row in enumerate(rows) if row["construct"] == "plate")
    rows[last] |= {"flags": f"{STRAIN}; {PULLED}"}
    return rows


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> Made:
    study = study_of(demo)
    return study, write_run(tmp_path / "out", study, doubtful())


def answered(run: Made) -> Answer:
    return answer_of(ReportedRun(*run), None)


def test_it_says_values_then_differences_then_inputs(run: Made):
    """Two pairs are apart by more than both errors, 4 % and 3 % of 1.1 mm are not: by hand."""
    said = [sentence.replace("\N{NO-BREAK SPACE}", " ") for sentence in answered(run).said]
    assert said == [
        "Gap shear movement, far, is 1.12 mm ± 4.00 % with nail-10; 1.09 mm ± 3.00 % with "
        "exchange-nail-12; 0.105 mm ± 5.00 % with plate.",
        "In 2 of 3 pairs the difference exceeds both errors of the mesh in sum: nail-10 is higher than "
        "plate; exchange-nail-12 is higher than plate.",
        "Undecided, since the errors are larger than the difference: nail-10 and exchange-nail-12.",
        "This is at the inputs as stated; over which others it holds was not computed.",
    ]


def test_sampled_inputs_say_over_which_share_it_holds(run: Made):
    write_explored(run[1])
    assert answered(run).said[-1] == (
        "Over 10000 combinations of the stated ranges of inputs, plate is lower than nail-10 in "
        "97.2 %, higher in 0 %, undecided in 2.8 %; exchange-nail-12 is lower than nail-10 in 31.4 %, "
        "higher in 12.9 %, undecided in 55.7 %; plate is lower than exchange-nail-12 in 99.98 %, "
        "higher in 0 %, undecided in 0.02 %. A share of combinations is not the chance of anything."
    )


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"error": 250.0}, "± over 100 % with"),
        ({"error": None}, "(error not known) with"),
        ({"mesh": "three meshes: singular, do not quote"}, "singular, not to be quoted with"),
    ],
)
def test_what_an_error_can_not_say_is_said(
    demo: dict[str, Any], tmp_path: Path, more: dict[str, Any], words: str
):
    study, rows = study_of(demo), rows_of()
    rows[0] |= more
    said = answered((study, write_run(tmp_path / "out", study, rows))).said[0]
    assert words in said.replace("\N{NO-BREAK SPACE}", " ")


def test_of_many_constructs_the_ends_are_said(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo)
    rows = [row_of(f"nail-{n}", SHEAR, 1.0 + 0.25 * n, error=1.0) for n in range(9)]
    said = answered((study, write_run(tmp_path / "out", study, rows))).said
    assert (
        said[0] == "Gap shear movement, far, is 1.00 to 3.00 mm over 9 constructs; the chart has each."
    )
    assert said[1] == "In 36 of 36 pairs the difference exceeds both errors of the mesh in sum."


def test_a_flagged_value_is_named_linked_and_drawn_open(run: Made):
    answer = answered(run)
    assert answer.doubted == {"plate": STRAIN}
    (chart,) = answer.opening
    assert "plate 0.105 mm, flagged." in chart.words
    assert chart.note.endswith("Open marks are flagged.")
    assert chart.svg.count("†") == 1
    page = Page(made(run))
    whose = [found for found in page.every("a") if found.get("class") == "whose"]
    assert [found["data-flags"] for found in whose] == [STRAIN]
    ids = {found.get("id") for _, found in page.tags}
    assert {found["href"].removeprefix("#") for found in page.every("a")} <= ids


def test_without_flags_nothing_is_marked(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo)
    text = made((study, write_run(tmp_path / "out", study, rows_of())))
    page = Page(text)
    assert not [found for found in page.every("a") if found.get("class") in ("flag", "whose")]
    assert "Open marks" not in text
    assert "No row is flagged." in page.text


def test_flags_are_counted_in_words(run: Made):
    rows = [row for row in doubtful() if row["construct"] == "plate"]
    read = ReportedRun(*run)
    found = doubts_in(read.first, read.constructs, "flags")
    assert list(found) == ["plate"]
    assert (found["plate"].flagged, found["plate"].rows) == (len(rows), len(rows))
    assert found["plate"].flags == {STRAIN: len(rows), PULLED: 1}
    text = Page(made(run)).text
    assert f"plate: {len(rows)} of {len(rows)} rows are flagged" in text
    assert f"1 of {len(rows)} rows: {PULLED}" in text


def test_a_flag_stands_on_its_row_in_words(run: Made):
    page = Page(made(run))
    flags = [found for found in page.every("a") if found.get("class") == "flag"]
    own = [found for found in flags if found["href"].startswith("#flags-")]
    assert len(own) == 1  # of the main table
    assert own[0]["aria-label"] == f"flagged: {STRAIN}"
    assert len(flags) == 3  # and of the two pairs that the plate is in


def test_figures_and_tables_are_numbered_in_their_order(run: Made):
    write_explored(run[1])
    page = Page(made(run))
    for kind in ("figure", "table"):
        ids = [found["id"] for found in page.every("figure") if found["id"].startswith(kind)]
        assert ids == [f"{kind}-{number}" for number in range(1, len(ids) + 1)]
        assert len(ids) > 5
    assert len(page.every("table")) == len([one for one in page.every("button")
                                            if one.get("data-get") == "csv"])  # fmt: skip
    drawn = [found for found in page.every("svg") if found.get("viewbox")]
    assert len(drawn) == len([one for one in page.every("button") if one.get("data-get") == "svg"])
