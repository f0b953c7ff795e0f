"""What becomes of flat cells: rebuilt if they have volume, refused if not, left alone if few care."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pipeline.errors import MeshError
from pipeline.fem.meshing import mesher


def kernel(worst: float) -> tuple[Any, list[str]]:
    """A meshing kernel with one bad cell, and what it was asked to rebuild with."""
    asked: list[str] = []
    mesh = SimpleNamespace(
        getElementsByType=lambda _: ([1, 2, 3], []),
        getElementQualities=lambda _, __: [0.4, worst, 0.3],
        optimize=asked.append,
    )
    return SimpleNamespace(model=SimpleNamespace(mesh=mesh)), asked


@pytest.mark.parametrize(("worst", "rebuilt"), [(0.1, []), (1e-4, ["Netgen"]), (1e-7, ["Netgen"])])
def test_flat_cells_are_rebuilt(worst: float, rebuilt: list[str]):
    gmsh, asked = kernel(worst)
    mesher._dissolve_slivers(gmsh)
    assert asked == rebuilt


@pytest.mark.parametrize("worst", [0.0, 1e-12])
def test_cells_without_volume_fail_the_mesh(worst: float):
    # Rebuilding such a mesh, a plate over a nail drawn at random, had not ended after two hours.
    gmsh, asked = kernel(worst)
    with pytest.raises(MeshError, match="without volume"):
        mesher._dissolve_slivers(gmsh)
    assert asked == []
