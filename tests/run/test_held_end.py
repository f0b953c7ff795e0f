"""The support of a run: the whole distal end, in every direction."""

from __future__ import annotations

import numpy as np

from pipeline.fem.meshing.mesher import build_mesh
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import Equilibrium, Prepared, equilibria
from tests.models import case_of, geometry_of, specimen


def test_no_node_of_the_distal_end_moves_and_all_others_do():
    # Definition of the clamp.
    case = case_of(specimen(7.0, 2.0, (9.0, 0.0, "steel")), "coarse")
    geometry = geometry_of(case)
    mesh = build_mesh(geometry, "coarse")
    ((_, found),) = equilibria(Prepared.of(mesh, geometry, case), case, Clock())
    assert isinstance(found, Equilibrium)
    solution = found.touching.solution
    at_end = np.isclose(mesh.nodes[:, 2], 0.0)
    assert at_end.sum() > 10
    assert not solution.displacement[at_end].any()
    assert solution.displacement[~at_end].any(axis=(1, 2)).all()
