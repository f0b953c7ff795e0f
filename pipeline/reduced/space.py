"""A few hundred displacement fields that span what a construct does, orthonormal in energy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.fem import stiffness as elastic
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.space import Array, Flags, Ints
from pipeline.reduced.terms import Terms

LEAST_ENERGY = 1e-7  # of a snapshot's, of what the basis lacks of it; less moves no digit that is told


@dataclass(frozen=True)
class Space:
    """The basis, and each term's stiffness in it.

    Parameters
    ----------
    vectors : Array
        Fields (3 n, r), mm.
    terms : Array
        Stiffness of each term between them (terms, r, r), N·mm.
    blocks : tuple of int
        How many vectors there were after each snapshot.
    """

    vectors: Array
    terms: Array
    blocks: tuple[int, ...] = ()

    def compressed(self, ways: Array) -> Space:
        """The same in fewer vectors, which are sums (r, fewer) of these."""
        return Space(self.vectors @ ways, ways.T @ self.terms @ ways)


@dataclass(frozen=True)
class Share:
    """A stiffness that is nil in most places.

    Parameters
    ----------
    places : Ints
        Where in the pattern it is not (k,).
    nodes : Ints
        Whose rows these are (own,).
    matrix : BlockMatrix
        Its values between these nodes, N/mm.
    solid : array of bool
        Cells (m,) that have it.
    """

    places: Ints
    nodes: Ints
    matrix: BlockMatrix
    solid: Flags

    @classmethod
    def of(cls, stiffness: elastic.Stiffness) -> Share:
        """What there is of a stiffness."""
        places = np.flatnonzero(stiffness.blocks.any(axis=(1, 2)))
        rows = stiffness.pattern.rows[places]
        nodes, first = np.unique(rows, return_index=True)
        own = elastic.Pattern(
            np.append(first, len(rows)).astype(np.int32),
            np.searchsorted(nodes, stiffness.pattern.indices[places]).astype(np.int32),
            np.zeros((0, 0, 0), np.int32),
        )
        matrix = BlockMatrix(own, stiffness.blocks[places].reshape(-1, 9))
        return cls(places, nodes, matrix, stiffness.solid)

    def between(self, left: Array, right: Array) -> Array:
        """Products (k, l) of fields (n, 3, k) and (n, 3, l) by this stiffness."""
        own, inside = (one[self.nodes].reshape(3 * len(self.nodes), -1) for one in (left, right))
        return np.asarray(own.T @ _times(self.matrix, inside))


@dataclass(frozen=True)
class Grower:
    """What a space grows by: a stiffness term by term, and the energy that vectors are orthonormal in.

    Parameters
    ----------
    terms : tuple of Part
        Stiffness of each term at a number of one.
    reference : Stiffness
        Of the energy.
    """

    terms: tuple[Share, ...]
    reference: elastic.Stiffness

    @classmethod
    def of(cls, mesh: Mesh, pattern: elastic.Pattern, terms: Terms, elasticity: Array) -> Grower:
        """Set up with the energy of an elasticity (parts, 6, 6), MPa."""
        own = (elastic.assemble(mesh, pattern, one) for one in terms.elasticities)
        return cls(tuple(map(Share.of, own)), elastic.assemble(mesh, pattern, elasticity))

    @property
    def empty(self) -> Space:
        """No vectors yet."""
        count = self.reference.pattern.size
        return Space(np.zeros((3 * count, 0)), np.zeros((len(self.terms), 0, 0)))

    def stiffness(self, weights: Array) -> elastic.Stiffness:
        """The whole at numbers of the terms (terms,)."""
        blocks, solid = np.zeros(self.reference.blocks.shape), np.zeros_like(self.reference.solid)
        for weight, one in zip(weights, self.terms, strict=True):
            blocks[one.places] += weight * one.matrix.values.reshape(-1, 3, 3)
            solid |= one.solid
        return elastic.Stiffness(self.reference.pattern, blocks, solid)

    def grown(self, space: Space, snapshot: Array, weights: Array) -> Space:
        """A space with what it lacks of a snapshot's fields (3 n, k), as much as each matters (k,)."""
        fresh = self._fresh(space.vectors, snapshot, weights)
        vectors = np.hstack([space.vectors, fresh])
        old, count = space.vectors.shape[1], vectors.shape[1]
        terms = np.zeros((len(space.terms), count, count))
        terms[:, :old, :old] = space.terms
        shape = (self.reference.pattern.size, 3, -1)
        for one, share in zip(terms, self.terms, strict=True):
            both = share.between(vectors.reshape(shape), fresh.reshape(shape))
            one[:, old:], one[old:, :] = both, both.T
            one[old:, old:] = (both[old:] + both[old:].T) / 2
        return Space(vectors, terms, (*space.blocks, count))

    def _fresh(self, vectors: Array, snapshot: Array, weights: Array) -> Array:
        """What is new in a snapshot, orthonormal in energy and to the vectors."""
        reference = _blocks(self.reference)
        pushed = _times(reference, snapshot)
        sizes = np.sqrt(np.einsum("nk,nk->k", snapshot, pushed)) / weights
        fresh, pushed = snapshot / sizes, pushed / sizes
        for least in (LEAST_ENERGY, LEAST_ENERGY / 2):  # the second pass takes off what rounding left
            fresh = fresh - vectors @ (vectors.T @ pushed)
            pushed = _times(reference, fresh)
            energies, ways = np.linalg.eigh(fresh.T @ pushed)
            kept = np.flatnonzero(energies > least)[::-1]
            ways = ways[:, kept] / np.sqrt(energies[kept])
            fresh, pushed = fresh @ ways, pushed @ ways
        return np.asarray(fresh)


def _blocks(stiffness: elastic.Stiffness) -> BlockMatrix:
    return BlockMatrix(stiffness.pattern, stiffness.blocks.reshape(-1, 9))


def _times(matrix: BlockMatrix, fields: Array) -> Array:
    """A matrix times fields (3 n, k)."""
    found = np.empty(fields.shape)
    block = np.zeros((len(fields) // 3, 3, LANES))
    flat = block.reshape(len(fields), LANES)
    for first in range(0, fields.shape[1], LANES):
        some = fields[:, first : first + LANES]
        flat[:, : some.shape[1]] = some
        found[:, first : first + LANES] = (matrix @ block).reshape(flat.shape)[:, : some.shape[1]]
    return found
