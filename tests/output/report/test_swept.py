"""A design on the page: its points come first, and what explains them if the surface can see."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.output.report import swept
from pipeline.output.report.run import ReportedRun
from pipeline.output.report.swept import Swept, factor_words, spans_decades, swept_of
from pipeline.storage.files import read_table, write_table
from pipeline.sweeps.sensitivity import BLIND, SENSITIVITY_COLUMNS
from tests.made import Row, row_of, write_run
from tests.output.report.made_up import NAMES, rows_of, study_of
from tests.output.report.reading import Made, Page, made

SHEAR = ("gap_shear_movement", "far", "mm")
FACTORS = [
    {"key": "defect.gap_mm", "values": [3, 4], "label": "length of the gap"},
    {"key": "stages.atrophic.modulus_mpa", "values": [1, 2]},
]
KEYS = [str(one["key"]) for one in FACTORS]


def index_of(factor: str, value: float | str, index: str = "ST", **more: Any) -> Row:
    """A row of ``sensitivity.csv`` for the primary outcome."""
    usual = {
        "construct": "nail-10", "stage": "atrophic", "load": "hip", "quantity": SHEAR[0],
        "location": SHEAR[1], "unit": SHEAR[2], "factor": factor, "label": factor, "index": index,
        "method": "sobol_of_surface", "value": value, "q2": 0.93,
    }  # fmt: skip
    return usual | more


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> Made:
    """Four points of two factors with one construct, one value flagged."""
    study = study_of(demo, design={"kind": "grid", "factors": FACTORS})
    points = [(f"v{2 * a + b}", gap, modulus) for a, gap in enumerate((3, 4))
              for b, modulus in enumerate((1, 2))]  # fmt: skip
    rows = [
        row_of("nail-10", SHEAR, 0.5 * gap / modulus, variant=name, error=2.0,
               flags="beyond it" if name == "v3" else "")
        for name, gap, modulus in points
    ]  # fmt: skip
    out = write_run(tmp_path / "out", study, rows)
    design = [
        {"variant": name, "status": "ok", "reason": "", KEYS[0]: gap, KEYS[1]: modulus}
        for name, gap, modulus in points
    ]
    write_table(out / "design.csv", design, tuple(design[0]))
    return study, out


def swept_with(run: Made, rows: list[Row]) -> Swept:
    write_table(run[1] / "sensitivity.csv", rows, SENSITIVITY_COLUMNS)
    found = swept_of(ReportedRun(*run))
    assert found
    return found


def test_it_opens_with_what_explains_and_the_points_over_it(run: Made):
    """From 0.5 × 3 / 2 to 0.5 × 4 / 1: by hand. The modulus has the larger index."""
    found = swept_with(run, [index_of(KEYS[0], 0.21), index_of(KEYS[1], 0.84)])
    assert [chart.title for chart in found.opening] == [
        "Sensitivity of gap shear movement, far", "Gap shear movement over modulus",
    ]  # fmt: skip
    assert [chart.title for chart in found.others] == ["Gap shear movement over length of the gap"]
    assert found.said == [
        "Over the 4 points of the design, gap shear movement, far, runs from 0.750 to 2.00 mm with "
        "nail-10 (4 points).",
        "Of all factors it follows with nail-10 modulus most (ST 0.840).",
    ]
    page = Page(made(run))
    named = [tag.get("aria-label") for tag in page.every("figure")]
    assert named[:2] == [chart.title for chart in found.opening]
    assert "modulus, MPa" in page.text
    assert "length of the gap, mm" in page.text


@pytest.mark.parametrize("q2", [0.493, "", "nan"])
def test_a_surface_that_predicts_little_explains_nothing(run: Made, q2: float | str):
    found = swept_with(run, [index_of(KEYS[0], 0.21, q2=q2), index_of(KEYS[1], 0.84, q2=q2)])
    assert not any("Sensitivity" in chart.title for chart in (*found.opening, *found.others))
    assert f"with Q² {q2 or 'unknown'}, where 1 is perfect" in found.said[-1]
    assert len(found.opening) == 2


def test_why_there_is_no_index_is_said(run: Made):
    found = swept_with(run, [index_of(key, "", q2=-0.3, note=BLIND) for key in KEYS])
    assert found.said[-1] == f"Which factor explains how much is not said: {BLIND}."
    assert len(found.opening) == 2


def test_indices_of_the_model_itself_need_no_surface(run: Made):
    rows = [index_of(KEYS[0], 1.7, "mu_star", method="morris", q2=""),
            index_of(KEYS[1], 0.3, "mu_star", method="morris", q2="")]  # fmt: skip
    found = swept_with(run, rows)
    assert "length of the gap most (mu_star 1.70)" in found.said[-1]
    assert "mean size of the effect of the factor's whole range, mm" in found.opening[0].svg


def test_without_indices_the_points_stand_alone(run: Made):
    found = swept_with(run, [])
    assert [chart.title.partition(" over ")[2] for chart in found.opening] == [
        "length of the gap", "modulus",
    ]  # fmt: skip
    assert len(found.said) == 1


# By hand: 1, 4, 16, 64 lie evenly on powers; 1 to 64 in steps of 21 and 0.2 to 20 on a plain axis.
@pytest.mark.parametrize(
    ("values", "found"),
    [
        ([1.0, 4.0, 16.0, 64.0], True), ([1.0, 22.0, 43.0, 64.0], False), ([0.2, 10.0, 20.0], False),
        ([1.0, 2.0, 4.0, 8.0], False), ([0.0, 1.0, 10.0, 100.0], False), ([0.1, 1.0, 1000.0], True),
    ],
)  # fmt: skip
def test_values_over_decades_are_drawn_on_their_powers(values: list[float], found: bool):
    assert spans_decades(values) == found


def test_a_factor_of_decades_has_a_logarithmic_axis_and_says_so(run: Made):
    moduli = [0.5, 5.0, 50.0, 500.0]
    rows = [row | {KEYS[1]: at} for row, at in zip(read_table(run[1] / "design.csv"), moduli,
            strict=True)]  # fmt: skip
    write_table(run[1] / "design.csv", rows, tuple(rows[0]))
    gap, modulus = swept_with(run, []).opening
    assert "logarithmic" not in gap.note
    assert "Across on a logarithmic axis." in modulus.note
    named = [">0.5<", ">1<", ">10<", ">100<", ">200<"]
    assert [one in modulus.svg for one in named] == [False, True, True, True, False]


def test_flags_of_all_points_are_counted_and_linked(run: Made):
    """The flagged value is not that of the first point, whose rows the page shows."""
    found = swept_with(run, [])
    assert found.doubts["nail-10"].flags == {"beyond it": 1}
    page = Page(made(run))
    assert "nail-10 (1 of 4 values)" in page.text
    assert "nail-10: 1 of 4 values are flagged" in page.text
    (link,) = [one["href"] for one in page.every("a") if one.get("class") == "whose"]
    assert link.removeprefix("#") in {one.get("id") for one in page.every("ul")}
    assert "No row is flagged." in page.text.split("All results at the point v0")[1]


def test_a_factor_is_called_by_its_label_and_the_unit_of_its_key():
    assert factor_words("loads.hip.force_n", "force_n") == "force, N"
    assert factor_words("loads.hip.force_n", "weight of it") == "weight of it, N"
    assert factor_words("loads.hip.steps", "steps") == "steps"


def test_a_design_shows_its_first_variant_and_its_factors(demo: dict[str, Any], tmp_path: Path):
    factor = {"key": "defect.gap_mm", "values": [3, 4], "label": "length of the gap"}
    study = study_of(demo, design={"kind": "grid", "factors": [factor]})
    rows = [row | {"variant": name} for name in ("v1", "v2") for row in rows_of(NAMES[:1])]
    rows[-1] |= {"value": 1234.5}
    out = write_run(tmp_path / "out", study, rows)
    cases = [{**row, "variant": name} for name in ("v1", "v2") for row in read_table(out / "cases.csv")]
    write_table(out / "cases.csv", cases, tuple(cases[0]))
    design = [
        {"variant": f"v{n}", "status": "ok", "reason": "", "defect.gap_mm": 2 + n} for n in (1, 2)
    ]
    write_table(out / "design.csv", design, tuple(design[0]))
    page = Page(made((study, out)))
    assert "2; shown is v1" in page.text
    assert "Gap shear movement over length of the gap" in page.text


def test_of_the_highest_stress_each_point_shows_its_most_loaded_part(
    demo: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Nail 297.6 over bolt 225.1 at one point, bolt 311.2 over nail 180.5 at the other: by hand."""
    study = study_of(demo, question={"quantity": "von_mises_5mm3", "location": "highest"})
    stresses = {("v1", "nail"): (297.6, 4.0), ("v1", "bolt_1"): (225.1, 20.0),
                ("v2", "bolt_1"): (311.2, 5.0), ("v2", "nail"): (180.5, 30.0)}  # fmt: skip
    rows = [
        row_of("nail-10", ("von_mises_5mm3", part, "MPa"), value, variant=variant, error=error)
        for (variant, part), (value, error) in stresses.items()
    ]
    out = write_run(tmp_path / "out", study, rows)
    design = [{"variant": f"v{n}", "status": "ok", "reason": "", "gap": n} for n in (1, 2)]
    write_table(out / "design.csv", design, tuple(design[0]))
    drawn: list[Any] = []
    monkeypatch.setattr(swept, "scatter", lambda clouds, *_, **_more: drawn.extend(clouds) or "")
    found = swept_of(ReportedRun(study, out))
    assert found
    (chart,) = found.opening
    assert chart.title.endswith("over gap")
    assert "2 points from 298 to 311 MPa" in chart.words
    (cloud,) = drawn
    placed = [(x, mark.value, mark.half) for x, mark in zip(cloud.across, cloud.marks, strict=True)]
    expected = [(1.0, 297.6, 0.04 * 297.6), (2.0, 311.2, 0.05 * 311.2)]
    assert placed == [pytest.approx(one) for one in expected]


def test_a_large_design_draws_some_of_its_points(
    demo: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(swept, "MOST_POINTS", 4)
    study, what = study_of(demo), ("gap_shear_movement", "far", "mm")
    names = [f"v{n}" for n in range(10)]
    rows = [row_of("nail-10", what, 1.0 + n) | {"variant": name} for n, name in enumerate(names)]
    out = write_run(tmp_path / "out", study, rows)
    design = [{"variant": name, "status": "ok", "reason": "", "gap": n} for n, name in enumerate(names)]
    write_table(out / "design.csv", design, tuple(design[0]))
    found = swept_of(ReportedRun(study, out))
    assert found
    # 10 variants in parts of at most 4 are every third, 0, 3, 6 and 9: by hand
    (chart,) = found.opening
    assert chart.note == "Stage atrophic, load hip. One of 3 variants is drawn."
    assert "4 points from 1.00 to 10.0 mm" in chart.words
