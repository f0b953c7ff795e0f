"""Sections of explored inputs: absent without their files, true to them, and nothing is ranked."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import StudyError
from pipeline.measures import exploring
from pipeline.measures.columns import COLUMNS
from pipeline.measures.dictionary import QUANTITIES
from pipeline.output.report.assumed import assumed_of
from pipeline.output.report.cells import MINUS
from pipeline.output.report.charts import Chart
from pipeline.output.report.robust import change_in_words, robustness_of
from pipeline.output.report.run import ReportedRun
from pipeline.output.report.takeover import CAUTION, part_of, takeover_of
from pipeline.storage.files import read_table, write_table
from pipeline.sweeps.sensitivity import INDICES
from pipeline.tables.known import look_through
from tests.made import Row, write_run
from tests.output.exploring import (
    FLIP,
    MODULI,
    PAIRS,
    SOFT,
    assumption_row,
    assumption_rows,
    map_rows,
    pair_row,
    some_takeover,
    takeover_rows,
    write_explored,
)
from tests.output.report.made_up import HOSTILE, rows_of, study_of
from tests.output.report.reading import Made, Page, made

SECTIONS = {"inputs": exploring.ROBUSTNESS, "takeover": exploring.TAKEOVER,
            "reversed": exploring.ASSUMPTIONS}  # fmt: skip
TABLES = (*SECTIONS.values(), exploring.ROBUSTNESS_MAPS)


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> Made:
    demo["question"]["quantity"] = "gap_shear_movement"  # which made-up rows have
    study = study_of(demo)
    out = write_run(tmp_path / "out", study, rows_of())
    write_explored(out)
    return study, out


def rewrite(run: Made, table: str, rows: list[Row]) -> ReportedRun:
    columns = {
        exploring.ROBUSTNESS: exploring.ROBUSTNESS_COLUMNS,
        exploring.ROBUSTNESS_MAPS: exploring.ROBUSTNESS_MAP_COLUMNS,
        exploring.TAKEOVER: exploring.TAKEOVER_COLUMNS,
        exploring.ASSUMPTIONS: exploring.ASSUMPTION_COLUMNS,
        exploring.ASKED: exploring.ASKED_COLUMNS,
    }
    write_table(run[1] / table, rows, columns[table])
    return ReportedRun(*run)


def titled(charts: list[Chart], words: str) -> Chart:
    (found,) = [chart for chart in charts if words in chart.title]
    return found


@pytest.mark.parametrize("left", [*SECTIONS, None])
def test_a_section_is_there_if_its_file_is(run: Made, left: str | None):
    for name, table in SECTIONS.items():
        if name != left:
            (run[1] / table).unlink()
    page = Page(made(run))
    ids = {found.get("id") for _, found in page.tags}
    links = {found.get("href") for found in page.every("a")}
    assert ids & set(SECTIONS) == ({left} if left else set())
    assert {f"#{name}" for name in SECTIONS} & links == ({f"#{left}"} if left else set())


def test_sections_follow_the_comparisons(run: Made):
    ids = [found["id"] for _, found in Page(made(run)).tags if "id" in found]
    order = [name for name in ids if name in {"pairs", "doubts", *SECTIONS}]
    assert order == ["pairs", *SECTIONS, "doubts"]


def test_every_cell_prints_what_it_names(run: Made):
    tables = {table.removesuffix(".csv"): read_table(run[1] / table) for table in TABLES}
    seen = set()
    for found, text in Page(made(run)).cells:
        name = found["data-table"]
        if name in tables:
            raw = tables[name][int(found["data-row"])][found["data-col"]]
            printed = float(text.replace(MINUS, "-"))
            assert printed == pytest.approx(float(raw), rel=5e-3, abs=0.05)  # a tenth of a percent
            seen.add((name, found["data-col"]))
    assert {("robustness", "a_lower_percent"), ("robustness", "uncovered"), ("takeover", "value"),
            ("takeover", "tissue_modulus_mpa"), ("assumptions", "effect_percent")} <= seen  # fmt: skip


def test_the_first_pair_is_said_in_a_sentence(run: Made):
    found = robustness_of(ReportedRun(*run))
    assert found
    assert found.sentences[0] == (
        "Over 10000 combinations of the stated inputs, gap shear movement (far) of plate is lower than "
        "that of nail-10 in 97.2 ± 0.3 %, higher in 0 %, undecided in 2.8 %. Combinations that the "
        "reduced model does not cover: 17. Of all inputs, tissue_modulus_mpa explains most of the "
        "difference, a share of 0.716. Nearest change that turns the order: tissue_modulus_mpa from "
        "1.7 to 7.43, weight_factor from 1 to 1.31. Full model: 1.234 and 1.229 mm."
    )
    assert "undecided in 55.7 ± 0.3 %" in found.sentences[1]  # the error is the largest share's
    assert found.sentences[1].endswith("No change that turns the order was found.")
    assert "lower than that of exchange-nail-12 in 99.98 ± 0.3 %" in found.sentences[2]  # not all
    assert found.sentences[2].endswith("No combination turns the order.")


def test_a_search_that_was_ended_is_not_taken_for_one_that_found_nothing(run: Made):
    row = pair_row("plate", "nail-10", (40.0, 20.0, 40.0)) | {
        "flip_confirmed": "not looked for to its end: it took longer than the 3 s that it may take"
    }
    found = robustness_of(rewrite(run, exploring.ROBUSTNESS, [row]))
    assert found
    assert found.sentences[0].endswith(
        "What turns the order was not looked for to its end: it took longer than the 3 s that it may "
        "take."
    )
    assert "was found" not in found.sentences[0]


def test_what_was_asked_and_not_answered_is_listed_with_its_reason(run: Made):
    told = {"construct": "plate", "against": "", "status": "ok", "reason": ""}
    failed = told | {"construct": "nail-10", "status": "failed", "reason": "it took <too> long"}
    rewrite(run, exploring.ASKED, [told])
    assert "not answered" not in Page(made(run)).text
    rewrite(run, exploring.ASKED, [told, failed, failed | {"against": "plate"}])
    text = Page(made(run)).text
    assert "Asked for besides the results and not answered" in text
    assert "nail-10: it took <too> long" in text
    assert "nail-10 against plate: it took <too> long" in text


def test_the_primary_outcome_comes_first_and_alone_has_sentences(run: Made):
    found = robustness_of(ReportedRun(*run))
    assert found
    assert [row["quantity"] for row in found.rows] == [*["gap_shear_movement"] * 3, "rim_strain"]
    assert len(found.sentences) == 3
    stacked = titled(found.charts, "How often")
    assert "plate against nail-10 lower 97.2 %, undecided 2.8 %, higher 0 %" in stacked.words


def test_without_the_primary_outcome_there_is_only_a_table(run: Made):
    (row,) = [pair_row("plate", "nail-10", (1.0, 2.0, 97.0), load="torsion")]
    found = robustness_of(rewrite(run, exploring.ROBUSTNESS, [row]))
    assert found
    assert (found.sentences, found.charts, len(found.rows)) == ([], [], 1)
    assert "No pair has the primary outcome." in Page(made(run)).text


def test_long_tables_are_cut_and_say_so(run: Made):
    pairs = [pair_row(f"a{n}", "b", (50.0, 40.0, 10.0)) for n in range(43)]
    rewrite(run, exploring.ROBUSTNESS, pairs)
    rewrite(run, exploring.ASSUMPTIONS, [assumption_row(float(n)) for n in range(57)])
    text = Page(made(run)).text
    assert "… and 31 more pairs; robustness.csv" in text
    assert "… and 3 more rows; robustness.csv" in text
    assert "… and 17 more rows; assumptions.csv beside this page has all 57." in text


def test_maps_are_those_of_the_first_pair(run: Made):
    found = robustness_of(ReportedRun(*run))
    assert found
    tissue, cone = titled(found.charts, "stiffness of"), titled(found.charts, "direction of")
    assert "at 0.100 MPa lower 98.5 %, undecided 1.5 %, higher 0 %" in tissue.words
    assert "at 20000 MPa lower 44.5 %" in tissue.words  # 98.5 - 9 * 6: by hand
    # 60.5 - x - 2 y is least at (4, 7.5), whose neighbour at (8, 7.5) is missing, most at (-8, -7.5)
    assert (
        f"at 4.00 deg medially and 7.50 deg anteriorly lower 41.5 %, undecided 47.0 %, higher 11.5 %; "
        f"at {MINUS}8.00 deg medially and {MINUS}7.50 deg anteriorly lower 83.5 %" in cone.words
    )
    other = rewrite(run, exploring.ROBUSTNESS_MAPS, map_rows("plate", "exchange-nail-12"))
    found = robustness_of(other)
    assert found
    assert len(found.charts) == 1


def test_without_maps_the_shares_still_stand(run: Made):
    (run[1] / exploring.ROBUSTNESS_MAPS).unlink()
    found = robustness_of(ReportedRun(*run))
    assert found
    assert len(found.charts) == 1


def test_a_change_in_words():
    assert change_in_words(FLIP) == "tissue_modulus_mpa from 1.7 to 7.43, weight_factor from 1 to 1.31"
    assert change_in_words("anything else") == "anything else"


def test_charts_of_the_takeover_tell_where_curves_begin_and_end(run: Made):
    found = takeover_of(ReportedRun(*run))
    assert found
    assert [chart.title for chart in found.charts] == [
        "Gap movement, far", "Rim strain, closing", "Share of the axial force, tissue",
        "Share of the axial force, nail", "Share of the axial force, plate",
        "Highest stress exceeded in 5 mm³",
    ]  # fmt: skip
    # 2.1 / 0.6 less what the tissue takes, 0.1 of 180.1 and 20000 of 20180: by hand
    words = "nail-10 from 3.50 mm at 0.100 MPa to 0.0312 mm at 20000 MPa; plate from"
    assert words in found.charts[0].words  # order of the study, not of the file


def test_the_stress_is_that_of_the_most_loaded_implant_at_each_modulus(run: Made):
    """The nail's 310.7 / 0.6 × 1.1 at first, and at the end 225.1 of the bolt: by hand."""
    found = takeover_of(ReportedRun(*run))
    assert found
    chart = found.charts[-1]
    assert "nail-10 from 569 MPa at 0.100 MPa to 225 MPa at 20000 MPa" in chart.words
    assert "titanium: endurance" in chart.svg
    assert CAUTION in chart.note


