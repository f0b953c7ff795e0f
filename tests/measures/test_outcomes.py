"""Bone, tissue and implant outcomes on fields whose answers are known by hand."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from geometries.faces import Face
from geometries.materials import MATERIALS, isotropic
from geometries.readout import GapFrame, Pin
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import EDGES
from pipeline.fem.tetrahedra import Tetrahedra
from pipeline.measures.bone import energy_density, sleeve_strain, sleeves, zones
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.field import Field
from pipeline.measures.flags import clearance_use, flags
from pipeline.measures.gap import tissue
from pipeline.measures.implants import DeformedImplant, implant_stress
from pipeline.run.equilibrium import part_elasticity
from pipeline.study.stages import Stage

ONE = np.ones(1)
CORNERS = 12.0 * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
BAR = np.concatenate([CORNERS, CORNERS[EDGES].mean(axis=1)])  # one cell, 288 mm³
SQUEEZE = np.diag([0.002, 0.001, -0.009])  # uniform strain: principal values known by sight


def pressed(mesh: Mesh) -> np.ndarray:
    return (mesh.nodes @ SQUEEZE)[:, :, None]


def values(measures) -> dict[tuple[str, str], float]:
    found = {(m.quantity, m.location): m.value for m in measures}
    assert {quantity for quantity, _ in found} <= set(QUANTITIES)
    return found


# --- Bone round a screw ------------------------------------------------------------------------------


def test_sleeve_reads_the_bone_within_its_distance(small: Mesh):
    # Uniform strain is the same in every sleeve; the sleeve's volume is that of a bar of its radius
    # through the wall of the tube, 9 to 15 mm wide, to the coarseness of the quadrature points.
    pin = Pin("screw_1", (0.0, 0.0, 8.5), (-1.0, 0.0, 0.0), 3.0, {})
    near, far = sleeves(small, pin, pressed(small))
    assert (near.place, far.place) == ("screw_1/near", "screw_1/far")
    assert near.strain.weights.sum() == pytest.approx(pi * (1.5 + 1.5) ** 2 * 3, rel=0.15)
    found = values(sleeve_strain(near, ONE))
    assert found["screw_bone_strain_mean", "screw_1/near"] == pytest.approx(-0.9)
    assert found["screw_bone_strain_p5", "screw_1/near"] == pytest.approx(-0.9)
    whole = near.strain.weights.sum()
    assert found["screw_bone_volume_over", "screw_1/near/0.7"] == pytest.approx(whole)
    assert found["screw_bone_volume_over", "screw_1/near/1.0"] == 0


def test_pulled_bone_is_not_counted_as_crushed(small: Mesh):
    near, _ = sleeves(small, Pin("screw_1", (0.0, 0.0, 8.5), (0.0, 1.0, 0.0), 3.0, {}), -pressed(small))
    found = values(sleeve_strain(near, ONE))
    assert found["screw_bone_volume_over", "screw_1/near/0.7"] == 0


def test_energy_density_of_uniform_strain(small: Mesh):
    # Half of strain times stress (definition), MPa to kPa; zones split the tube by their distances.
    stage = Stage(name="empty")
    elasticity = part_elasticity(small, stage)
    frame = GapFrame(Face(0.0), Face(0.0), 7.5, 0.0)
    (zone,) = zones(small, frame, pressed(small), elasticity)
    assert zone.place.endswith("/0-20mm")
    strain = np.array([0.002, 0.001, -0.009, 0, 0, 0])
    expected = 0.5e3 * strain @ isotropic(17_000.0, 0.30) @ strain
    assert energy_density(zone, ONE).value == pytest.approx(expected)
    assert energy_density(zone, 2 * ONE).value == pytest.approx(4 * expected)


# --- Tissue ------------------------------------------------------------------------------------------


def test_pressed_tissue_has_positive_pressure():
    # Hydrostatic compression: p = 3 K e (derived), K = E / 3 / (1 - 2 nu).
    strain = Field(np.array([[-0.01, -0.01, -0.01, 0, 0, 0]])[:, :, None], np.array([2.5]))
    found = values(tissue("cuff/", strain, isotropic(5.0, 0.3), ("classical",), ONE))
    assert found["tissue_pressure", "cuff/p50"] == pytest.approx(5.0 / (1 - 0.6) * 0.01)
    assert found["tissue_strain_volumetric", "cuff/p95"] == pytest.approx(-3.0)
    assert found["tissue_strain_octahedral", "cuff/p99"] == pytest.approx(0.0, abs=1e-12)
    assert found["strain_band", "cuff/classical/under_2"] == 100
    assert found["tissue_volume", "cuff"] == 2.5


# --- Implants ----------------------------------------------------------------------------------------


def test_factors_follow_the_published_limits():
    # ASTM F136: yield 795, ultimate 860 MPa; data sheets: 140 MPa notched, 500 MPa smooth at 1e7
    # cycles. A bar under 240 MPa, pulsating.
    pulled = np.array([-0.33, -0.33, 1.0]) * 240.0 / 110_000.0 * BAR  # Poisson's ratio 0.33
    nail = DeformedImplant(
        "nail", Tetrahedra(BAR, np.arange(10)[None]), pulled[:, :, None], isotropic(110_000.0, 0.33),
        MATERIALS["titanium"].strength,
    )  # fmt: skip
    found = values(implant_stress(nail, ONE))
    assert found["von_mises_5mm3", "nail"] == pytest.approx(240)
    assert found["yield_factor", "nail"] == pytest.approx(795 / 240)
    assert found["endurance_factor", "nail/notched"] == pytest.approx(1 / (120 / 140 + 120 / 860))
    assert found["endurance_factor", "nail/smooth"] == pytest.approx(1 / (120 / 500 + 120 / 860))


# --- Flags -------------------------------------------------------------------------------------------


def strain_of(closing: float, opening: float, sliding: float = 0.0) -> list[Measure]:
    ways = {"closing": closing, "opening": opening, "sliding": sliding}
    return [Measure("rim_strain", way, percent) for way, percent in ways.items()]


@pytest.mark.parametrize(
    ("strains", "moved", "has_tissue", "can_overlap", "words"),
    [
        ((9.0, 0.05), 0.4, True, True, []),
        ((12.0, 0.0), 0.4, True, True, ["gap strain 12 % (closing, at the rim)"]),
        ((2.0, 0.0, 17.0), 0.4, True, True, ["gap strain 17 % (sliding, at the rim)"]),
        ((130.0, 0.0), 0.4, True, True, ["gap strain 130 %", "bone ends overlap"]),
        ((100.4, 0.0), 0.4, True, False, ["gap strain 100 %"]),
        ((0.0, 140.0), 0.4, False, True, ["gap strain 140 % (opening"]),
        ((5.0, 3.0), 0.4, True, True, ["bonded gap tissue is pulled"]),
        ((5.0, 3.0), 0.4, False, True, []),
        ((5.0, 0.0), 0.6, True, True, ["nail moves 0.60 mm in 0.50 mm clearance"]),
    ],
)
def test_flags_say_where_the_model_ends(
    strains, moved: float, has_tissue: bool, can_overlap: bool, words: list[str]
):
    # Small strains end at about 10 %; bone ends meet at 100 % (definition), and where stops keep them
    # apart they may be that much closer which stops allow.
    nail = (np.array([[[0.1], [0.0]], [[0.0], [-moved]]]), 0.5)
    found = list(flags(strain_of(*strains), nail, ONE, has_tissue=has_tissue, can_overlap=can_overlap))
    assert len(found) == len(words)
    for sentence, start in zip(found, words, strict=True):
        assert sentence.startswith(start)


@pytest.mark.parametrize(
    ("measure", "words"),
    [
        (Measure("gap_rotation", "shaft", -99.0), "bone ends turn by 99°, beyond small rotations"),
        (Measure("gap_rotation", "shaft", 9.9), ""),
        (Measure("yield_factor", "nail", 0.63), "nail: yield factor 0.63, beyond the elastic"),
        (Measure("yield_factor", "nail", 1.01), ""),
        (Measure("tissue_strain_octahedral", "cuff/p95", 14.0), "tissue shear 14 % or more"),
        (Measure("tissue_strain_octahedral", "p50", 14.0), ""),
    ],
)
def test_what_is_no_longer_small_or_elastic_is_flagged(measure: Measure, words: str):
    # The sine of 10 degrees is half a percent less than the angle; yield by the material's standard.
    found = list(flags([measure], None, ONE, has_tissue=True, can_overlap=True))
    assert (" | ".join(found)).startswith(words)
    assert bool(found) == bool(words)


def test_clearance_use_is_the_nail_against_the_bone(small: Mesh):
    # A rigid shift of the core alone, by hand: the tube stays, the core moves.
    u = np.zeros((*small.nodes.shape, 1))
    core = np.unique(small.cells[small.cells_of("nail")])
    bone = np.unique(small.cells[small.cells_of("cortex")])
    u[core] = np.array([0.3, -0.4, 9.0])[:, None]
    u[bone] = 0.0
    apart = clearance_use(small, u)
    shared = np.isin(core, bone).mean()  # nodes of the bonded face belong to both
    assert 0 < shared < 0.6
    assert np.linalg.norm(apart[:, :, 0], axis=1) == pytest.approx(0.5 * (1 - shared), rel=0.25)


def test_a_nail_that_moves_along_with_the_bone_uses_no_clearance(small: Mesh):
    # Definition: only the movement against each other counts.
    u = np.broadcast_to(np.array([0.7, -1.1, 3.0])[:, None], (*small.nodes.shape, 1))
    np.testing.assert_allclose(clearance_use(small, u), 0, atol=1e-12)
