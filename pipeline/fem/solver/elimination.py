"""In which order a sparse matrix is factored, and in which dense pieces.

A front is a run of columns of the factor with the same rows below, so that dense algebra treats them
as one. Runs whose rows differ by little are joined: the zeros that this stores cost less than many
small products.

References
----------
George 1973, SIAM J Numer Anal 10:345, for nested dissection; Duff & Reid 1983, ACM Trans Math Softw
9:302, for fronts; Ashcraft & Grimes 1989, ACM Trans Math Softw 15:291, for joining them (all from
memory).
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from pymetis import CSRAdjacency, nested_dissection

from pipeline.fem.kernels.arrays import row_of
from pipeline.fem.kernels.trees import column_counts, elimination_tree, front_rows, postorder
from pipeline.fem.space import Ints

FEW = 8  # columns
ZEROS_OF_FEW, ZEROS = 0.4, 0.1  # share of zeros that a joined front may store
LIGHT = 3.0


@dataclass(frozen=True)
class Elimination:
    """Order and fronts of a symmetric matrix of blocks.

    Parameters
    ----------
    order : Ints
        Node (n,) at each place of the elimination.
    starts : Ints
        Place of the first column of each front, and n (fronts + 1,).
    rows : tuple of Ints
        Places of the rows below the columns of each front, ascending.
    parent : Ints
        Front (fronts,) that takes up what each leaves; -1 where it leaves nothing.
    """

    order: Ints
    starts: Ints
    rows: tuple[Ints, ...]
    parent: Ints

    @classmethod
    def of(cls, indptr: Ints, indices: Ints) -> Elimination:
        """Plan for a symmetric pattern in compressed rows, its diagonal included."""
        order = _dissection(indptr, indices)
        order = order[postorder(elimination_tree(*_permuted(indptr, indices, order)))]
        pattern = _permuted(indptr, indices, order)
        parent = elimination_tree(*pattern)
        starts = _fronts(parent, column_counts(*pattern, parent))
        begins, rows, above = front_rows(*pattern, starts)
        return cls(order, starts, tuple(np.split(rows, begins[1:-1])), above)

    @property
    def place(self) -> Ints:
        """Place (n,) of each node."""
        return np.argsort(self.order)

    def chains(self) -> tuple[Ints, Ints, Ints]:
        """Places of two sets of fronts that do not depend on each other, of like work, and the rest.

        From the roots down, the heaviest subtree gives up its own root until all are light; then
        they are dealt out.
        """
        count = len(self.parent)
        wide = np.diff(self.starts)
        work = wide * (wide + 2 * np.array([len(rows) for rows in self.rows]))
        weight, children = [*work.tolist(), 0], [list[int]() for _ in range(count + 1)]
        for front, above in enumerate(np.where(self.parent < 0, count, self.parent).tolist()):
            weight[above] += weight[front]
            children[above].append(front)
        trees = [(-weight[front], front) for front in children[count]]
        heapq.heapify(trees)
        chain = np.full(count + 1, -1)
        while trees and -trees[0][0] > weight[count] / LIGHT:
            _, front = heapq.heappop(trees)
            chain[front] = 2
            for child in children[front]:
                heapq.heappush(trees, (-weight[child], child))
        load = [0, 0]
        for size, front in sorted(trees):
            lighter = int(load[1] < load[0])
            chain[front] = lighter
            load[lighter] -= size
        for front in range(count - 1, -1, -1):
            if chain[front] < 0:
                chain[front] = chain[self.parent[front]]
        by_place = np.repeat(chain[:-1], wide)
        first, second, after = (np.flatnonzero(by_place == k) for k in range(3))
        return first, second, after


def _dissection(indptr: Ints, indices: Ints) -> Ints:
    """Nodes in an order of little fill and of many independent rows: nested dissection."""
    count = len(indptr) - 1
    rows = row_of(indptr)
    apart = rows != indices
    starts = np.concatenate([[0], np.cumsum(np.bincount(rows[apart], minlength=count))])
    graph = CSRAdjacency(adj_starts=starts, adjacent=indices[apart])
    return np.asarray(nested_dissection(graph)[0])


def _permuted(indptr: Ints, indices: Ints, order: Ints) -> tuple[Ints, Ints]:
    """A pattern with its nodes in another order."""
    place, sizes = np.argsort(order), np.diff(indptr)[order]
    begins = np.concatenate([[0], np.cumsum(sizes)])
    old = np.repeat(indptr[order] - begins[:-1], sizes) + np.arange(begins[-1])
    return begins, place[indices[old]]


def _fronts(parent: Ints, below: Ints) -> Ints:
    """First columns of fronts, and the number of columns, from the tree and the columns' lengths.

    A front takes in the one before it as long as that is its child and few zeros come with it.
    """
    found: list[tuple[int, int]] = []  # first column, and entries that are not zeros
    for column, rows in enumerate(below.tolist()):
        first, filled = column, rows + 1
        while found and first <= parent[first - 1] <= column:
            earlier, more = found[-1]
            wide = column + 1 - earlier
            zeros = 1 - (filled + more) / (wide * (wide + 1) // 2 + wide * rows)
            if zeros > (ZEROS_OF_FEW if wide <= FEW else ZEROS):
                break
            first, filled = earlier, filled + more
            found.pop()
        found.append((first, filled))
    return np.array([*(first for first, _ in found), len(below)])
