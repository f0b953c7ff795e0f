"""What is reamed for nails beside the shaft axis and for stems, by points and by algebra."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from geometries.bone import Defect, Femur
from geometries.errors import StudyError
from geometries.lint import check_clearances
from geometries.parameters import Nail, Stem
from geometries.profiles import Profile, canal_profile, eccentric_hole, outer_profile, stem_bed, widest
from geometries.rods import axis_at, bore, centre_at, radius_at, rods, stem_solid

FEMUR = Femur()
NAILS = [
    Nail(diameter_mm=9.0, distal_offset_mm=(2.3, -1.1), proximal_offset_mm=(2.3, -1.1)),
    Nail(diameter_mm=8.0, reaming_mm=0.7, distal_offset_mm=(-3.1, 0.4), proximal_offset_mm=(1.9, 2.2)),
    Nail(diameter_mm=13.0, distal_offset_mm=(0.9, 0.0), proximal_offset_mm=(-0.8, 0.3)),
    Nail(length_mm=210.0, distal_end_mm=47.0, proximal_offset_mm=(0.0, 3.7)),
]


def circle(nail: Nail, z: float) -> tuple[float, float, float]:
    """Centre and radius of the hole at a height."""
    x, y, height, r = np.array(eccentric_hole(FEMUR, nail).circles).T
    return tuple(float(np.interp(z, height, one)) for one in (x, y, r))  # type: ignore[return-value]


@pytest.mark.parametrize("nail", NAILS)
def test_axis_of_a_nail_is_the_line_between_its_ends(nail: Nail):
    # Plain geometry, and again in the solid that the clearances use.
    low, high = nail.distal_end_mm, nail.distal_end_mm + nail.length_mm
    assert axis_at(nail, low) == pytest.approx(nail.distal_offset_mm)
    assert axis_at(nail, high) == pytest.approx(nail.proximal_offset_mm)
    (rod,) = rods(nail, 430.0)
    for z in (low, low + 71.3, high):
        assert centre_at(rod, z) == pytest.approx(axis_at(nail, z))
        assert radius_at(rod, z) == pytest.approx(nail.diameter_mm / 2)
    thirds = np.array([axis_at(nail, low + k * nail.length_mm / 3) for k in range(4)])
    assert np.diff(thirds, n=2, axis=0) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("nail", NAILS)
def test_hole_holds_canal_and_bore_at_every_height(nail: Nail):
    # Definition: one circle holds another where the distance of their centres and the other's radius
    # are together no more than its own. The bore counts from the nail's end upwards.
    canal = canal_profile(FEMUR)
    for z in np.linspace(0.0, 430.0, 1723):
        x, y, r = circle(nail, z)
        assert np.hypot(x, y) + canal.at(z) <= r + 1e-9
        if z >= nail.distal_end_mm:
            u, v = axis_at(nail, z)
            reach = (nail.diameter_mm + nail.reaming_mm) / 2
            assert np.hypot(x - u, y - v) + reach <= r + 1e-9


@pytest.mark.parametrize("nail", NAILS)
def test_hole_is_the_least_circle_at_its_own_heights(nail: Nail):
    # Plain geometry: half of the width of the two circles together along the line of their centres,
    # measured here on the hull of points on both; the larger circle where it holds the other.
    canal, turn = canal_profile(FEMUR), np.linspace(0, 2 * np.pi, 720, endpoint=False)
    rim = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    for x, y, z, r in eccentric_hole(FEMUR, nail).circles:
        circles = [canal.at(z) * rim]
        if z >= nail.distal_end_mm:
            circles.append(axis_at(nail, z) + (nail.diameter_mm + nail.reaming_mm) / 2 * rim)
        both = np.concatenate(circles)
        hull = both[ConvexHull(both).vertices]
        width = np.linalg.norm(hull[:, None] - hull[None], axis=2).max()
        assert 2 * r == pytest.approx(width, rel=1e-4)
        assert np.linalg.norm(both - [x, y], axis=1).max() == pytest.approx(r, rel=1e-4)


def test_hole_is_the_canal_or_the_bore_where_one_holds_the_other():
    # Definition: a wide canal near the knee, a thick nail in the shaft.
    nail = NAILS[2]
    assert circle(nail, 45.0) == pytest.approx((0, 0, canal_profile(FEMUR).at(45.0)))
    z = 35.0 + 4 * 40.0
    assert circle(nail, z) == pytest.approx((*axis_at(nail, z), 7.0))


def cortex_left(femur: Femur, nail: Nail) -> float:
    """Least distance from hole to surface by points on the hole's rim, from the nail upwards, mm."""
    outer, turn = outer_profile(femur), np.linspace(0, 2 * np.pi, 720, endpoint=False)
    left = []
    for z in np.linspace(nail.distal_end_mm, femur.length_mm, 800):
        x, y, r = circle(nail, z)
        left.append(outer.at(z) - np.hypot(x + r * np.cos(turn), y + r * np.sin(turn)).max())
    return float(min(left))


