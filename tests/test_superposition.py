"""Loads where there is no bone to take them."""

from __future__ import annotations

import pytest

from geometries.bone import Defect, Femur
from geometries.defect import gap_levels
from geometries.errors import StudyError
from pipeline.config import load_study
from pipeline.inputs import Walking
from pipeline.study import plan
from pipeline.superposition import check_places

PULLED = Walking(kind="walking", name="walk", muscles=("abductor", "vastus_lateralis"))


def test_a_muscle_at_the_gap_is_refused():
    # Common practice, no source: a muscle does not arise from a defect.
    gap = gap_levels(Femur(), Defect(site_percent=20.0))
    with pytest.raises(StudyError, match=r"nail: a load acts at .*beside the gap from 342 to 346 mm"):
        check_places("nail", [PULLED], Femur(), gap)


def test_a_muscle_on_a_specimen_is_refused():
    with pytest.raises(StudyError, match="specimen are loads on its end"):
        check_places("bar", [PULLED], Femur(), None)


def test_loads_on_the_end_pass_everywhere():
    hip_alone = Walking(kind="walking", name="walk")
    check_places("bar", [hip_alone], Femur(), None)
    check_places("nail", [PULLED], Femur(), gap_levels(Femur(), Defect()))


def test_the_plan_finds_it_before_any_mesh(tmp_path):
    study = tmp_path / "study.toml"
    study.write_text("""
schema_version = 1
title = "a muscle at the gap"
defect = { site_percent = 20.0 }
stages = [{ name = "atrophic" }]
loads = [{ kind = "walking", name = "walk", muscles = ["vastus_lateralis"] }]
constructs = [{ kind = "plate", name = "plate" }]
""")
    with pytest.raises(StudyError, match="leave out that muscle"):
        plan(load_study(study))
