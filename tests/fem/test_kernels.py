"""Compiled loops on more than one thread, in a process of its own: tests run on one."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from pipeline.fem.kernels.threads import use_threads
from pipeline.fem.loads import unit_loads
from pipeline.fem.solver import solve as solver
from tests.models import end_held, own_constants, stiffness_of, tube

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def said() -> dict[str, Any]:
    """What this file says as a program for which numba launches two threads, however many cores."""
    env = {**os.environ, "NUMBA_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2", "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, __file__], env=env, stdout=subprocess.PIPE, check=True)
    return json.loads(done.stdout)


def threads_after(*counts: int) -> list[int]:
    """Threads that the loops use after each call."""
    found = []
    for count in counts:
        use_threads(count)
        found.append(numba.get_num_threads())
    return found


def displacements(threads: int) -> bytes:
    """Bits of the tube's displacements, found by the iterative solver on some threads."""
    mesh = tube()
    use_threads(threads)
    stiffness = stiffness_of(mesh, own_constants(mesh))
    forces = unit_loads(mesh, "proximal_end", np.array([0.0, 0.0, 17.0]))
    found = solver.solve(mesh, stiffness, forces, end_held(mesh))
    assert found.iterations > 0
    return found.displacement.tobytes()


def test_the_number_of_threads_falls_and_rises_up_to_what_was_launched(said: dict[str, Any]):
    # A worker lives through jobs with few and with many threads. Definition.
    assert said["threads"] == [1, 2, 1, 2]


def test_blas_keeps_to_one_thread(said: dict[str, Any]):
    assert said["blas"] == 1


def test_results_do_not_depend_on_the_number_of_threads(said: dict[str, Any]):
    # Each row and each scalar product is summed in one order: the same bits.
    assert said["same"]


if __name__ == "__main__":
    solver.DIRECT_UP_TO = 0
    threadpool_limits(2, user_api="blas")
    threads = threads_after(1, 2, 1, 99)
    blas = max(pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas")
    same = displacements(1) == displacements(2)
    sys.stdout.write(json.dumps({"threads": threads, "blas": blas, "same": same}))