def test_the_takeover_says_never_and_cautions(run: Made):
    page = Page(made(run))
    own = page.text[page.text.index("Where the tissue first carries half") :]
    assert re.match(r".{0,120}nail-10 ?hip ?181 ?plate ?hip ?never in this range", own)
    assert CAUTION in own


def test_ladders_stand_at_the_moduli_next_to_powers_of_ten(run: Made):
    found = takeover_of(ReportedRun(*run))
    assert found
    assert [float(cell.raw) for cell in found.forces.moduli] == list(MODULI)
    lines = dict(found.forces.lines)
    assert list(lines) == [(name, part) for name in ("nail-10", "plate")
                           for part in ("nail", "plate", "tissue")]  # fmt: skip
    entries = lines["plate", "tissue"]
    at = {float(one["tissue_modulus_mpa"]): float(one["value"]) for one in entries if one}
    assert at[97.3] == pytest.approx(-1000 * 97.3 / (97.3 + 300 * 1.7), rel=1e-6)  # what was written
    assert [words for words, _ in found.weights.lines] == [
        (name, "hip", "% of body weight") for name in ("nail-10", "plate")
    ]


def test_points_that_one_construct_lacks_stay_empty(run: Made):
    rows = [*takeover_rows("nail-10", 0.6, 181.3), *takeover_rows("plate", 1.7, "", MODULI[:3])]
    found = takeover_of(rewrite(run, exploring.TAKEOVER, rows))
    assert found
    entries = dict(found.forces.lines)["plate", "nail"]
    assert [one is None for one in entries] == [False] * 3 + [True] * 4


