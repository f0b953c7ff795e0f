"""A stiffness of 3 by 3 blocks: what the solver multiplies with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.fem.kernels.arrays import Rows
from pipeline.fem.kernels.passes import strain
from pipeline.fem.space import Array
from pipeline.fem.stiffness import Pattern


@dataclass(frozen=True)
class BlockMatrix:
    """A stiffness: a pattern and its values (blocks, 9), of which each row adds up to nil.

    So products go by differences of movements; see `kernels.lanes.row_differences`.
    """

    pattern: Pattern
    values: Array

    def __matmul__(self, x: Array) -> Array:
        y = np.empty_like(x)
        strain(self.compressed, x, y)
        return y

    @property
    def compressed(self) -> Rows:
        """indptr, indices and values, as the compiled loops take them."""
        return self.pattern.indptr, self.pattern.indices, self.values

    @cached_property
    def diagonal(self) -> Array:
        """Diagonal blocks (n, 3, 3)."""
        return self.values[self.pattern.diagonal].reshape(-1, 3, 3)
