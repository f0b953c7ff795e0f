"""The level that 5 mm³ of an implant exceed: the same whichever cells are split to find it."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.materials import isotropic
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import fine_rule, shape
from pipeline.fem.tetrahedra import highest_von_mises
from pipeline.measures import implants as module
from pipeline.measures.field import von_mises
from pipeline.measures.implants import DeformedImplant, implants
from tests.models import own_constants


def bent(mesh: Mesh, seed: int) -> tuple[DeformedImplant, ...]:
    """Implants that are bent unevenly, and shake a little."""
    chance = np.random.default_rng(seed)
    x, y, z = mesh.nodes.T
    ways = np.stack([z * x, z * y * chance.standard_normal(), -(z**2) / 2], axis=1)
    noise = 0.3 * chance.standard_normal(mesh.nodes.shape)
    elasticity = np.stack([isotropic(*pair) for pair in own_constants(mesh)])
    return implants(mesh, elasticity, 1e-5 * (ways + noise)[:, :, None])


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("likely", [module.LIKELY, 1.2])  # the floor is too high, and everything counts
def test_cells_that_stay_below_the_level_need_not_be_split(
    small: Mesh, seed: int, likely: float, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(module, "LIKELY", likely)
    found = [next(part.stresses(np.ones((1, 1)))).hot_level for part in bent(small, seed)]
    assert found
    monkeypatch.setattr(module, "highest_von_mises", lambda stress: np.full(len(stress), np.inf))
    every = [next(part.stresses(np.ones((1, 1)))).hot_level for part in bent(small, seed)]
    assert found == pytest.approx(every, rel=1e-9)


def test_stress_within_a_cell_stays_below_what_its_nodes_tell():
    stress = np.random.default_rng(4).standard_normal((200, 10, 6))
    within = von_mises(np.einsum("qn,mnc->mqc", shape(fine_rule(2)[0]), stress))
    bound = highest_von_mises(stress)
    assert (within <= bound[:, None] * (1 + 1e-12)).all()
    even = np.repeat(stress[:, :1], 10, axis=1)
    assert highest_von_mises(even) == pytest.approx(von_mises(stress[:, 0]))
