"""Short names for kinds of arrays, and rows in compressed form."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Ints = NDArray[np.integer[Any]]
Flags = NDArray[np.bool_]
Rows = tuple[Ints, Ints, Array]
"""A matrix in compressed rows: indptr, indices, and values, those of blocks as (blocks, 9)."""


def row_of(indptr: Ints) -> Ints:
    """Row of each entry of a matrix in compressed rows."""
    return np.repeat(np.arange(len(indptr) - 1), np.diff(indptr))
