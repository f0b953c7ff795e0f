"""Soft tissue between bone ends, strain bands, and bone with other constants across the shaft."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometries.materials import MATERIALS
from pipeline.measures.bands import SORTINGS, strain_bands
from pipeline.measures.implants import goodman
from pipeline.measures.literature import SCHEMES
from pipeline.study.config import StudyConfig
from tests.verification.helpers import LOADS, case_of, solve_stages, solved


@pytest.mark.parametrize("scheme", list(SCHEMES))
def test_bands_sort_all_of_the_volume(scheme):
    # Definition: every point lies in exactly one band.
    rng = np.random.default_rng(5)
    e = np.sort(rng.normal(0, 0.6, (5000, 3)) * rng.uniform(0, 1, (5000, 1)) ** 3, axis=1)
    weights, pressure = rng.uniform(0.1, 1, 5000), rng.normal(0, 0.3, 5000)
    shares = [m.value for m in strain_bands(scheme, e, pressure, weights)]
    assert sum(shares) == pytest.approx(100)
    assert min(shares) > 0


@pytest.mark.parametrize(
    ("scheme", "e", "pressure", "band"),
    [
        ("classical", (-0.018, 0.0, 0.004), 0.0, "under_2"),  # Perren 1979; from memory
        ("classical", (-0.09, 0.0, 0.01), 0.0, "2_to_10"),
        ("classical", (-0.01, 0.0, 1.2), 0.0, "over_100"),
        ("pressure", (-0.04, 0.0, 0.01), 0.10, "under_5_and_0.15MPa"),  # Claes et al. 1998
        ("pressure", (-0.14, 0.0, 0.01), 0.20, "under_15_over_0.15MPa"),
        ("pressure", (-0.14, 0.0, 0.01), -0.20, "rest"),
        ("deviatoric", (-0.0004, 0.0, 0.0), 0.0, "under_0.05"),  # Isaksson et al. 2006; from memory
        ("deviatoric", (-0.06, 0.0, 0.05), 0.0, "over_5"),
    ],
)
def test_bands_have_the_published_limits(scheme, e, pressure: float, band: str):
    found = strain_bands(scheme, np.array([e]), np.array([pressure]), np.ones(1))
    assert [m.location for m in found if m.value == 100] == [f"{scheme}/{band}"]


def test_study_offers_every_scheme():
    # Definition: the file format and the measures name the same schemes.
    (annotation, _) = StudyConfig.model_fields["strain_bands"].annotation.__args__
    assert annotation.__args__ == tuple(SCHEMES) == tuple(SORTINGS)


def test_goodman_meets_both_ends_of_its_line():
    # Goodman line (any handbook; from memory): with a mean of nothing but amplitude it is the endurance
    # limit, with an endless endurance the ultimate stress.
    assert goodman(400.0, 200.0, 1e12) == pytest.approx(1.0)
    assert goodman(400.0, 1e12, 200.0) == pytest.approx(1.0)
    assert goodman(300.0, 450.0, 860.0) == pytest.approx(1 / (150 / 450 + 150 / 860))


# --- Bone with other constants across the shaft ------------------------------------------------------


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
