"""Meshes of mapped blocks: for bodies that no study file can name, such as a plate with a hole."""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations

import numpy as np

from pipeline.fem.mesh import Mesh, MeshPart
from pipeline.fem.meshing.numbering import along_curve
from pipeline.fem.space import EDGES, Array, Flags, Ints, determinants

Map = Callable[[Array], Array]
UNMOVED: Map = lambda places: places  # noqa: E731


def mapped_block(
    ticks: tuple[Array, Array, Array],
    volume: float,
    move: Map = UNMOVED,
    keep: Callable[[Array], Flags] | None = None,
) -> Mesh:
    """Cut a grid of boxes into quadratic tetrahedra and move every node by a smooth map.

    Parameters
    ----------
    ticks : tuple of Array
        Rising positions of the grid lines along each axis.
    volume : float
        Exact volume of the moved body.
    move : callable
        From places (n, 3) in the grid to places in the body. Kinks must lie on grid lines.
    keep : callable, optional
        From middles (m, 3) of the boxes to those that belong to the body; all by default.

    Returns
    -------
    Mesh
        One part, named ``body``; edge middles lie on the map too, so cells are curved where it is.
    """
    fine = [np.sort(np.concatenate([t, (t[1:] + t[:-1]) / 2])) for t in map(np.asarray, ticks)]
    boxes = _boxes(fine, keep)
    cells = _tetrahedra(boxes, [len(line) for line in fine])
    places = np.stack(np.meshgrid(*fine, indexing="ij"), axis=-1).reshape(-1, 3)
    used, cells = np.unique(cells, return_inverse=True)
    nodes, cells = move(places[used]), cells.reshape(-1, 10)
    if determinants(nodes[cells[:, 1:4]] - nodes[cells[:, :1]])[0] < 0:  # a map that mirrors
        cells = cells[:, [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]]
    cell_order, node_order, vertex_count = along_curve(nodes, cells)
    number = np.empty(len(nodes), dtype=int)
    number[node_order] = np.arange(len(nodes))
    part = MeshPart("body", "cortex", "body", volume)
    owner = np.zeros(len(cells), dtype=int)
    return Mesh(nodes[node_order], number[cells[cell_order]], owner, (part,), {}, vertex_count)


def _boxes(fine: list[Array], keep: Callable[[Array], Flags] | None) -> Ints:
    """First corner (m, 3) of each box, as indices into grid lines and their middles."""
    firsts = np.meshgrid(*[np.arange(0, len(line) - 1, 2) for line in fine], indexing="ij")
    boxes = np.stack(firsts, axis=-1).reshape(-1, 3)
    if keep is None:
        return boxes
    middles = np.stack([line[index + 1] for line, index in zip(fine, boxes.T, strict=True)], axis=1)
    return boxes[keep(middles)]


def _tetrahedra(boxes: Ints, counts: list[int]) -> Ints:
    """Six cells (6 m, 10) a box, all round its long diagonal; node numbers in the grid of middles."""
    steps = [
        np.cumsum([np.zeros(3, int), *np.eye(3, dtype=int)[list(p)]], 0) for p in permutations(range(3))
    ]
    odd = np.array([np.linalg.det(np.diff(s, axis=0)) < 0 for s in steps])
    corners = np.stack(steps)  # (6, 4, 3)
    corners[odd] = corners[odd][:, [0, 2, 1, 3]]
    whole = boxes[:, None, None] + 2 * corners
    middles = whole[:, :, EDGES].sum(axis=3) // 2
    index = np.concatenate([whole, middles], axis=2).reshape(-1, 10, 3)
    return np.asarray(np.ravel_multi_index(tuple(np.moveaxis(index, 2, 0)), counts))
