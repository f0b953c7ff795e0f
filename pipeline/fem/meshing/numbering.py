"""Numbers for nodes and cells that keep neighbours in space near each other in memory.

The solver gathers each row's neighbours from memory; numbered as the mesher leaves them, two thirds of
a matrix pass is waiting for them.
"""

from __future__ import annotations

import numpy as np

from geometries.solids import Geometry
from pipeline.fem.space import Array, Ints

BITS = 16


def along_curve(nodes: Array, cells: Ints) -> tuple[Ints, Ints, int]:
    """Order cells along a space-filling curve and nodes by the first cell that has them.

    Parameters
    ----------
    nodes : Array
        Positions (n, 3), mm; nodes without cells are allowed and left out.
    cells : Ints
        Node numbers (m, 10): corners, then edge middles.

    Returns
    -------
    cell_order : Ints
        Old numbers of the cells (m,) in their new order.
    node_order : Ints
        Old numbers of the used nodes in their new order, corners before edge middles.
    vertex_count : int
        How many corners there are.
    """
    cell_order = np.argsort(_morton(nodes[cells[:, :4]].mean(axis=1)), kind="stable")
    ordered = cells[cell_order]
    corners, middles = _first_seen(ordered[:, :4]), _first_seen(ordered[:, 4:])
    return cell_order, np.concatenate([corners, middles]), len(corners)


def taken_apart(nodes: Array, cells: Ints, part_of: Ints, geometry: Geometry) -> tuple[Array, Ints]:
    """Give parts that lie face to face but apart nodes of their own where they share some.

    Parameters
    ----------
    nodes, cells, part_of :
        Positions (n, 3), mm, node numbers (m, 10) and parts (m,) of cells.
    geometry : Geometry
        Says which parts lie apart.

    Returns
    -------
    Array
        Positions, copies last.
    Ints
        Cells with the copies.
    """
    names, cells = [part.name for part in geometry.parts], cells.copy()
    for one, other in geometry.apart:
        own = part_of == names.index(one)
        shared = np.intersect1d(cells[own], cells[part_of == names.index(other)])
        copies = np.arange(len(nodes))
        copies[shared] = len(nodes) + np.arange(len(shared))
        cells[own] = copies[cells[own]]
        nodes = np.concatenate([nodes, nodes[shared]])
    return nodes, cells


def _morton(points: Array) -> Ints:
    """Place (m,) of points along the Z-shaped curve: the bits of their coordinates, interleaved."""
    low, size = points.min(axis=0), max(float(np.ptp(points, axis=0).max()), 1e-300)
    grid = ((points - low) / size * (2**BITS - 1)).astype(np.int64)
    place = np.zeros(len(points), dtype=np.int64)
    for bit in range(BITS):
        for axis in range(3):
            place |= ((grid[:, axis] >> bit) & 1) << (3 * bit + axis)
    return place


def _first_seen(numbers: Ints) -> Ints:
    """Distinct numbers in the order of their first appearance."""
    distinct, first = np.unique(numbers.ravel(), return_index=True)
    return distinct[np.argsort(first)]
