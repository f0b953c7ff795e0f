"""The construct as a beam, against closed forms of tubes, plates, arcs and springs."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from scipy.integrate import trapezoid

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct
from geometries.materials import MATERIALS, isotropic
from geometries.nail import bolt_levels
from geometries.parameters import Nail
from geometries.solids import Frustum, Geometry, Part, Piece, Prism
from pipeline.measures.beam import CompositeBeam
from tests.models import Tube, case_of, geometry_of, specimen

BONE, NAIL = Tube(28.0, 11.0, "cortical"), Tube(11.0, 5.0, "titanium")


def elasticity_of(geometry: Geometry, **changed: np.ndarray) -> np.ndarray:
    """Of the named materials, but for roles that are given another."""
    known = {name: material.elasticity for name, material in MATERIALS.items()}
    known["tissue"] = np.zeros((6, 6))
    return np.stack([changed.get(part.role, known[part.material]) for part in geometry.parts])


def beam_of(geometry: Geometry, **changed: np.ndarray) -> CompositeBeam:
    return CompositeBeam.of(geometry, elasticity_of(geometry, **changed))


def test_bonded_tubes_are_springs_of_summed_rigidities():
    layers = [(t.outer, t.inner, t.material) for t in (BONE, NAIL)]
    geometry = geometry_of(case_of(specimen(150.0, 25.0, *layers), "coarse"))
    found = np.diag(beam_of(geometry).flexibility)[2:]
    EA, EI, GJ = (
        sum(getattr(t, modulus) * getattr(t, form) for t in (BONE, NAIL))
        for modulus, form in (("E", "A"), ("E", "I"), ("G", "J"))
    )
    np.testing.assert_allclose(found, 100.0 / np.array([EA, EI, EI, GJ]), rtol=2e-3)


def straight(part: Part, length: float) -> Geometry:
    return Geometry((part,), (), length, (0.0, length), None, {})


def test_a_cone_bends_by_the_integral_over_its_radius():
    # Integrals of 1 / r^2 and 1 / r^4 over r = a + (b - a) z / L, by hand.
    a, b, L, E = 7.0, 12.0, 90.0, MATERIALS["cortical"].modulus
    cone = Part("cone", "cortex", "cortical", (Piece(Frustum((0, 0, 0), (0, 0, L), a, b)),), 1.0)
    found = beam_of(straight(cone, L)).flexibility
    assert found[2, 2] == pytest.approx(L / (pi * E * a * b), rel=2e-3)
    assert found[3, 3] == pytest.approx(4 * L * (a**-3 - b**-3) / (3 * pi * E * (b - a)), rel=2e-3)


def test_a_force_beside_a_bar_bends_it():
    # Force on the shaft axis, bar a distance e away: L / EA + e^2 L / EI; any handbook.
    e, width, thick, L, E = 17.0, 13.0, 5.0, 40.0, MATERIALS["titanium"].modulus
    outline = tuple((r, z) for r, z in ((e - 2.5, 0), (e + 2.5, 0), (e + 2.5, L), (e - 2.5, L)))
    plate = Part("plate", "plate", "titanium", (Piece(Prism(outline, 180.0, width)),), thick)
    found = beam_of(straight(plate, L)).flexibility
    A, flat, edge = width * thick, width * thick**3 / 12, thick * width**3 / 12
    assert found[2, 2] == pytest.approx(L / (E * A) + e**2 * L / (E * flat), rel=0.02)
    assert found[4, 4] == pytest.approx(L / (E * flat), rel=0.02)  # about the anterior axis
    assert found[2, 4] == pytest.approx(e * L / (E * flat), rel=0.02)  # such a moment pulls at the axis
    assert found[3, 3] == pytest.approx(L / (E * edge), rel=0.02)
    assert found[5, 5] == pytest.approx(
        L * 2 * (1 + MATERIALS["titanium"].poisson) / E / (flat + edge), rel=0.02
    )


def test_a_bowed_bar_bends_under_a_force_along_its_chord():
    # Arc of radius R, half angle a, force along the chord: arm R (cos t - cos a), axial part cos t.
    femur = Femur(bow_radius_mm=700.0)
    base = assemble(NailConstruct(name="n", kind="nail"), femur, Defect())
    L, R, r = base.length, 700.0, 6.0
    rod = Part("rod", "cortex", "cortical", (Piece(Frustum((0, 0, 0), (0, 0, L), r, r)),), 1.0)
    geometry = replace(base, parts=(rod,), sections=(0.0, L), gap=None, pins=())
    E, A, I = MATERIALS["cortical"].modulus, pi * r**2, pi * r**4 / 4  # noqa: E741
    turn = np.linspace(-L / 2 / R, L / 2 / R, 20_001)
    arm = R * (np.cos(turn) - np.cos(L / 2 / R))
    expected = trapezoid(arm**2 / (E * I) + np.cos(turn) ** 2 / (E * A), turn) * R
    beam = beam_of(geometry)
    found = beam.flexibility
    assert found[2, 2] == pytest.approx(expected, rel=5e-3)
    assert beam.bent == pytest.approx(1 - L / (E * A) / expected, rel=5e-3)
    assert found[3, 3] == pytest.approx(
        L / (E * I), rel=5e-3
    )  # in the plane of the bow it stays bending
    assert beam_of(replace(geometry, bow=None)).bent == 0


def nail_geometry(**nail: object) -> tuple[Geometry, Nail]:
    made = Nail(diameter_mm=11.0, cannulation_mm=5.0, **nail)
    construct = NailConstruct(name="n", kind="nail", nail=made)
    return assemble(construct, Femur(), Defect(gap_mm=20.0)), made


RIGID = isotropic(1e12, 0.3)


def springs(geometry: Geometry, tissue: np.ndarray) -> float:
    """Torque per twist with rigid bone and bolts, N·mm: only nail and tissue are left."""
    beam = beam_of(geometry, cortex=RIGID, cancellous=RIGID, bolt=RIGID, gap=tissue)
    assert beam.free_nail is not None
    return 1 / beam.free_nail


def test_a_free_nail_twists_from_bolt_to_bolt():
    # GJ / L, L between the edges of the bolts next to the gap; tissue is a spring beside it.
    geometry, nail = nail_geometry()
    middle, levels = geometry.gap.height, bolt_levels(nail)
    low, high = max(z for z in levels if z < middle), min(z for z in levels if z > middle)
    alone = NAIL.G * NAIL.J / (high - low - nail.bolts.diameter_mm)
    assert springs(geometry, np.zeros((6, 6))) == pytest.approx(alone, rel=5e-3)
    soft = isotropic(300.0, 0.2)
    outer, inner = geometry.gap.radius, 12.0 / 2  # reamed 1 mm wider than the nail
    tissue = 300.0 / 2.4 * pi / 2 * (outer**4 - max(inner, Femur().canal_diameter_mm / 2) ** 4) / 20.0
    assert springs(geometry, soft) == pytest.approx(alone + tissue, rel=5e-3)


def test_a_nail_that_is_not_held_twice_carries_no_torque():
    for change in ({"break_mm": 215.0}, {"bolts": {"distal": 0, "proximal": 2}}):
        geometry, _ = nail_geometry(**change)
        assert springs(geometry, np.zeros((6, 6))) == 0


@pytest.mark.parametrize(("filling", "site"), [("bonded", 50.0), ("filler", 75.0)])
def test_what_fills_the_canal_does_not_raise_the_bound_of_a_free_nail(filling: str, site: float):
    # Marrow runs on through the gap, and in the wide canal near the knee it would count.
    tied, free = (
        assemble(
            NailConstruct(name="n", kind="nail", nail=Nail(diameter_mm=12.0, canal=canal)),
            Femur(),
            Defect(site_percent=site),
        )
        for canal in (filling, "void")
    )
    bounds = [beam_of(one) for one in (tied, free)]
    assert bounds[0].free_nail == pytest.approx(bounds[1].free_nail, rel=5e-3)
    assert bounds[0].flexibility[5, 5] < bounds[1].flexibility[5, 5]
