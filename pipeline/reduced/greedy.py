"""Which materials a construct is solved at, one after the other, until its space has all that matter.

A few points are spread over the ranges. Then comes the one at which the space of all snapshots differs
most from that without the last two, until nowhere is that more than allowed (after Hain et al. 2019,
Adv Comput Math 45:2191; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol, Self, TypeVar

import numpy as np
from scipy.linalg import cho_solve, cholesky, solve_triangular

from pipeline.fem.space import Array, Ints
from pipeline.fem.stiffness import Stiffness
from pipeline.reduced.ranges import Ranges
from pipeline.reduced.space import Grower, Space

ORDER = (0, 7, 3, 5, 1, 6, 2, 4)  # of the points that are spread: the first few reach far already
MOST = 12  # snapshots
LOOKED_AFTER = (3, 6, 8)  # snapshots, after which it is asked what else acts
HELD_BACK = 2  # the last snapshots, by whose share an answer is judged
TRIED = 128  # points of the ranges at which the next one is looked for
SEED = 1
COMPRESSED_AT = 64  # points of the ranges whose answers tell which coordinates are needed
LOST = 1e-8  # of the mean energy of an answer, in one coordinate that is left out
QUICK = 2e-5  # the same, where only movements are asked for, again and again
WANTED = 5e-4  # of each compliance, that the last snapshots may add anywhere
SETTLED = 1e-4  # the same, of a part of a load that a further snapshot leaves out


class FullModel(Protocol):
    """What a space is to answer, and the full model that does."""

    @property
    def forces(self) -> Array:
        """Nodal forces (3 n, k), N."""

    @property
    def weights(self) -> Array:
        """How much each matters (k,): 1 for a whole load, less for what is a small part of one."""

    def solved(self, stiffness: Stiffness, columns: Ints, guess: Array | None) -> Array:
        """Fields (3 n, columns) that answer some of the forces, from a first guess."""

    def extended(self, found: Spanned) -> Self:
        """With what else was found to act, after the others; itself if nothing was."""


@dataclass(frozen=True)
class Spanned:
    """A space, and the forces that it answers.

    Parameters
    ----------
    space : Space
        Of all snapshots.
    forces : Array
        Works of the forces in its vectors (r, k).
    worst : float
        What the last snapshots add at most to any compliance, of it.
    """

    space: Space
    forces: Array
    worst: float

    def answers(self, weights: Array, count: int | None = None) -> Array:
        """Sums (r, k) of the vectors that answer the forces, of the first vectors alone if so many."""
        n = len(self.forces) if count is None else count
        lower = factored(np.tensordot(weights, self.space.terms[:, :n, :n], axes=1))
        return np.asarray(cho_solve((lower, True), self.forces[:n], check_finite=False))


def factored(stiffness: Array) -> Array:
    """Lower factor (r, r) of a stiffness (r, r), which is used up."""
    return np.asarray(cholesky(stiffness, lower=True, overwrite_a=True, check_finite=False))


Kind = TypeVar("Kind", bound=FullModel)


class History:
    """How many vectors there were before the snapshots of each force."""

    def __init__(self) -> None:
        self._before: dict[int, list[int]] = {}

    def note(self, count: int, columns: Ints) -> None:
        """Keep that some forces have another snapshot, before which there were so many vectors."""
        for column in columns:
            self._before.setdefault(int(column), []).append(count)

    def added(self, found: Spanned, at: Array, weights: Array) -> Array:
        """What its last snapshots add to each force's compliance (k,), of it, as much as it matters.

        The factor of the leading block is the leading block of the factor: what is below it is theirs.
        """
        if not len(found.forces):
            return weights
        stiffness = np.tensordot(at, found.space.terms, axes=1)
        parts = solve_triangular(factored(stiffness), found.forces, lower=True, check_finite=False) ** 2
        own = (self._before.get(column, ()) for column in range(len(weights)))
        first = [one[-HELD_BACK] if len(one) >= HELD_BACK else 0 for one in own]
        late = np.arange(len(parts))[:, None] >= first
        return np.asarray((parts * late).sum(axis=0) / parts.sum(axis=0) * weights)


def span(grower: Grower, ranges: Ranges, source: Kind) -> tuple[Spanned, Kind]:
    """Take snapshots of what a construct answers to forces, until they span the ranges."""
    tried = np.stack([ranges.at(point) for point in ranges.spread(TRIED, SEED + 1)])
    spread = ranges.spread(len(ORDER), SEED)
    wanted = [ranges.at(spread[number]) for number in ORDER]
    found, had = Spanned(grower.empty, np.zeros((0, source.forces.shape[1])), np.inf), History()
    while wanted:
        at, guess = wanted.pop(0), None
        due = np.flatnonzero((source.weights == 1) | (had.added(found, at, source.weights) > SETTLED))
        if len(found.forces):
            guess = found.space.vectors @ found.answers(at)[:, due]
        snapshot = source.solved(grower.stiffness(at), due, guess)
        space = grower.grown(found.space, snapshot, source.weights[due])
        had.note(len(found.forces), due)
        if len(space.blocks) in LOOKED_AFTER:
            source = source.extended(Spanned(space, space.vectors.T @ source.forces, np.inf))
        found = Spanned(space, space.vectors.T @ source.forces, np.inf)
        if wanted:
            continue
        beyond = [had.added(found, one, source.weights).max() for one in tried]
        worst = int(np.argmax(beyond))
        found = replace(found, worst=float(beyond[worst]))
        if found.worst > WANTED and len(space.blocks) < MOST:
            wanted.append(tried[worst])
            tried = np.delete(tried, worst, axis=0)
    return found, source


def compressed(found: Spanned, ranges: Ranges, weights: Array) -> tuple[Spanned, int, int]:
    """The same in fewer coordinates, the weightiest first, and two counts of them.

    The first count is of those that the first snapshots gave, the other of those of them that alone
    answer movements.

    They are the principal ways of the answers at many points of the ranges, each as much as its force
    matters (forces,). What the first snapshots answer is answered by the first coordinates alone.
    """
    points = [ranges.at(point) for point in ranges.spread(COMPRESSED_AT, SEED + 2)]
    count = len(found.forces)
    early = found.space.blocks[-1 - HELD_BACK]
    first, sizes = _principal(_covariance(found, points, weights, early))
    every = _covariance(found, points, weights, count)
    rest = np.eye(count) - first @ first.T
    ways = np.hstack([first, _principal(rest @ every @ rest)[0]])
    small = Spanned(found.space.compressed(ways), ways.T @ found.forces, found.worst)
    return small, len(sizes), int(np.count_nonzero(sizes > QUICK))


def _covariance(found: Spanned, points: list[Array], weights: Array, count: int) -> Array:
    """Mean products (r, r) of the answers of the first coordinates, each of its weight's size."""
    total = np.zeros((len(found.forces),) * 2)
    for point in points:
        answers = found.answers(point, count)
        answers *= weights / np.linalg.norm(answers, axis=0)
        total[:count, :count] += answers @ answers.T / len(points)
    return total


def _principal(covariance: Array) -> tuple[Array, Array]:
    """Principal ways (r, fewer) that lose less than is wanted of any answer, and their sizes."""
    sizes, ways = np.linalg.eigh(covariance)
    kept = np.flatnonzero(sizes > LOST)[::-1]
    return ways[:, kept], sizes[kept]
