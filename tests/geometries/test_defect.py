"""Where tissue lies, against volumes of revolution."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from scipy.integrate import trapezoid

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import IntactConstruct, NailConstruct
from geometries.defect import bone_ends, cuts, gap_levels, tissue_parts
from geometries.errors import StudyError
from geometries.femur import bone_parts
from geometries.parameters import Nail
from geometries.profiles import canal_profile, outer_profile, reamed_profile
from geometries.solids import Part

FEMUR = Femur()
FULL = Defect(site_percent=72.0, gap_mm=5.0, fill="canal", cuff_mm=3.0, cuff_length_mm=30.0)


def volume(part: Part) -> float:
    """Less the share of each cut between the ends of its piece."""
    return sum(
        p.solid.volume - sum(cut.volume * p.solid.height / cut.height for cut in p.cuts)
        for p in part.pieces
    )


def turned(outer, inner, low: float, high: float) -> float:
    """Volume between two radii of the height, by the trapezoidal rule."""
    z = np.linspace(low, high, 100_001)
    return float(trapezoid(pi * (outer(z) ** 2 - inner(z) ** 2), z))


@pytest.mark.parametrize("nail", [None, Nail(diameter_mm=11.0)])
def test_tissue_fills_cortex_canal_and_cuff(nail: Nail | None):
    parts = {part.name: part for part in tissue_parts(FEMUR, nail, FULL)}
    assert list(parts) == ["inner", "gap", "cuff"]
    low, high = gap_levels(FEMUR, FULL)
    outer, inner = outer_profile(FEMUR), reamed_profile(FEMUR, nail)

    def outside(z):
        return np.interp(z, outer.heights, outer.radii)

    def canal(z):
        return np.interp(z, inner.heights, inner.radii)

    hole = 0.0 if nail is None else 5.5
    expected = {
        "gap": turned(outside, canal, low, high),
        "inner": turned(outside, lambda z: hole + 0 * z, low, high),  # the gap paints over it
        "cuff": turned(lambda z: outside(z) + 3.0, outside, low - 15, high + 15),
    }
    for name, part in parts.items():
        assert volume(part) == pytest.approx(expected[name], rel=1e-6), name


def test_a_plain_defect_has_the_gap_alone_and_whole_bone_none():
    assert [p.name for p in tissue_parts(FEMUR, None, Defect())] == ["gap"]
    geometry = assemble(IntactConstruct(name="i", kind="intact", defect=FULL), FEMUR, FULL)
    names = [part.name for part in geometry.parts]
    assert names == ["cancellous_distal", "cancellous_proximal", "cortex"]


@pytest.mark.parametrize("bow", [None, 900.0])
def test_a_level_cut_through_whole_bone_is_the_ring_of_its_cortex(bow: float | None):
    # A ring's area and second moments (any handbook), which the polar rule sums exactly.
    femur = Femur(bow_radius_mm=bow)
    found = cuts(femur, Defect(site_percent=60.0, gap_mm=7.0))
    centre = 0.4 * femur.length_mm
    assert list(found) == ["gap_distal_face", "gap_proximal_face"]
    for cut, z in zip(found.values(), (centre - 3.5, centre + 3.5), strict=True):
        outer, inner = outer_profile(femur).at(z), canal_profile(femur).at(z)
        places = cut.places if femur.bow is None else femur.bow.straighten(cut.places)
        assert cut.weights.sum() == pytest.approx(pi * (outer**2 - inner**2))
        np.testing.assert_allclose(places[:, 2], z, rtol=1e-12)
        for axis in (0, 1):
            second = cut.weights @ places[:, axis] ** 2
            assert second == pytest.approx(pi / 4 * (outer**4 - inner**4))
            assert cut.weights @ places[:, axis] == pytest.approx(0, abs=1e-9 * second)


def test_a_cut_where_bone_ends_are_oblique_and_rough_lies_on_them_and_in_the_cortex():
    # Definition; the cortex of the femur with that very gap ends there, a hair below and above.
    defect = Defect(gap_mm=9.0, oblique_deg=35.0, rough_mm=0.6, rough_faces="unlike")
    faces, parts = (
        bone_ends(FEMUR, defect),
        bone_parts(FEMUR, None, bone_ends(FEMUR, defect), (15, 415)),
    )
    hair = np.array([0.0, 0.0, 1e-3])
    for cut, face, part, side in zip(
        cuts(FEMUR, defect).values(), faces, parts[-2:], (-1, 1), strict=True
    ):
        x, y, z = cut.places.T
        np.testing.assert_allclose(z, face.at(x, y), rtol=1e-12)
        assert part.contains(cut.places + side * hair).all()
        assert not part.contains(cut.places - side * hair).any()


def test_tissue_in_the_canal_ends_at_the_nail():
    geometry = assemble(NailConstruct(name="n", kind="nail"), FEMUR, FULL)
    names = [part.name for part in geometry.parts]
    height = sum(gap_levels(FEMUR, FULL)) / 2
    places = np.array([[4.0, 0, height], [7.0, 0, height], [12.0, 0, height], [17.0, 0, height]])
    assert [names[k] for k in geometry.painted(places)] == ["nail", "inner", "gap", "cuff"]


def test_a_cuff_beyond_the_bone_is_refused():
    far = Defect(site_percent=80.0, gap_mm=60.0, cuff_mm=4.0, cuff_length_mm=60.0)
    with pytest.raises(StudyError, match=r"cuff reaches from 16\.0 to 136\.0"):
        assemble(IntactConstruct(name="i", kind="intact", defect=far), Femur(length_mm=380.0), far)
