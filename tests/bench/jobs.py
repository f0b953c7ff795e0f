"""One measurement in a process of its own: seconds, peak memory, iterations, as a line of JSON.

``python -m tests.bench.jobs JOB MODEL.npz THREADS``
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import scipy.sparse as sp
from threadpoolctl import threadpool_limits

from pipeline.fem import stiffness as elastic
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.kernels.passes import strain
from pipeline.fem.kernels.threads import use_threads
from pipeline.fem.solver import solve as solver
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.multigrid import SMOOTHING_STEPS
from pipeline.fem.solver.transfer import Corners
from tests.bench.model import Model, load

Result = dict[str, float]
ASKED = 1e-8
STAGES = ("woven", "atrophic", "empty")


def clock(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    value = work()
    return time.perf_counter() - start, value


def compiled(model: Model) -> None:
    """Compile every loop on a tiny problem, so that no timing holds a compiler."""
    from tests.bench.model import plate

    tiny = model if len(model.mesh.cells) < 20_000 else plate(1.6)
    solver.solve(tiny.mesh, tiny.stiffness(), tiny.forces, tiny.held)


def assembly(model: Model) -> Result:
    """Ours: pattern and all values."""
    seconds, _ = clock(model.stiffness)
    return {"seconds": seconds}


def form_assembly(model: Model) -> Result:
    """scikit-fem's elasticity form at its cheapest rule (order 2), the basis included."""
    from skfem import Basis, ElementTetP2, ElementVector, MeshTet2
    from skfem.models.elasticity import linear_elasticity

    mesh = MeshTet2(model.mesh.nodes.T.copy(), model.mesh.cells.T.copy())
    lam, mu = (model.elasticity[model.mesh.part_of, k, k2] for k, k2 in ((0, 1), (3, 3)))

    def work() -> None:
        basis = Basis(mesh, ElementVector(ElementTetP2()), intorder=2)
        points = np.ones((1, basis.X.shape[1]))
        linear_elasticity(lam[:, None] * points, mu[:, None] * points).assemble(basis)

    return {"seconds": clock(work)[0]}


def ours(model: Model) -> Result:
    """Set-up and six loads from an assembled matrix, to 1e-8 or to round-off where that is larger."""
    total = model.stiffness()
    solver.TOLERANCE = ASKED
    seconds, solution = clock(lambda: solver.solve(model.mesh, total, model.forces, model.held))
    return {
        "seconds": seconds,
        "iterations": solution.iterations,
        "residual": solution.residual,
        "checksum": float(np.abs(solution.displacement).max()),
    }


def blocks(model: Model) -> Result:
    """Eight loads at a time on a matrix that is set up: unit forces at nodes here and there."""
    total = model.stiffness()
    solver.TOLERANCE = ASKED
    ready = solver.Solver.of(model.mesh, total, model.held)
    loose = np.flatnonzero(~model.held.any(axis=1))
    rng = np.random.default_rng(1)
    forces = np.zeros((2, len(model.held), 3, LANES))
    for block in forces:
        block[rng.choice(loose, LANES), rng.integers(0, 3, LANES), np.arange(LANES)] = 1.0
    ready.solve(forces[0])
    seconds, solution = clock(lambda: ready.solve(forces[1]))
    return {"seconds": seconds, "iterations": solution.iterations}


def stages(model: Model) -> Result:
    """Set-up and six loads at three tissue stages, what depends on the mesh alone made once."""
    found = [model.at_stage(name) for name in STAGES]
    pattern = elastic.Pattern.of(model.mesh)
    totals = [elastic.assemble(one.mesh, pattern, one.elasticity) for one in found]
    solver.TOLERANCE = ASKED
    iterations: list[int] = []

    def work() -> None:
        corners = Corners.of(model.mesh, pattern)
        for total in totals:
            ready = solver.Solver.of(model.mesh, total, model.held, corners)
            iterations.append(ready.solve(model.forces).iterations)

    seconds, _ = clock(work)
    return {"seconds": seconds} | dict(zip(STAGES, iterations, strict=True))


