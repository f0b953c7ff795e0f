"""Nails that are no plain tubes: slotted and broken ones."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from geometries.bone import Femur
from geometries.faces import Face
from geometries.nail import nail_parts
from geometries.parameters import Nail
from geometries.profiles import outer_profile
from geometries.solids import Geometry, Patch
from pipeline.fem.loads import rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import Array
from pipeline.measures.forces import Inside
from pipeline.measures.sections import cut_level
from pipeline.run.equilibrium import part_elasticity
from pipeline.verification.beams import open_constant
from pipeline.verification.body import Body
from tests.models import FEW_CELLS, SHORT_PLATE, case_of, geometry_of, own_constants, solve_stages

# --- A slotted nail alone ----------------------------------------------------------------------------

LOW, LENGTH, TORQUE = 40.0, 160.0, 2300.0


def nail_alone(**changes: float) -> Geometry:
    """The nail without bolts or bone, with its two ends as patches."""
    nail = Nail(length_mm=LENGTH, distal_end_mm=LOW, bolts={"proximal": 0, "distal": 0}, **changes)
    parts = tuple(nail_parts(nail, outer_profile(Femur())))
    patches = (Patch("distal_end", LOW, ("nail",)), Patch("proximal_end", LOW + LENGTH, ("nail",)))
    return Geometry(parts, patches, LOW + LENGTH, (LOW, LOW + LENGTH), None, {})


def twist_per_mm(mesh: Mesh, u: Array) -> float:
    """Slope of the mean rotation about z of slabs in the middle third, rad/mm."""
    angles, heights = [], np.linspace(LOW + LENGTH / 3, LOW + 2 * LENGTH / 3, 9)
    for z in heights:
        near = np.abs(mesh.nodes[:, 2] - z) < 2.0
        modes = rigid_modes(mesh.nodes[near], np.array([0.0, 0.0, z])).reshape(-1, 6)
        angles.append(np.linalg.lstsq(modes, u[near].ravel(), rcond=None)[0][5])
    return float(np.polyfit(heights, angles, 1)[0])


def free_torsion(geometry: Geometry) -> float:
    """Torsion constant J of a body twisted by opposite couples, free to warp at both ends, mm⁴."""
    mesh = build_mesh(geometry, "coarse")
    E, nu = own_constants(mesh)[0]
    body = Body(mesh, ((E, nu),))
    couples = body.unit_loads("proximal_end") - body.unit_loads("distal_end")
    solution = body.solve(TORQUE * couples[:, :, 5:], body.least_held())
    assert np.abs(solution.reaction).max() < 1e-5 * TORQUE  # nothing holds against the load
    return TORQUE / (E / (2 * (1 + nu)) * twist_per_mm(mesh, solution.displacement[:, :, 0]))


@pytest.mark.parametrize(
    ("diameter", "wall", "slot"),
    [(13.0, 1.4, 3.0), pytest.param(14.0, 2.0, 5.0, marks=pytest.mark.slow)],
)
def test_slotted_nail_twists_as_an_open_section(diameter: float, wall: float, slot: float):
    found = free_torsion(
        nail_alone(diameter_mm=diameter, cannulation_mm=diameter - 2 * wall, slot_mm=slot)
    )
    assert found == pytest.approx(open_constant(diameter, wall, slot), rel=0.05)


def test_closed_nail_twists_as_a_tube():
    # J = pi (D^4 - d^4) / 32, any handbook; and far above the open section.
    found = free_torsion(nail_alone(diameter_mm=13.0, cannulation_mm=10.2))
    assert found == pytest.approx(pi / 32 * (13.0**4 - 10.2**4), rel=0.005)
    assert found > 50 * open_constant(13.0, 1.4, 3.0)


# --- A broken nail in the bone -----------------------------------------------------------------------


@pytest.mark.slow
def test_a_broken_nail_carries_nothing_at_its_break():
    # Statics: a free end. Two bolts hold the lower piece, and above them nothing touches it.
    nail = {**FEW_CELLS, "break_mm": 215.0, "break_opening_mm": 1.0}
    construct = {"kind": "nail_plate", "name": "broken", "nail": nail, "plate": SHORT_PLATE}
    case = case_of(construct, "coarse", ("atrophic",))
    geometry = geometry_of(case)
    assert geometry.loose == ""
    mesh = build_mesh(geometry, "coarse")
    (one,) = solve_stages(case, geometry, mesh)
    inside = Inside(mesh, part_elasticity(mesh, one.stage), one.solution.displacement)
    for level in (190.0, 240.0):
        section = cut_level(inside, Face(level))
        assert {"nail", "plate"} < set(section.parts)
        carried, whole = section.parts["nail"], section.total
        assert np.abs(carried[3:]).max() < 1e-6 * np.abs(whole[3:]).max()
        assert np.abs(carried[:3]).max() < 1e-6 * np.abs(whole[:3]).max()
