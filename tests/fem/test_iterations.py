"""What a slip in the preconditioner costs: answers stay right, only the iterations tell of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import eigvalsh_tridiagonal

from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.solver import krylov
from pipeline.fem.solver.multigrid import Cycle
from pipeline.fem.solver.solve import solve
from pipeline.fem.space import Array
from tests.models import case_of, end_held, geometry_of, own_constants, specimen, stiffness_of

MOST = 20  # both tubes below take 17; another release of the mesher may take one or two more


@pytest.mark.parametrize("length", [17.0, 34.0])
def test_a_tube_with_a_core_takes_few_iterations_however_long(
    monkeypatch: pytest.MonkeyPatch, length: float
):
    # Two-level methods are of optimal order: the count does not grow with the mesh ("Preconditioning
    # and two-level multigrid methods of arbitrary degree of approximation", read in its abstract).
    monkeypatch.setattr("pipeline.fem.solver.solve.DIRECT_UP_TO", 0)
    tube = specimen(length, 4.0, (15.0, 9.0, "cortical"), (9.0, 4.0, "titanium"))
    mesh = build_mesh(geometry_of(case_of(tube, "coarse")), "coarse")
    forces = unit_loads(mesh, "proximal_end", np.array([0.0, 0.0, length]))
    found = solve(mesh, stiffness_of(mesh, own_constants(mesh)), forces, end_held(mesh))
    assert 5 <= found.iterations <= MOST


def on_soft_tissue() -> Mesh:
    """A rod in a tube, and between them a curved layer of soft tissue thinner than its cells."""
    thin = specimen(
        17.0, 4.0, (15.0, 12.4, "cortical"), (12.4, 12.0, "cancellous"), (12.0, 4.0, "titanium")
    )
    mesh = build_mesh(geometry_of(case_of(thin, "coarse")), "coarse")
    roles = ("cortex", "inner", "nail")
    parts = tuple(replace(part, role=role) for part, role in zip(mesh.parts, roles, strict=True))
    return replace(mesh, parts=parts)


def ritz_values(monkeypatch: pytest.MonkeyPatch, mesh: Mesh, constants: Array) -> tuple[Array, int]:
    """Eigenvalues of the preconditioned matrix as one load's iteration sees them, and its steps."""
    along, back = list[float](), list[float]()

    def advanced(own: Cycle, share: Array, *rest: Array, plain=Cycle.advance) -> Array:
        along.append(float(share[0]))
        return plain(own, share, *rest)

    def turned(z: Array, share: Array, p: Array, plain=krylov.turn) -> None:
        back.append(float(share[0]))
        plain(z, share, p)

    monkeypatch.setattr(Cycle, "advance", advanced)
    monkeypatch.setattr(krylov, "turn", turned)
    forces = unit_loads(mesh, "proximal_end", np.array([0.0, 0.0, 17.0]))
    found = solve(mesh, stiffness_of(mesh, constants), forces, end_held(mesh) & outermost(mesh))
    first = len(along) if 0.0 not in along[1:] else along.index(0.0, 1)
    a, b = np.array(along[1:first]), np.array(back[1 : first - 1])
    main = 1 / a + np.concatenate([[0.0], b / a[:-1]])
    return eigvalsh_tridiagonal(main, np.sqrt(b) / a[:-1]), found.iterations


def outermost(mesh: Mesh) -> np.ndarray:
    """Components (n, 3) of the first part's nodes."""
    found = np.zeros(mesh.nodes.shape, dtype=bool)
    found[mesh.cells[mesh.part_of == 0]] = True
    return found


def test_a_body_on_a_thin_soft_layer_leaves_no_slow_mode(monkeypatch: pytest.MonkeyPatch):
    # The conjugate gradients' own tridiagonal matrix (Golub & Van Loan, Matrix Computations, 10.2, from
    # memory). A layer that locks, or drags the rod's surface along, gives values down to 0.0004.
    monkeypatch.setattr("pipeline.fem.solver.solve.DIRECT_UP_TO", 0)
    constants = np.array([[17_000.0, 0.3], [0.5, 0.45], [110_000.0, 0.34]])
    values, iterations = ritz_values(monkeypatch, on_soft_tissue(), constants)
    assert values.min() > 0.15
    assert iterations <= 30
