"""Cross-sections from solids, against the areas and moments that any handbook has."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import IntactConstruct, PlateConstruct
from geometries.plating import Plate
from geometries.slices import slices
from geometries.solids import Frustum, Part, Piece, cylinder
from geometries.tools import Sector


def bar(name: str, solid: Frustum, *cuts) -> Part:
    return Part(name, "cortex", "cortical", (Piece(solid, cuts),), 1.0)


def test_a_cone_has_its_volume_and_moments():
    # r = 7 + z / 10 from 3 to 47: integrals of pi r^2 and pi r^4 / 4, by hand.
    cone = bar("cone", Frustum((0.0, 0.0, 0.0), (0.0, 0.0, 50.0), 7.0, 12.0))
    cut = slices((cone,), 3.0, 47.0)
    low, high = 7.3, 11.7
    found = np.einsum("n,npij->ij", cut.weights, cut.moments)
    assert cut.weights.sum() == pytest.approx(44.0)
    assert found[0, 0] == pytest.approx(pi * 10 * (high**3 - low**3) / 3, rel=1e-3)
    assert found[1, 1] == pytest.approx(pi / 4 * 10 * (high**5 - low**5) / 5, rel=1e-3)
    assert np.abs(found[0, 1:]).max() < 1e-3 * found[0, 0]


def test_a_bar_beside_the_axis_obeys_the_parallel_axis_rule():
    aside = bar("aside", cylinder((6.0, -3.0, 0.0), (0.0, 0.0, 10.0), 8.0))
    moments = slices((aside,), 0.0, 10.0).moments[0, 0]
    area, own = pi * 16.0, pi * 64.0
    expected = [[1, 6, -3], [6, 36, -18], [-3, -18, 9]] * np.array(area)
    expected += np.diag([0.0, own, own])
    np.testing.assert_allclose(moments, expected, atol=0.01 * expected.max())


def test_later_parts_paint_over_earlier_ones():
    parts = tuple(
        bar(name, cylinder((0, 0, 0), (0, 0, 10.0), d)) for name, d in (("a", 20.0), ("b", 8.0))
    )
    area = slices(parts, 0.0, 10.0).moments[0, :, 0, 0]
    np.testing.assert_allclose(area, [pi * (100 - 16), pi * 16], rtol=2e-3)


def test_what_is_cut_out_begins_and_ends_at_its_own_heights():
    # A quarter is missing from 4 to 5: no step of the sum may skip it.
    whole = cylinder((0.0, 0.0, 0.0), (0.0, 0.0, 100.0), 20.0)
    cut = slices((bar("bar", whole, Sector(30.0, 90.0, 4.0, 5.0)),), 0.0, 100.0)
    volume = cut.weights @ cut.moments[:, 0, 0, 0]
    assert volume == pytest.approx(pi * 100 * (100 - 0.25), rel=1e-4)


def test_the_femur_has_the_volume_of_its_solids():
    intact = IntactConstruct(name="i", kind="intact")
    geometry = assemble(intact, Femur(), Defect())
    cut = slices(geometry.parts, 0.0, geometry.length)
    for part, volume in zip(geometry.parts, cut.weights @ cut.moments[:, :, 0, 0], strict=True):
        exact = sum(p.solid.volume - sum(c.volume for c in p.cuts) for p in part.pieces)
        assert volume == pytest.approx(exact, rel=2e-3), part.name


def test_a_plate_has_its_section_between_holes():
    # Broad side to the bone: b h, b h^3 / 12 across and h b^3 / 12 on edge, about its own middle.
    plate = Plate(width_mm=17.0, thickness_mm=4.5, azimuth_deg=90.0)
    geometry = assemble(PlateConstruct(name="p", kind="plate", plate=plate), Femur(), Defect())
    middle = geometry.gap.height
    cut = slices(geometry.parts, middle - 6.0, middle + 6.0)
    index = [part.name for part in geometry.parts].index("plate")
    mean = np.einsum("n,nij->ij", cut.weights, cut.moments[:, index]) / 12.0
    area, x, y = mean[0]
    assert area == pytest.approx(17.0 * 4.5, rel=0.01)
    assert abs(x) < 0.01 * abs(y)
    flat = mean[2, 2] - y**2 / area
    assert flat == pytest.approx(17.0 * 4.5**3 / 12, rel=0.02)
    assert mean[1, 1] == pytest.approx(4.5 * 17.0**3 / 12, rel=0.02)