def pardiso(model: Model) -> Result:
    """MKL PARDISO, symmetric positive definite: factor and six solves."""
    from pypardiso import PyPardisoSolver

    matrix, b = model.reduced()
    upper = sp.csr_matrix(sp.triu(matrix, format="csr"))
    solver = PyPardisoSolver(mtype=2)

    def work() -> Any:
        solver.factorize(upper)
        return solver.solve(upper, np.asfortranarray(b))

    seconds, x = clock(work)
    left = np.linalg.norm(matrix @ x - b, axis=0) / np.linalg.norm(b, axis=0)
    return {"seconds": seconds, "residual": left.max(), "checksum": float(np.abs(x).max())}


def ngsolve(model: Model) -> Result:
    """NGSolve's sparse Cholesky on the same matrix: factor and six solves."""
    import ngsolve as ng

    matrix, b = model.reduced()
    lower = sp.tril(matrix, format="coo")
    rows, columns = lower.row.tolist(), lower.col.tolist()
    size = matrix.shape[0]
    stored = ng.la.SparseMatrixSymmetricd.CreateFromCOO(rows, columns, lower.data, size, size)

    def work() -> float:
        inverse = stored.Inverse(inverse="sparsecholesky")
        largest = 0.0
        for column in b.T:
            right, out = stored.CreateColVector(), stored.CreateColVector()
            right.FV().NumPy()[:] = column
            out.data = inverse * right
            largest = max(largest, float(np.abs(out.FV().NumPy()).max()))
        return largest

    seconds, checksum = clock(work)
    return {"seconds": seconds, "checksum": checksum}


def bandwidth(model: Model) -> Result:
    """Bytes a second of a large copy and of our matrix passes, and the passes' share of the solve."""
    total = model.stiffness()
    A = BlockMatrix(total.pattern, total.blocks.reshape(-1, 9))
    rates, passes = {}, {}
    for name, matrix in (
        ("double", A),
        ("single", BlockMatrix(A.pattern, A.values.astype(np.float32))),
    ):
        x = np.ones((len(model.mesh.nodes), 3, LANES), matrix.values.dtype)
        y = np.empty_like(x)
        moved = matrix.values.nbytes + matrix.pattern.indices.nbytes + x.nbytes + y.nbytes
        strain(matrix.compressed, x, y)
        passes[name] = min(clock(lambda m=matrix, x=x, y=y: strain(m.compressed, x, y))[0]
                           for _ in range(5))  # fmt: skip
        rates[f"{name}_gb_s"] = moved / passes[name] / 1e9
    big = np.ones(40_000_000)
    out = np.empty_like(big)
    copy = min(clock(lambda: np.copyto(out, big))[0] for _ in range(3))
    seconds, solution = clock(lambda: solver.solve(model.mesh, total, model.forces, model.held))
    each = passes["double"] + SMOOTHING_STEPS * passes["single"]
    return rates | {
        "copy_gb_s": 2 * big.nbytes / copy / 1e9,
        "passes_share": solution.iterations * each / seconds,
    }


JOBS: dict[str, Callable[[Model], Result]] = {
    work.__name__: work
    for work in (assembly, form_assembly, ours, blocks, stages, pardiso, ngsolve, bandwidth)
}


def main() -> None:
    job, path, threads = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
    model = load(path)
    use_threads(threads)
    if job in ("ours", "blocks", "stages", "bandwidth"):
        compiled(model)
    with threadpool_limits(threads if job in ("pardiso", "ngsolve") else 1):
        result = JOBS[job](model)
    result["unknowns"], result["cells"] = model.mesh.unknowns, len(model.mesh.cells)
    result["peak_gb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(json.dumps(result))


if __name__ == "__main__":
    main()
