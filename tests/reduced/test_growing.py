"""What a space grows by, and by which forces it is asked whether it has grown enough."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.reduced.greedy import History, Spanned
from pipeline.reduced.space import Share, Space
from pipeline.run.equilibrium import NO_STAGE, part_elasticity
from tests.reduced.conftest import prepared

ONE = np.ones(1)


def test_the_part_of_one_material_multiplies_as_the_whole_matrix_does():
    made = prepared()
    whole = made.assembled(part_elasticity(made.geometry, NO_STAGE), [1])
    share = Share.of(whole)
    assert len(share.nodes) < len(made.mesh.nodes)
    chance = np.random.default_rng(3)
    left, right = (chance.standard_normal((len(made.mesh.nodes), 3, k)) for k in (3, 10))
    product = np.empty((*right.shape[:2], 10))
    matrix = BlockMatrix(made.pattern, whole.blocks.reshape(-1, 9))
    for k in range(10):
        product[:, :, k] = (matrix @ np.ascontiguousarray(np.repeat(right[:, :, [k]], 8, axis=2)))[
            :, :, 0
        ]
    expected = np.tensordot(left, product, axes=([0, 1], [0, 1]))
    assert share.between(left, right) == pytest.approx(
        expected, rel=1e-9, abs=1e-9 * abs(expected).max()
    )


def test_a_force_is_judged_by_its_own_last_snapshots():
    # Stiffness one, so that a compliance is the sum of squares: of 4, 1 and 1 the last two are a third.
    spanned = Spanned(
        Space(np.eye(3), np.eye(3)[None], (1, 2, 3)), np.array([[2.0] * 3, [1.0] * 3, [1.0] * 3]), 0.0
    )
    history = History()
    history.note(0, np.array([0, 1, 2]))
    history.note(1, np.array([0, 1]))
    history.note(2, np.array([0]))
    weights = np.array([1.0, 1.0, 0.5])
    assert history.added(spanned, ONE, weights) == pytest.approx([1 / 3, 1.0, 0.5])
