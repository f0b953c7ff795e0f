"""What a mesh refuses to be, on a single cell whose volume is known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import MeshError
from pipeline.fem.mesh import Mesh, MeshPart
from pipeline.fem.space import EDGES

CORNERS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])


def two_cells(second: tuple[int, ...] = (0, 1, 2, 3), volume: float = 1 / 3) -> Mesh:
    """Two cells apart from each other, 1/6 mm³ each; the second has its corners in another order."""
    nodes, cells = [], []
    for shift, order in ((0.0, (0, 1, 2, 3)), (5.0, second)):
        corners = CORNERS[list(order)] + shift
        nodes.append((corners, corners[EDGES].mean(axis=1)))
    for k in range(2):
        cells.append([*range(4 * k, 4 * k + 4), *range(8 + 6 * k, 14 + 6 * k)])
    every = np.vstack([*(corners for corners, _ in nodes), *(middles for _, middles in nodes)])
    part = MeshPart("bone", "cortex", "cortical", volume)
    return Mesh(every, np.array(cells), np.zeros(2, dtype=int), (part,), {}, 8)


def test_a_volume_a_thousandth_off_is_refused_and_one_within_is_not():
    assert two_cells(volume=1.0009 / 3).worst_volume[1] == pytest.approx(0.0009, rel=1e-2)
    with pytest.raises(
        MeshError, match=r"volume of 'bone' is 0\.110 % from the exact one; allowed 0\.1 %"
    ):
        two_cells(volume=1 / 3 / 1.0011)


def test_one_inverted_cell_is_enough_to_refuse_a_mesh():
    with pytest.raises(MeshError, match="1 cells are inverted; allowed 0"):
        two_cells(second=(0, 2, 1, 3))
