"""Meshes that several verification cases share."""

from __future__ import annotations

import pytest

from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from tests.verification.helpers import case_of, geometry_of, specimen, straightened


@pytest.fixture(scope="session")
def small() -> Mesh:
    """A short tube of bone with a titanium core: two parts, curved cells, no symmetry in the cells."""
    case = case_of(specimen(17.0, 4.0, (15.0, 9.0, "cortical"), (9.0, 4.0, "titanium")), "coarse")
    return build_mesh(geometry_of(case), "coarse")


@pytest.fixture(scope="session")
def small_straight(small: Mesh) -> Mesh:
    """The same with straight edges."""
    return straightened(small)


@pytest.fixture(scope="session")
def tiny() -> Mesh:
    """A solid bar small enough for dense matrices."""
    return build_mesh(geometry_of(case_of(specimen(7.0, 2.0, (9.0, 0.0, "steel")), "coarse")), "coarse")
