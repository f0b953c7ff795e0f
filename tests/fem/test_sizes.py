"""Where edges are short: at bolts and screws near the gap, in a plate across it, and never by level."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from geometries.solids import Geometry, Part
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.meshing.sizes import LEVELS, WALLS, Level
from pipeline.fem.space import EDGES, Array
from tests.bench.model import scaled
from tests.models import case_of, geometry_of

PLATE = {"hole_count": 8, "screws": {"holes": [4]}}


@pytest.fixture(scope="module")
def plated() -> tuple[Geometry, Mesh]:
    geometry = geometry_of(case_of({"kind": "plate", "name": "plate", "plate": PLATE}, "default"))
    return geometry, build_mesh(geometry, "default")


def edges(mesh: Mesh, role: str) -> tuple[Array, Array]:
    """Middle (m, 3) of each cell of a role, mm, and its mean edge length (m,), mm."""
    corners = mesh.nodes[mesh.cells[mesh.cells_of(role)][:, :4]]  # type: ignore[arg-type]
    ends = corners[:, EDGES]
    return corners.mean(axis=1), np.linalg.norm(ends[:, :, 0] - ends[:, :, 1], axis=2).mean(axis=1)


def test_edges_of_bone_grow_away_from_screws(plated: tuple[Geometry, Mesh]):
    # By count: cells within 2 mm of a screw, and those 10 mm off all.
    geometry, mesh = plated
    places, lengths = edges(mesh, "cortex")
    off = np.full(len(places), np.inf)
    for pin in geometry.pins:
        arm = places - np.asarray(pin.foot)
        along = arm @ np.asarray(pin.axis)
        across = np.linalg.norm(arm - np.outer(along, pin.axis), axis=1)
        off = np.minimum(off, across - pin.diameter / 2)
    assert np.median(lengths[off < 2]) < 0.5 * np.median(lengths[off > 10])


def test_edges_of_a_plate_are_short_across_the_gap(plated: tuple[Geometry, Mesh]):
    geometry, mesh = plated
    assert geometry.gap is not None
    places, lengths = edges(mesh, "plate")
    level = np.abs(places[:, 2] - geometry.gap.centre[2])
    assert np.median(lengths[level < 10]) < 0.85 * np.median(lengths[level > 50])


@pytest.mark.parametrize("level", LEVELS)
def test_a_level_is_finer_where_errors_are(level: Level):
    # Definition: beside bolts and screws no coarser than elsewhere, and other roles are left alone.
    sizes = LEVELS[level]
    near = sizes.near().per_wall
    assert all(near[role] <= sizes.per_wall[role] for role in WALLS)
    assert {role for role in near if near[role] != sizes.per_wall[role]} <= set(WALLS)
    assert sizes.rod(6.0, 9.0) >= sizes.round(6.0, 9.0)
    assert sizes.idle(2.25, np.inf) >= sizes.round(2.25, np.inf)


def test_chords_leave_a_round_surface_by_no_more_than_they_may():
    # A chord of length c leaves a circle of radius r by c² / 8 r (any handbook), and a full circle has
    # so many edges at least.
    sizes = LEVELS["default"]
    assert sizes.round(40.0, np.inf) == pytest.approx(sqrt(8 * 40.0 * sizes.sagitta))
    assert sizes.round(3.0, np.inf) == pytest.approx(2 * pi * 3.0 / sizes.circle)
    assert sizes.round(40.0, 0.1) == pytest.approx(sqrt(8 * 40.0 * 0.04))


def test_finer_sizes_are_finer_everywhere():
    sizes = LEVELS["coarse"]
    finer = sizes.finer()
    part = Part("nail", "nail", "titanium", (), wall=3.0)
    assert finer.of(part) < sizes.of(part)
    assert finer.round(5.0, 9.0) < sizes.round(5.0, 9.0)
    assert finer.rod(5.0, 9.0) < sizes.rod(5.0, 9.0)
    assert finer.idle(2.0, 9.0) < sizes.idle(2.0, 9.0)


def test_the_bench_builds_its_meshes_from_the_coarse_level() -> None:
    assert scaled(1.0) == LEVELS["coarse"]
    assert scaled(2.0).longest == 2 * LEVELS["coarse"].longest
