"""Units: a number out of range is asked about in the unit that it was likely given in."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometries.errors import StudyError
from geometries.materials import TISSUES
from pipeline.study.config import StudyConfig, load_study
from pipeline.study.units import MISTAKEN, Limits, did_you_mean, limits_of

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"


def _refusal(change: str) -> str:
    with pytest.raises(StudyError) as caught:
        load_study(DEMO, (change,))
    (line,) = str(caught.value).splitlines()
    return line.removeprefix(f"{DEMO}: ")


HINTS = [
    ("length_mm", 0.43, Limits(380, 490), "430 mm (0.43 m)"),
    ("length_mm", 43, Limits(380, 490), "430 mm (43 cm)"),
    ("modulus_mpa", 17, Limits(1700, 25_000), "17000 MPa (17 GPa)"),
    ("modulus_mpa", 6e9, Limits(0, 25_000), "6000 MPa (6e+09 Pa)"),
    ("moment_nm", -12_000, Limits(-500, 500), "-12 N·m (-12000 N·mm)"),
    ("body_weight_kg", 1000, Limits(30, 200), "102 kg (1000 N)"),
    ("body_weight_kg", 70_000, Limits(30, 200), "70 kg (70000 g)"),
    ("force_n", 2.3, Limits(100, 10_000), "2300 N (2.3 kN)"),
    ("force_n", 75.0, Limits(300, 2000), "736 N (75 kg)"),
    ("site_percent", 0.55, Limits(20, 80), "55 percent (0.55 as a fraction)"),
    ("fraction", 30, Limits(0, 1, above=True), "0.3 (30 percent)"),
    ("azimuth_deg", 1.57, Limits(60, 120), "90 degrees (1.57 radians)"),
]


@pytest.mark.parametrize(("key", "value", "limits", "words"), HINTS)
def test_a_mistaken_unit_is_asked_about(key: str, value: float, limits: Limits, words: str):
    assert did_you_mean(key, value, limits) == f"did you mean {words}?"


def test_every_mistaken_unit_is_tried_once():
    tried = [words.partition("(")[2].partition(" ")[2].rstrip(")") for *_, words in HINTS]
    assert sorted(tried) == sorted(other.strip() for _, others in MISTAKEN.values() for other in others)


@pytest.mark.parametrize(
    ("key", "value", "limits"),
    [
        ("length_mm", 4.3, Limits(380, 490)),  # neither 43 nor 4300
        ("length_mm", -0.43, Limits(380, 490)),
        ("length_mm", 0.0, Limits(0, 490, above=True)),
        ("diameter_mm", 1.0, Limits(2, 10, below=True)),  # 10 itself is refused
        ("azimuth_deg", 2, Limits(60, 120)),  # a whole number is no radian
        ("azimuth_deg", 2.0, Limits(60, 120)),
        ("times_body_weight", 1000, Limits(1, 6)),  # has no unit
        ("moment_nm", 600, Limits(-500, 500)),  # only just outside: too large, no N·mm
        ("moment_nm", -600, Limits(-500, 500)),
        ("gap_mm", 0.3, Limits(0.5, 60)),
        ("fraction", 1.5, Limits(0, 1, above=True)),
    ],
)
def test_no_question_where_no_unit_fits(key: str, value: float, limits: Limits):
    assert did_you_mean(key, value, limits) is None


def test_of_two_units_the_one_nearer_the_middle_is_asked_about():
    assert did_you_mean("gap_mm", 0.05, Limits(0.5, 60)) == "did you mean 50 mm (0.05 m)?"
    assert did_you_mean("gap_mm", 0.05, Limits(0.11, 50)) == "did you mean 0.5 mm (0.05 cm)?"


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (
            "loads.4.body_weight_kg=1000",
            "load 'walking': body_weight_kg = 1000: allowed 30 to 200; did you mean 102 kg (1000 N)?",
        ),
        (
            "loads.1.moment_nm=10e3",
            "load 'torsion': moment_nm = 10000.0: allowed -500 to 500; "
            "did you mean 10 N·m (10000 N·mm)?",
        ),
        (
            "loads.4.fraction=50",
            "load 'walking': fraction = 50: allowed above 0 to 1; did you mean 0.5 (50 percent)?",
        ),
        (
            "stages.2={ name = 'own', modulus_mpa = 17e9, poisson_ratio = 0.3 }",
            "stage 'own': modulus_mpa = 17000000000.0: allowed 0 to 25000; "
            "did you mean 17000 MPa (1.7e+10 Pa)?",
        ),
        (
            "constructs.5.defect.site_percent=0.75",
            "construct 'nail-10-distal': defect.site_percent = 0.75: allowed 20 to 80; "
            "did you mean 75 percent (0.75 as a fraction)?",
        ),
        (
            "constructs.4.plate.screws.diameter_mm=0.005",
            "construct 'nail-10-plate': plate.screws.diameter_mm = 0.005: allowed 2.7 to 6.5; "
            "did you mean 5 mm (0.005 m)?",
        ),
        ("femur.length_mm=900", "femur.length_mm = 900: allowed 380 to 490; correct it"),
        ("loads.0.force_n=0", "load 'hip': force_n = 0: allowed above 0 to 10000; correct it"),
        (
            "constructs.3.plate.hole_count=2",
            "construct 'plate': plate.hole_count = 2: allowed 4 to 18; correct it",
        ),
        (
            "loads.0={ kind = 'forces', name = 'pushed', "
            "forces = [{ name = 'a', at = 'head', force_n = [0.0, 0.0, 3e4] }] }",
            "load 'pushed': force 'a': force_n.2 = 30000.0: allowed -10000 to 10000; correct it",
        ),
    ],
)
def test_a_study_is_refused_with_the_whole_range_and_a_question(change: str, line: str):
    assert _refusal(change) == line


def test_limits_that_are_refused_themselves():
    layer = ("constructs", 0, "specimen", "layers", 0)
    assert limits_of(StudyConfig, (*layer, "outer_diameter_mm")) == Limits(0, 100, above=True)
    inner = limits_of(StudyConfig, (*layer, "inner_diameter_mm"))
    assert inner == Limits(0, 100, below=True)
    assert str(inner) == "0 to below 100"
    assert 0 in inner
    assert 100 not in inner


# --- Stages of the ladder -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "modulus", "remedy"),
    [
        ("united", 17.0, "did you mean 17000 MPa (17 GPa)? Otherwise give"),
        ("united", 170.0, "correct it or give"),  # 170 GPa is not allowed
        ("mature", 0.7, "did you mean 700 MPa (0.7 GPa)? Otherwise give"),
        ("woven", 0.0, "correct it or give"),
        ("woven", 20_000.0, "correct it or give"),
        ("atrophic", 100.0, "correct it or give"),
    ],
)
def test_a_stage_far_from_its_name_is_refused(name: str, modulus: float, remedy: str):
    line = _refusal(f"stages=[{{ name = '{name}', modulus_mpa = {modulus} }}]")
    assert line == (
        f"stage '{name}': modulus_mpa = {modulus}: "
        f"stage '{name}' has about {TISSUES[name].modulus:g} MPa, "
        f"allowed less than 100 times off; {remedy} the stage a name of its own"
    )


@pytest.mark.parametrize(
    ("name", "modulus"),
    [
        ("own", 17.0),
        ("united-soft", 17.0),
        ("united", 171.0),
        ("atrophic", 99.0),
        ("atrophic", 0.011),
        ("empty", 5.0),  # of nothing, every modulus is infinitely far
        *[(name, tissue.modulus) for name, tissue in TISSUES.items()],
    ],
)
def test_a_stage_of_its_own_or_like_its_name_is_free(name: str, modulus: float):
    study = load_study(
        DEMO, (f"stages=[{{ name = '{name}', modulus_mpa = {modulus}, poisson_ratio = 0.3 }}]",)
    )
    assert study.stages[0].material().modulus == modulus
