"""The compiled product of a row against the plain loop that stands in for it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import scipy.sparse as sp

from pipeline.fem.kernels.arrays import Rows
from pipeline.fem.kernels.lanes import BLOCKS_AHEAD, LANES, plain_row_times
from pipeline.fem.kernels.passes import multiply

ROOT = Path(__file__).parents[2]


def uneven(kind: type) -> tuple[Rows, sp.bsr_array]:
    """A matrix with rows of 0 to 8 blocks."""
    rng = np.random.default_rng(11)
    sizes = np.arange(40) % 9
    indptr = np.concatenate([[0], np.cumsum(sizes)])
    indices = rng.integers(0, 40, indptr[-1])
    values = rng.standard_normal((len(indices), 9)).astype(kind)
    matrix = sp.bsr_array((values.reshape(-1, 3, 3), indices, indptr), shape=(120, 120))
    return (indptr, indices, values), matrix


@pytest.mark.parametrize(
    ("kind", "narrow"), [(np.float32, np.float32), (np.float64, np.float32), (np.float64, np.float64)]
)
def test_products_are_those_of_scipy_and_of_the_plain_loop(kind: type, narrow: type):
    # Definition; rows end within and beside what is asked for ahead.
    stored, matrix = uneven(kind)
    assert len(stored[1]) > BLOCKS_AHEAD
    x = np.random.default_rng(13).standard_normal((40, 3, LANES)).astype(narrow)
    found, plain = np.empty((40, 3, LANES), kind), np.empty((40, 3, LANES), kind)
    multiply(stored, x, found)
    for row in range(40):
        plain_row_times(stored, row, x, plain, row)
    expected = (matrix @ x.reshape(120, LANES)).reshape(x.shape)
    allowed = 50 * np.finfo(kind).eps
    np.testing.assert_allclose(found, expected, atol=allowed)
    np.testing.assert_allclose(plain, expected, atol=allowed)


def product() -> list[float]:
    stored, _ = uneven(np.float64)
    x = np.linspace(-1, 1, 40 * 3 * LANES).reshape(40, 3, LANES)
    out = np.empty_like(x)
    multiply(stored, x, out)
    return out.ravel().tolist()


def test_loops_run_without_the_compiler_too():
    # numba's own switch, for whoever looks for a fault or has no compiler for a machine.
    env = {**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, __file__], env=env, stdout=subprocess.PIPE, check=True)
    np.testing.assert_allclose(json.loads(done.stdout), product(), rtol=1e-12)


if __name__ == "__main__":
    sys.stdout.write(json.dumps(product()))
