"""Loads where there is no bone to take them."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.bone import Defect, Femur
from geometries.defect import gap_levels
from geometries.errors import StudyError
from pipeline.fem.mesh import Mesh
from pipeline.loading.loads import Forces, PointForce, Stairs, Walking
from pipeline.loading.statics import actions, check_places, resultant, section_load
from pipeline.measures.sections import Section
from pipeline.run.planning import plan
from pipeline.run.superposition import combinations, statics_residuals, unit_forces, unit_spreads
from pipeline.study.config import load_study
from tests.models import plain_resultant

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


def test_one_muscle_costs_one_unit_load():
    # Linear algebra: forces of one direction at a point are multiples of one unit load.
    once = combinations([PULLED], Femur(), 430.0)["walk"]
    assert len(once) == 7
    pull = [a for a in actions(PULLED, Femur(), 430.0) if a.name == "vastus_lateralis"]
    assert abs(once[6]) == pytest.approx(float(np.linalg.norm(pull[0].force)))
    other = PULLED.model_copy(update={"name": "half", "fraction": 0.5})
    stairs = Stairs(kind="stairs", name="up", muscles=("vastus_lateralis",))
    assert len(combinations([PULLED, other], Femur(), 430.0)["half"]) == 7
    assert len(combinations([PULLED, other, stairs], Femur(), 430.0)["up"]) == 8


def test_unit_loads_sum_to_the_stated_load(small: Mesh):
    # Statics: what the nodes get is what the load's vectors sum to; the point lies on the tube's side.
    load = Forces(
        kind="forces", name="own", forces=(
            PointForce(name="end", at="proximal_end", force_n=(3.0, -5.0, -70.0)),
            PointForce(name="side", at=(7.5, 0.0, 8.0), force_n=(-20.0, 7.0, 11.0)),
        ),
    )  # fmt: skip
    spreads = unit_spreads(small, [load], Femur(), 17.0)
    nodal = unit_forces(spreads, len(small.nodes)) @ combinations([load], Femur(), 17.0)["own"]
    found = plain_resultant(small.nodes, nodal[:, :, None], np.zeros(3))[:, 0]
    assert found == pytest.approx(resultant(actions(load, Femur(), 17.0), np.zeros(3)), abs=1e-9)


def test_residual_is_what_hand_statics_misses():
    # Definition, on sections that carry what statics says and 3 N too much; above the head and beside a
    # muscle nothing is compared.
    femur, length = Femur(), 430.0
    acting = actions(PULLED, femur, length)
    levels = {"gap": 215.0, "beside": 350.0, "top": 415.0}
    sections = {}
    for place, level in levels.items():
        carried = section_load(acting, level)
        carried[1] += 3.0
        sections[place] = Section(level, {"all": carried[:, None]}, {"all": np.zeros(3)})
    (found,) = statics_residuals(sections, PULLED, np.ones(1), femur, length)
    size = sum(np.linalg.norm(one.force) for one in acting)
    assert found.location == "gap"
    assert found.value == pytest.approx(3.0 / size)


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
