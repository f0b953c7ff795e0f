"""Bone with other constants across the shaft than along it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometries.materials import MATERIALS
from tests.models import LOADS, case_of, solve_stages, solved


def test_transverse_bone_has_its_published_constants():
    # Reilly & Burstein 1975, J Biomech 8:393; numbers from memory.
    C = MATERIALS["cortical_transverse"].elasticity
    compliance = np.linalg.inv(C)
    assert 1 / compliance[[0, 1, 2], [0, 1, 2]] == pytest.approx([11_500, 11_500, 17_000])
    assert 1 / compliance[[4, 5], [4, 5]] == pytest.approx([3300, 3300])
    assert -compliance[2, 0] / compliance[2, 2] == pytest.approx(0.46)
    assert np.linalg.eigvalsh(C).min() > 0
    across = compliance[0, 0] - compliance[0, 1]  # isotropy of the cross-section
    assert compliance[3, 3] == pytest.approx(2 * across)


def test_transverse_bone_twists_by_its_shear_modulus():
    # Saint-Venant: torsion of a round shaft goes by G alone, 3300 against 17000 / 2.6; its axial and
    # bending stiffness go by E along the shaft, the same. Cancellous ends change it a little.
    isotropic_case = case_of({"kind": "intact", "name": "intact"}, "coarse")
    transverse = replace(
        isotropic_case, femur=isotropic_case.femur.model_copy(update={"cortex": "transverse"})
    )
    plain, other = solved(isotropic_case), solved(transverse)
    torsion = [s.stiffness("torsional_stiffness", "twist") for s in (plain, other)]
    assert torsion[1] / torsion[0] == pytest.approx(3300 / (17_000 / 2.6), rel=0.02)
    for quantity, load in (("axial_stiffness", "pull"), ("bending_stiffness", "frontal")):
        found = [s.stiffness(quantity, load) for s in (plain, other)]
        assert found[1] / found[0] == pytest.approx(1, rel=0.02)


def test_united_gap_in_transverse_bone_is_transverse_bone():
    # Definition: united tissue is the cortex's own material.
    case = case_of({"kind": "intact", "name": "intact"}, "coarse", loads=LOADS)
    case = replace(case, femur=case.femur.model_copy(update={"cortex": "transverse"}))
    intact = solved(case)

    def with_tissue(parts):
        return tuple(replace(p, material="tissue") if p.role == "gap" else p for p in parts)

    filled = case_of({"kind": "plate", "name": "filled"}, "coarse", ("united",))
    mesh = replace(intact.mesh, parts=with_tissue(intact.mesh.parts))
    geometry = replace(intact.geometry, parts=with_tissue(intact.geometry.parts))
    united = solve_stages(replace(filled, femur=case.femur), geometry, mesh)[0]
    difference = np.abs(united.solution.displacement - intact.solution.displacement).max(axis=(0, 1))
    assert (difference < 1e-7 * np.abs(intact.solution.displacement).max(axis=(0, 1))).all()
