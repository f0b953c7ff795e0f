"""A plate over a gap whose bone ends can touch: its reduced model against the full one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.fem.meshing.mesher import build_mesh
from pipeline.measures.dictionary import PEAK
from pipeline.run.equilibrium import NO_STAGE, Equilibrium, Prepared
from pipeline.run.reading import Loaded, StageReadings
from pipeline.run.reducing import reduced_twin
from pipeline.run.twins import MOVED, TwinStage
from tests.models import SHORT_PLATE, case_of, geometry_of

POINTS, SEED = 4, 17
PLATE = {"kind": "plate", "name": "plate", "plate": SHORT_PLATE, "defect": {"bone_ends": "contact"}}
HIP = [{"kind": "hip_force", "name": "hip", "force_n": 900.0},
       {"kind": "torsion", "name": "twist", "moment_nm": 6.0}]  # fmt: skip


@pytest.mark.slow
def test_random_materials_are_answered_as_the_full_model_does():
    case = case_of(PLATE, "coarse", ("atrophic",), HIP)
    geometry = geometry_of(case)
    made = Prepared.of(build_mesh(geometry, "coarse"), geometry, case)
    twin = reduced_twin(made, made.loads)
    chance, ranges = np.random.default_rng(SEED), twin.model.ranges
    for _ in range(POINTS):
        weights = ranges.at(chance.random(ranges.dimension))
        elasticity = twin.readout.terms.elasticity(weights)
        _, found = made.settled(made.assembled(elasticity), twin.model.chosen)
        settled = Equilibrium(**vars(found), stage=NO_STAGE, elasticity=elasticity, errors={})
        reading = StageReadings.of(made.mesh, geometry, settled)
        stage = TwinStage.of(twin, geometry, weights)
        for load in case.loads:
            loaded = Loaded.of(found, load.name)
            full = {(one.quantity, one.location): one for one in reading.under(case, load, loaded)[0]}
            told = stage.under(case, load, found.loads[load.name])[0]
            highest = max(one.value for one in full.values() if one.quantity == PEAK)
            for each in told:
                one = each.measure
                other = full.get((one.quantity, one.location))
                if other is not None and one.quantity in MOVED and "stiffness" in one.quantity:
                    assert one.value == pytest.approx(other.value, rel=1e-3), one
                if other is not None and one.quantity == PEAK:
                    assert abs(one.value - other.value) < 0.01 * highest, one
                if other is not None and one.quantity in MOVED:
                    assert abs(one.value - other.value) <= each.half, one


def test_the_shortest_plate_is_one_that_can_touch():
    case = case_of(PLATE, "coarse", ("atrophic",), HIP)
    touches = {stop.touch for stop in geometry_of(replace(case)).stops}
    assert "bone_ends" in touches
