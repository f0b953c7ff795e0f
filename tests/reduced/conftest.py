"""A bonded tube of bone on a titanium core, and its reduced model, made once."""

from __future__ import annotations

from functools import cache

import pytest

from pipeline.fem.meshing.mesher import build_mesh
from pipeline.reduced.twin import Twin
from pipeline.run.equilibrium import Prepared
from pipeline.run.reducing import reduced_twin
from tests.models import case_of, geometry_of, specimen

OUTER, BETWEEN, BORE, LENGTH, INSET = 15.0, 9.0, 4.0, 70.0, 20.0
"""Diameters and length of the tube, mm, and how far its sections are from its ends."""
CASE = case_of(
    specimen(LENGTH, INSET, (OUTER, BETWEEN, "cortical"), (BETWEEN, BORE, "titanium")), "coarse"
)


@cache
def prepared() -> Prepared:
    """The tube, ready to be solved at any materials."""
    geometry = geometry_of(CASE)
    return Prepared.of(build_mesh(geometry, "coarse"), geometry, CASE)


@cache
def twin_of_tube() -> Twin:
    """Its reduced model."""
    return reduced_twin(prepared(), prepared().loads)


@pytest.fixture(scope="session")
def twin() -> Twin:
    """The tube's reduced model."""
    return twin_of_tube()
