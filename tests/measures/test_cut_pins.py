"""Forces through a pin against statics: a bar across the shaft, held at its tip, loaded at its head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geometries.readout import Pin
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.forces import Inside
from pipeline.measures.sections import cut_pin
from pipeline.run.equilibrium import part_elasticity
from tests.models import Solved, case_of, solved, specimen

LENGTH, CUT = 30.0, 11.0


def lying(bar: Solved) -> tuple[Mesh, Array]:
    """A solved bar turned so that its axis points laterally, as a screw's, and its displacements."""
    turn = np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])  # z to -x, x to z
    part = replace(bar.mesh.parts[0], name="screw_1", role="screw")
    mesh = replace(bar.mesh, nodes=bar.mesh.nodes @ turn.T, parts=(part,))
    return mesh, np.einsum("ij,njl->nil", turn, bar.solution.displacement)


def test_a_cut_pin_carries_what_acts_on_its_head():
    # Statics of a cantilever: what pulls and turns the head does so at the cut, in the pin's own
    # frame; a transverse force bends it there with the arm from the head to the cut.
    bar = solved(case_of(specimen(LENGTH, 5.0, (6.0, 0.0, "steel")), "coarse"))
    mesh, displacement = lying(bar)
    pin = Pin("screw_1", (0.0, 0.0, 0.0), (-1.0, 0.0, 0.0), 6.0, {"plate_gap": CUT})
    inside = Inside(mesh, part_elasticity(mesh, bar.stage), displacement)
    frame = np.array([[0, 0, 1], [1, 0, 0], [0, 1, 0]])  # axis, up and across from the bar's x, y, z
    expected = np.zeros((6, 6))
    expected[:3, :3] = expected[3:, 3:] = frame
    expected[5, 0], expected[4, 1] = LENGTH - CUT, CUT - LENGTH
    found = cut_pin(inside, pin, "plate_gap")
    np.testing.assert_allclose(found, expected, atol=1e-6 * LENGTH)
