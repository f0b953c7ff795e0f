"""Loads turned from their own direction."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest

from geometries.bone import Femur
from geometries.errors import StudyError
from pipeline.loading.loads import HipForce, Torsion
from pipeline.run.planning import plan
from pipeline.run.superposition import push_of
from pipeline.run.tilted import SIDES, cone_of, tilted, turned
from pipeline.study.config import parse_study

DOWN = np.array([0.0, 0.0, -1000.0])


@pytest.mark.parametrize(
    ("azimuth", "way"),
    [(0.0, (-1.0, 0.0)), (pi / 2, (0.0, 1.0)), (pi, (1.0, 0.0)), (-pi / 2, (0.0, -1.0))],
)
def test_a_force_leans_to_the_side_of_its_azimuth_and_keeps_its_size(
    azimuth: float, way: tuple[float, float]
):
    # Frame of the model: x medial, y anterior; azimuth 0 lateral, 90 degrees anterior.
    found = tilted(DOWN, radians(30), azimuth)
    assert found == pytest.approx([500 * way[0], 500 * way[1], -1000 * np.cos(radians(30))])


def test_turning_is_by_the_angle_whatever_the_direction():
    force = 700 * np.random.default_rng(4).uniform(-1, 1, 3)
    for azimuth in np.linspace(0, 2 * pi, 7):
        found = tilted(force, 0.2, float(azimuth))
        assert np.linalg.norm(found) == pytest.approx(np.linalg.norm(force))
        assert found @ force == pytest.approx(np.cos(0.2) * force @ force)


def test_a_load_that_is_no_one_force_is_not_turned():
    femur = Femur()
    assert turned(Torsion(name="t", kind="torsion", moment_nm=10.0), femur, DOWN) is None
    load = HipForce(name="hip", kind="hip_force", force_n=1000.0, adduction_deg=0.0)
    other = turned(load, femur, DOWN)
    assert other is not None
    both = [push_of(one, femur, femur.top_mm) for one in (load, other)]
    assert both[0] is not None
    assert both[1] is not None
    assert both[1].force == pytest.approx(both[0].force)
    assert both[1].point == pytest.approx(both[0].point)


def test_stops_are_looked_for_all_round_the_cone():
    cone = {"name": "load_direction", "distribution": "cone", "half_angle_deg": 12.0,
            "source": "assumed"}  # fmt: skip
    study = parse_study(
        {
            "schema_version": 1, "title": "cone", "stages": [{"name": "atrophic"}],
            "loads": [{"name": "hip", "kind": "hip_force", "force_n": 800.0}],
            "constructs": [{"name": "plate", "kind": "plate"}],
            "robustness": {"samples": 100, "inputs": [cone]},
        },
        "test",
    )  # fmt: skip
    load = study.loads[0]
    own = push_of(load, study.femur, study.femur.top_mm)
    assert own is not None
    found = [push_of(one, study.femur, study.femur.top_mm) for one in cone_of(study)]
    assert len(found) == SIDES
    for one in found:
        assert one is not None
        assert one.force @ own.force / own.size**2 == pytest.approx(np.cos(radians(12)))


def test_a_cone_about_what_is_no_one_force_is_refused_before_any_run():
    cone = {"name": "load_direction", "distribution": "cone", "half_angle_deg": 12.0,
            "source": "assumed"}  # fmt: skip
    study = parse_study(
        {
            "schema_version": 1, "title": "cone", "stages": [{"name": "atrophic"}],
            "loads": [{"name": "twist", "kind": "torsion", "moment_nm": 8.0}],
            "constructs": [{"name": "plate", "kind": "plate"}],
            "robustness": {"samples": 100, "inputs": [cone]},
        },
        "test",
    )  # fmt: skip
    with pytest.raises(StudyError, match=r"load_direction with load 'twist', which is not one force"):
        plan(study)