@pytest.mark.parametrize(
    ("nail", "is_fine"),
    [
        (Nail(distal_offset_mm=(2.0, 0.0), proximal_offset_mm=(7.4, 6.9)), False),
        (Nail(distal_offset_mm=(2.0, 0.0), proximal_offset_mm=(4.3, 4.1)), True),
        (Nail(diameter_mm=12.0, distal_offset_mm=(-5.9, 1.2), proximal_offset_mm=(-5.9, 1.2)), False),
        (
            Nail(
                length_mm=160.0, distal_end_mm=150.0, distal_offset_mm=(-6.4, 0.0),
                proximal_offset_mm=(6.4, 0.0),
            ),
            False,
        ),
    ],
    ids=["tilted", "less tilted", "beside the axis", "bore that leaves the bone above the nail"],
)  # fmt: skip
def test_cortex_that_is_left_is_what_the_finding_says(nail: Nail, is_fine: bool):
    # By points, to the tenth that is printed.
    left = cortex_left(FEMUR, nail)
    try:
        check_clearances("c", FEMUR, Defect(), nail, None)
        found = []
    except StudyError as error:
        found = re.findall(r"cortex: (-?[\d.]+) mm is left", str(error))
    assert is_fine == (left >= 1.5) == (not found)
    if found:
        assert float(found[0]) == pytest.approx(left, abs=0.06)


def test_bore_is_on_the_nails_axis_from_below_it_out_of_the_top():
    # Definition, 5 mm below the nail and 1 mm beyond the bone.
    nail = NAILS[1]
    hole = bore(nail, 430.0)
    assert (hole.base[2], hole.base[2] + hole.axis[2]) == pytest.approx((30.0, 431.0))
    assert centre_at(hole, 222.0) == pytest.approx(axis_at(nail, 222.0))
    assert hole.radius == hole.end_radius == pytest.approx(4.35)


@pytest.mark.parametrize("stem", [Stem(), Stem(tip_diameter_mm=9.3, mantle_mm=1.4, length_mm=203.0)])
def test_bed_of_a_stem_is_its_cone_and_the_mantle(stem: Stem):
    # Definition: as far from the stem everywhere as the mantle is thick; closed 16 mm below the tip.
    bed, cone = stem_bed(stem, 430.0), stem_solid(stem, 430.0)
    tip = 430.0 - stem.length_mm
    for z in np.linspace(tip, 430.0, 57):
        assert bed.at(z) - radius_at(cone, z) == pytest.approx(stem.mantle_mm)
    assert radius_at(cone, tip) == stem.tip_diameter_mm / 2
    assert radius_at(cone, 430.0) == stem.top_diameter_mm / 2
    assert bed.at(tip - 7.9) == pytest.approx(stem.tip_diameter_mm / 2 + stem.mantle_mm)
    assert bed.at(tip - 16.1) == 0


def test_the_widest_of_two_profiles_is_their_larger_radius_everywhere():
    # Definition, on random profiles that cross several times.
    rng = np.random.default_rng(9)
    for _ in range(50):
        one, other = (
            Profile((0.0, *np.sort(rng.uniform(1, 99, n)).tolist(), 100.0),
                    tuple(rng.uniform(3, 20, n + 2).tolist()))
            for n in (5, 3)
        )  # fmt: skip
        both = widest(one, other)
        for z in np.linspace(0, 100, 301):
            assert both.at(z) == pytest.approx(max(one.at(z), other.at(z)))
        assert list(both.heights) == sorted(set(both.heights))
