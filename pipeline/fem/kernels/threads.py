"""How many threads the compiled loops use."""

from __future__ import annotations

import numba
from threadpoolctl import threadpool_limits


def use_threads(count: int) -> None:
    """Let the compiled loops of this process use a number of threads, and BLAS one.

    A later call may lower or raise the number; its bound is what numba launched, by default one for
    each core.
    """
    threadpool_limits(1, user_api="blas")
    launched: int = vars(numba.config)["NUMBA_NUM_THREADS"]
    numba.set_num_threads(min(count, launched))
