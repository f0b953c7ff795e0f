"""Fields of many columns as a product of two factors, where far fewer say all that they do."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.fem.kernels.dense import summed_in_double
from pipeline.fem.space import Array

LOST = 1e-4


@dataclass(frozen=True)
class Factored:
    """An array (..., columns) that is only ever multiplied.

    Parameters
    ----------
    left : Array
        (..., k), stored in single precision, which errs by less than what was left out.
    right : Array
        (k, columns).
    """

    left: Array
    right: Array

    @classmethod
    def of(cls, values: Array, seen: Array, lost: float = LOST) -> Factored:
        """Factors of values (..., columns) that lose nothing of note of any product that was seen.

        Parameters
        ----------
        values : Array
            (..., columns).
        seen : Array
            What it was multiplied with (columns, products).
        lost : float
            Of a product's size at most.
        """
        flat = values.reshape(-1, values.shape[-1])
        products = flat @ seen
        sizes = np.linalg.norm(products, axis=0)
        ways, singular, _ = np.linalg.svd(
            products / np.where(sizes > 0, sizes, 1.0), full_matrices=False
        )
        kept = singular > lost
        left = ways[:, kept]
        right = left.T @ flat
        return cls(left.reshape(*values.shape[:-1], -1).astype(np.float32), right)

    def through(self, states: Array) -> Factored:
        """The same where the columns are sums (columns, states) of these."""
        return replace(self, right=self.right @ states)

    def __matmul__(self, shares: Array) -> Array:
        *rows, count = self.left.shape
        own = (self.right @ shares).reshape(count, -1)
        products = summed_in_double(self.left.reshape(-1, count), own)
        return products.reshape(*rows, *shares.shape[1:])


def combined(values: Array | Factored, shares: Array) -> Array:
    """Sums (..., products) of columns (..., columns) by their shares (columns, products)."""
    if isinstance(values, Factored):
        return values @ shares
    return np.asarray(np.tensordot(values, shares, axes=1))


@dataclass(frozen=True)
class FactoredField:
    """A tensor field at quadrature points, in factors.

    Parameters
    ----------
    values : Factored
        (points, 6, columns): xx, yy, zz, xy, yz, zx.
    weights : Array
        Volume of each point (points,), mm³.
    """

    values: Factored
    weights: Array

    def through(self, states: Array) -> FactoredField:
        """The same where the columns are sums (columns, states) of these."""
        return replace(self, values=self.values.through(states))

    def under(self, shares: Array) -> Array:
        """Tensors (points, 6) under shares of the columns."""
        return self.values @ shares