def test_another_load_is_shown_only_if_the_asked_one_is_missing(run: Made):
    rows = [*takeover_rows("plate", 1.7, "", load="walking"), *some_takeover()]
    found = takeover_of(rewrite(run, exploring.TAKEOVER, rows))
    assert found
    assert found.load == "hip"
    assert {row["load"] for row in found.halves} == {"hip", "walking"}
    found = takeover_of(rewrite(run, exploring.TAKEOVER, rows[: len(rows) // 3]))
    assert found
    assert found.load == "walking"


def test_assumptions_come_by_quantity_then_size(run: Made):
    found = assumed_of(ReportedRun(*run))
    assert found
    assert [row["effect_percent"] for row in found.rows] == ["-44.6", "3.21", "", "91.7"]
    assert found.more == 0
    assert len(assumption_rows()) == found.count


def test_flags_of_rows_stand_beside_their_numbers_and_an_earlier_table_has_none(run: Made):
    """By hand: values at 0.1 and 0.83 MPa are flagged, of each construct at both; one half, at 0.7."""
    pair = pair_row(*PAIRS[0], flags="a: gap strain 35 %; b: nail touches")
    rewrite(run, exploring.ROBUSTNESS, [pair])
    rewrite(run, exploring.ASSUMPTIONS, [assumption_row(3.0, flags="nail touches")])
    half = takeover_rows("intact", 1.0, 0.7, ())
    rewrite(run, exploring.TAKEOVER, [*half, *some_takeover()])
    text = made(run)

    def told(section: str) -> list[str]:
        own = Page(text[text.index(f'<section id="{section}"') :].split("</section>")[0])
        return [one["data-flags"] for one in own.every("a") if one.get("class") == "flag"]

    assert told("inputs") == ["a: gap strain 35 %; b: nail touches"]
    assert told("reversed") == ["nail touches"]
    flagged = [row for row in some_takeover() if row["flags"]]
    tables = [row for row in flagged if row["quantity"] in ("signed_force_at_gap", "weight_share")]
    assert told("takeover") == [SOFT] * (1 + len(tables))
    assert "Dotted stretches" in text
    for name, columns in (
        (exploring.ROBUSTNESS, exploring.ROBUSTNESS_COLUMNS),
        (exploring.TAKEOVER, exploring.TAKEOVER_COLUMNS),
        (exploring.ASSUMPTIONS, exploring.ASSUMPTION_COLUMNS),
    ):
        rows = read_table(run[1] / name)
        write_table(run[1] / name, rows, [one for one in columns if one != "flags"])
    look_through(run[1])
    text = made(run)
    assert not [found for one in ("inputs", "reversed", "takeover") for found in told(one)]
    assert "Dotted stretches" not in text


def test_every_chart_has_words_and_a_name(run: Made):
    page = Page(made(run))
    robustness, takeover = robustness_of(ReportedRun(*run)), takeover_of(ReportedRun(*run))
    assert robustness
    assert takeover
    spoken = {found.get("aria-label") for _, found in page.tags}
    for chart in (*robustness.charts, *takeover.charts):
        assert {chart.words, chart.title} <= spoken


def test_cells_that_are_no_numbers_are_passed_over(run: Made):
    broken = [row | {"value": "lots"} for row in some_takeover()[:9]]
    rewrite(run, exploring.TAKEOVER, [*broken, *some_takeover()[9:]])
    rewrite(run, exploring.ROBUSTNESS_MAPS, [row | {"x": "far"} for row in map_rows()])
    rewrite(run, exploring.ROBUSTNESS, [pair_row("a", "b", ("nan", "x", ""))])
    assert "<svg" in made(run)


def test_a_table_that_lacks_a_column_is_refused_in_a_sentence(run: Made):
    columns = [name for name in exploring.TAKEOVER_COLUMNS if name != "load"]
    write_table(run[1] / exploring.TAKEOVER, some_takeover(), columns)
    with pytest.raises(StudyError, match=r"takeover\.csv, line 2: no load"):
        made(run)


def test_hostile_names_come_out_as_text(run: Made):
    clean = Page(made(run))
    rewrite(run, exploring.ROBUSTNESS, [pair_row(HOSTILE, "b", (97.0, 1.0, 2.0), f"{HOSTILE} 1 -> 2")])
    rewrite(run, exploring.ROBUSTNESS_MAPS, map_rows(HOSTILE, "b"))
    rewrite(run, exploring.TAKEOVER, takeover_rows(HOSTILE, 1.0, 3.0))
    rewrite(run, exploring.ASSUMPTIONS, [assumption_row(3.0, assumption=HOSTILE, by=HOSTILE)])
    page = Page(made(run))
    assert len(page.every("script")) == len(clean.every("script"))
    assert not [found for _, found in page.tags for name in found if name.startswith("on")]
    assert not [found for found in page.every("img") if found["src"] == "x"]


def test_the_page_neither_ranks_nor_promises(run: Made):
    text = made(run)
    own = Page(text[text.index('<section id="inputs"') : text.index('<section id="doubts"')])
    text = own.text.lower().replace("lower is not said to be better", "")
    assert "takes over" in text
    assert not re.findall(r"\b(better|best|worse|worst|winner|heals?|healing|recommend\w*)\b", text)


def test_every_column_is_explained_and_clashes_with_no_other():
    said = {name for key in exploring.EXPLORING for name in key.split(", ")}
    own = {
        *exploring.ROBUSTNESS_COLUMNS, *exploring.ROBUSTNESS_MAP_COLUMNS, *exploring.TAKEOVER_COLUMNS,
        *exploring.ASSUMPTION_COLUMNS, *exploring.ASKED_COLUMNS,
    }  # fmt: skip
    plain = {
        "a", "b", "stage", "load", "quantity", "location", "unit", "value", "error", "construct",
        "status", "reason", "flags",
    }  # fmt: skip
    assert own - said == plain
    assert said - own == {exploring.SHARE, exploring.FORCE, exploring.HALF, exploring.WEIGHT}
    assert not set(exploring.EXPLORING) & set(QUANTITIES | COLUMNS | INDICES)
    assert part_of(exploring.TISSUE) == "tissue"
