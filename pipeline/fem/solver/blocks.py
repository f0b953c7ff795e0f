"""Square matrices of 3 by 3 blocks: what the solver multiplies with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from pipeline.fem.kernels import multiply
from pipeline.fem.space import Array, Ints
from pipeline.fem.stiffness import Pattern


@dataclass(frozen=True)
class BlockMatrix:
    """Square matrix of 3 by 3 blocks: a pattern and its values (blocks, 9)."""

    pattern: Pattern
    values: Array

    @classmethod
    def held(cls, pattern: Pattern, values: Array, free: Array) -> BlockMatrix:
        """The matrix with held unknowns (free == 0) cut off and ones on their diagonal."""
        masked, held = values.copy(), (free == 0).any(axis=1)
        touched = np.flatnonzero(held[pattern.rows] | held[pattern.indices])
        rows, columns = free[pattern.rows[touched]], free[pattern.indices[touched]]
        masked[touched] *= rows[:, :, None] * columns[:, None, :]
        masked[pattern.diagonal] += np.eye(3) * (1 - free)[:, None, :]
        return cls(pattern, masked.reshape(-1, 9))

    def __matmul__(self, x: Array) -> Array:
        y = np.empty_like(x)
        multiply(self.pattern.indptr, self.pattern.indices, self.values, x, y)
        return y

    @property
    def compressed(self) -> tuple[Ints, Ints, Array]:
        """indptr, indices and values, as the compiled loops take them."""
        return self.pattern.indptr, self.pattern.indices, self.values

    @cached_property
    def inverse_diagonal(self) -> Array:
        """Inverse diagonal blocks (n, 9)."""
        blocks = self.values[self.pattern.diagonal].astype(float).reshape(-1, 3, 3)
        return np.linalg.inv(blocks).reshape(-1, 9).astype(self.values.dtype)

    def single(self) -> BlockMatrix:
        """The same in single precision."""
        return BlockMatrix(self.pattern, self.values.astype(np.float32))

    def sparse(self) -> sp.bsr_array:
        """As a SciPy matrix."""
        pattern, size = self.pattern, 3 * self.pattern.size
        blocks = (self.values.reshape(-1, 3, 3), pattern.indices, pattern.indptr)
        return sp.bsr_array(blocks, shape=(size, size))
