"""The credibility page: what tables say stands there, what only a person knows is visibly blank."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.output.credibility import credibility_page
from pipeline.storage.casebook import write_index
from pipeline.storage.files import write_table
from pipeline.study.config import StudyConfig, load_study
from tests.made import write_case, write_results

FACTORS = (  # ASME V&V 40-2018, table 5-1 as reproduced elsewhere; our hyphens and spelling
    "Software quality assurance", "Numerical code verification", "Discretisation error",
    "Numerical solver error", "Use error", "Model form", "Model inputs", "Test samples",
    "Test conditions", "Equivalency of input parameters", "Output comparison",
    "Relevance of the quantities of interest", "Relevance of the validation to the context of use",
)  # fmt: skip
HEADINGS = ("Identification", "Structure", "Simulation", "Validation", "Availability")  # Erdemir 2012
SOUND = {
    "construct": "thin", "load": "pull", "quantity": "axial_stiffness", "location": "sections",
    "value": 5.0, "force_residual": 2e-9, "moment_residual": 3e-9, "energy_residual": 1e-9,
    "volume_error": 4e-4, "status": "ok",
}  # fmt: skip


@pytest.fixture
def study(tmp_path: Path, bench_study: str) -> StudyConfig:
    text = bench_study.replace('title = "Two tubes"', 'title = "Tubes <b>two</b>"')
    (tmp_path / "tubes.toml").write_text(text, encoding="utf-8")
    return load_study(tmp_path / "tubes.toml")


def page(study: StudyConfig, out: Path, *rows: dict[str, object]) -> str:
    """The page of a run with these rows."""
    write_results(out, rows)
    write_index(out, [{"construct": "thin", "case": "0a"}])
    facts = {"cells": 4321, "unknowns": 9876}
    parts = [{"name": "layer_1", "role": "nail", "material": "steel"}]
    write_case(out, "0a", mesh_hash="0123456789abcdef", facts=facts, parts=parts)
    return credibility_page(study, out, "gapstrain 0", "Research only.").read_text(encoding="utf-8")


def test_every_factor_and_heading_is_there(study: StudyConfig, tmp_path: Path):
    text = page(study, tmp_path / "out", SOUND)
    for name in FACTORS:
        assert f">{name}<" in text
    for name in HEADINGS:
        assert f">{name}" in text


def test_what_the_run_knows_is_filled_in(study: StudyConfig, tmp_path: Path):
    worse = SOUND | {"energy_residual": 7.7e-8, "load": "twist"}
    text = page(study, tmp_path / "out", SOUND, worse)
    assert "forces 2.0e-09, moments 3.0e-09, energy 7.7e-08, volume of a part 4.0e-04" in text
    assert "4321 cells" in text
    assert "steel: 193000 MPa" in text
    assert "Research only." in text


def test_what_nobody_ran_is_asked_for(study: StudyConfig, tmp_path: Path):
    text = page(study, tmp_path / "out", SOUND)
    assert '<span class="blank">Run with --levels 3.</span>' in text
    assert '<span class="blank">Run gapstrain verify beside this study.</span>' in text


def test_errors_and_verification_are_summed_up(study: StudyConfig, tmp_path: Path):
    (tmp_path / "verification").mkdir()
    checks = [{"result": result} for result in ("passed", "passed", "failed")]
    write_table(tmp_path / "verification" / "verification.csv", checks, ("result",))
    rows = [
        SOUND | {"mesh": "three meshes: converging, order 2", "error": share}
        for share in (0.5, 1.5, 4.0)
    ]
    stress = SOUND | {"quantity": "von_mises_5mm3", "mesh": "three meshes: singular, do not quote"}
    text = page(study, tmp_path / "out", *rows, stress)
    assert "stiffness: median 1.5 %, nine of ten below 4 %; 1 values are singular" in text
    assert "2 of 3 numbers" in text


def test_names_in_a_study_come_out_as_text(study: StudyConfig, tmp_path: Path):
    text = page(study, tmp_path / "out", SOUND)
    assert "Tubes &lt;b&gt;two&lt;/b&gt;" in text
    assert "<b>" not in text
