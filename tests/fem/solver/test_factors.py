"""The factorization against SciPy's, on matrices of many shapes."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
import scipy.sparse.linalg as spl

from pipeline.errors import SolveError
from pipeline.fem.kernels.arrays import Rows
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.solver.elimination import Elimination
from pipeline.fem.solver.factors import factor


def lattice(*sizes: int) -> sp.csr_array:
    """Neighbours on a lattice, each node beside itself too."""
    total = sp.csr_array(np.eye(1))
    for size in sizes:
        line = sp.diags_array([np.ones(size - 1), np.ones(size), np.ones(size - 1)], offsets=[-1, 0, 1])
        total = sp.csr_array(sp.kron(total, line))
    return total


def random_graph(size: int, seed: int) -> sp.csr_array:
    some = sp.random_array((size, size), density=2 / size, random_state=np.random.default_rng(seed))
    return sp.csr_array((some + some.T + sp.eye_array(size)) != 0).astype(float)


def two_of(graph: sp.csr_array) -> sp.csr_array:
    """Two copies that share nothing."""
    return sp.csr_array(sp.block_diag([graph, graph]))


def matrix_on(graph: sp.csr_array, seed: int) -> tuple[Rows, sp.csc_array]:
    """A positive definite matrix of blocks on a graph, of uneven entries: as rows and for SciPy."""
    rng = np.random.default_rng(seed)
    upper = sp.triu(graph, 1).tocoo()
    links = rng.standard_normal((len(upper.row), 3, 3))
    size = graph.shape[0]
    rows = np.concatenate([upper.row, upper.col, np.arange(size)])
    columns = np.concatenate([upper.col, upper.row, np.arange(size)])
    weight = np.bincount(rows[: -size or None], minlength=size) * 9.0 + 1
    own = weight[:, None, None] * np.eye(3)
    blocks = np.concatenate([links, links.transpose(0, 2, 1), own])
    order = np.lexsort((columns, rows))
    indptr = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=size))])
    stored = (indptr, columns[order], blocks[order].reshape(-1, 9))
    return stored, sp.csc_array(sp.bsr_array((blocks[order], columns[order], indptr)))


GRAPHS = {
    "one node": lattice(1),
    "no neighbours": sp.csr_array(np.eye(7)),
    "a line": lattice(90),
    "a block": lattice(9, 8, 7),
    "a long bar": lattice(3, 3, 60),
    "everything with everything": sp.csr_array(np.ones((23, 23))),
    "two bodies": two_of(lattice(5, 5, 5)),
    "at random": random_graph(400, 5),
}


@pytest.mark.parametrize("name", GRAPHS)
def test_solutions_equal_those_of_another_factorization(name: str):
    # SciPy's SuperLU; definition.
    stored, matrix = matrix_on(GRAPHS[name], 3)
    size = GRAPHS[name].shape[0]
    b = np.random.default_rng(7).standard_normal((size, 3, LANES))
    found = factor(stored).solve(b)
    expected = spl.splu(matrix).solve(b.reshape(3 * size, LANES)).reshape(b.shape)
    assert np.abs(found - expected).max() < 1e-12 * np.abs(expected).max()


@pytest.mark.parametrize("name", GRAPHS)
def test_fronts_hold_every_entry_of_the_factor(name: str):
    # Each column's rows are those of its front, and a front's rows lie in its ancestors. Definition.
    graph = GRAPHS[name]
    plan = Elimination.of(graph.indptr, graph.indices)
    assert sorted(plan.order) == list(range(graph.shape[0]))
    dense = graph.toarray()[plan.order][:, plan.order] != 0
    for j in range(len(dense)):  # the factor's pattern, column by column
        below = j + 1 + np.flatnonzero(dense[j + 1 :, j])
        dense[np.ix_(below, below)] = True
    front = np.repeat(np.arange(len(plan.parent)), np.diff(plan.starts))
    for j in range(len(dense)):
        last = plan.starts[front[j] + 1]
        below = np.flatnonzero(dense[:, j])
        assert set(below[below >= last]) <= set(plan.rows[front[j]])
    first, second, after = plan.chains()
    assert sorted([*first, *second, *after]) == list(range(len(dense)))
    assert not dense[np.ix_(first, second)].any()
    assert not dense[np.ix_(second, first)].any()


def test_what_costs_no_energy_is_refused():
    # A chain of springs that nothing holds: its matrix is singular. Statics.
    size = 12
    chain = 2 * np.eye(size) - np.eye(size, k=1) - np.eye(size, k=-1)
    chain[0, 0] = chain[-1, -1] = 1
    free = sp.bsr_array(sp.kron(chain, np.eye(3)), blocksize=(3, 3))
    with pytest.raises(SolveError, match="mechanism inside"):
        factor((free.indptr, free.indices, free.data.reshape(-1, 9)))
