"""Nails as they are used: beside the axis, slotted, solid, short of the gap, loose in their bolts."""

from __future__ import annotations

from math import degrees, hypot

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct
from geometries.defect import gap_levels
from geometries.frame import Points, radial
from geometries.nail import bolt_levels, bolt_pins, bolts, fit_span
from geometries.parameters import Bolts, Nail
from geometries.profiles import outer_profile
from geometries.rods import axis_at
from geometries.solids import Geometry

FEMUR, DEFECT = Femur(), Defect()
BESIDE = Nail(
    diameter_mm=9.0, distal_offset_mm=(2.1, -1.3), proximal_offset_mm=(-0.9, 1.7),
    bolts=Bolts(azimuth_deg=34.0, distal=3, first_mm=19.0, spacing_mm=17.0),
)  # fmt: skip


def nailed(nail: Nail) -> Geometry:
    return assemble(NailConstruct(name="n", kind="nail", nail=nail), FEMUR, DEFECT)


def owners(geometry: Geometry, points: Points) -> list[str]:
    names = [*(part.name for part in geometry.parts), "nothing"]
    return [names[k] for k in geometry.painted(points)]


# --- Bolts -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("nail", [Nail(), BESIDE])
def test_bolts_pass_the_nails_axis_and_stand_out_at_both_ends(nail: Nail):
    # Plain geometry: the distance of a point from a line, and of the line's ends from the shaft axis;
    # 1.5 mm beyond the widest bone that the bolt touches.
    outer, radius = outer_profile(FEMUR), nail.bolts.diameter_mm / 2
    made = bolts(nail, outer)
    assert [bolt.base[2] for bolt in made] == pytest.approx(bolt_levels(nail))
    for bolt in made:
        z, along = bolt.base[2], np.array(bolt.axis[:2])
        assert bolt.axis[2] == 0
        start = np.array(bolt.base[:2])
        to_axis = np.array(axis_at(nail, z)) - start
        assert abs(to_axis[0] * along[1] - to_axis[1] * along[0]) < 1e-9 * bolt.height
        assert 0 < to_axis @ along < along @ along
        widest = max(outer.at(z - radius), outer.at(z + radius))
        for end in (start, start + along):
            assert hypot(*end) == pytest.approx(widest + 1.5)
        out = radial(nail.bolts.azimuth_deg)[:2]
        assert along / bolt.height == pytest.approx(-np.array(out))  # head on the bolt's side


@pytest.mark.parametrize("nail", [Nail(), BESIDE])
def test_shear_planes_lie_in_the_void_on_either_side_of_the_nail(nail: Nail):
    # Definition, by points on the bolt's axis: half-way between nail and bore, seen from the nail.
    middle = nail.diameter_mm / 2 + nail.reaming_mm / 4
    for pin, z in zip(bolt_pins(nail), bolt_levels(nail), strict=True):
        foot, axis = np.array(pin.foot), np.array(pin.axis)
        assert foot @ axis == pytest.approx(0, abs=1e-12)  # nearest to the shaft axis
        near, far = (
            foot + pin.planes[f"{side}_shear_plane"] * axis - [*axis_at(nail, z), z]
            for side in ("near", "far")
        )
        assert near == pytest.approx(middle * axis)
        assert far == pytest.approx(-middle * axis)


# --- Slots and hollows -------------------------------------------------------------------------------


@pytest.mark.parametrize("azimuth_deg", [90.0, -28.0, 161.0])
@pytest.mark.parametrize("offsets", [((0.0, 0.0), (0.0, 0.0)), ((2.1, -1.3), (-0.9, 1.7))])
def test_slot_opens_the_wall_on_its_side_alone(
    azimuth_deg: float, offsets: tuple[tuple[float, float], tuple[float, float]]
):
    # Definition, by points in the wall seen from the nail's own axis, all round and up the nail: none
    # within half of the slot's width on its side, nail everywhere else; above slot_percent it is whole.
    nail = Nail(
        diameter_mm=10.4, cannulation_mm=6.2, slot_mm=3.4, slot_azimuth_deg=azimuth_deg,
        slot_percent=72.0, distal_offset_mm=offsets[0], proximal_offset_mm=offsets[1],
        bolts=Bolts(distal=1, proximal=1, first_mm=10.0),
    )  # fmt: skip
    geometry = nailed(nail)
    turn = np.radians(np.arange(0.5, 360, 3))
    for share in (0.004, 0.31, 0.55, 0.715, 0.725, 0.93):
        z = 35.0 + share * 360.0
        x, y = axis_at(nail, z)
        for r in (3.15, 4.1, 5.1):
            places = np.stack([x + r * np.cos(turn), y + r * np.sin(turn), 0 * turn + z], axis=1)
            out = np.array(radial(azimuth_deg)[:2])
            from_axis = places[:, :2] - [x, y]
            aside = from_axis @ [-out[1], out[0]]
            is_open = (from_axis @ out > 0) & (np.abs(aside) < 1.7) & (share < 0.72)
            clear = np.abs(np.abs(aside) - 1.7) > 0.02  # the cut is straight in z, the nail may lean
            found = np.array(owners(geometry, places))
            assert (found == np.where(is_open, "nothing", "nail"))[clear].all(), (share, r)
            assert is_open.any() == (share < 0.72)


def test_slot_of_the_whole_nail_ends_nowhere():
    # Definition.
    nail = Nail(cannulation_mm=6.0, slot_mm=3.0, slot_azimuth_deg=0.0)
    points = np.array([[-4.0, 0.4, 35.0 + z] for z in (0.01, 26.0, 171.0, 359.99)])
    assert set(owners(nailed(nail), points)) == {"nothing"}


def test_solid_nail_has_no_hollow():
    # Definition, by a point on the axis; at 5 mm it is hollow.
    middle = np.array([[0.3, -0.2, 190.0]])
    assert owners(nailed(Nail(cannulation_mm=0.0)), middle) == ["nail"]
    assert owners(nailed(Nail()), middle) == ["nothing"]


@pytest.mark.parametrize(
    ("low", "length", "expected"),
    [(35.0, 165.0, "nothing"), (228.0, 170.0, "nothing"), (35.0, 360.0, "nail")],
)
def test_nail_may_end_short_of_the_gap(low: float, length: float, expected: str):
    # Definition, by points in the wall at the gap: nothing there, and nothing said of its clearance.
    nail = Nail(distal_end_mm=low, length_mm=length, bolts=Bolts(first_mm=12.0, spacing_mm=14.0))
    geometry = nailed(nail)
    at_gap = np.array([[4.0, 0.1, z] for z in (*gap_levels(FEMUR, DEFECT), 215.0)])
    assert owners(geometry, at_gap) == [expected] * 3
    assert ("nail_clearance_at_gap_mm" in geometry.facts) == (expected == "nail")
    assert bool(geometry.loose) == (expected == "nothing")
    beside = np.array([[4.0, 0.1, low + 1.0], [4.0, 0.1, low + length - 1.0]])
    assert owners(geometry, beside) == ["nail", "nail"]


# --- Fit and play ------------------------------------------------------------------------------------


@pytest.mark.parametrize("diameter_mm", [10.3, 11.0, 12.4])
def test_nail_fits_where_the_canal_is_no_wider_than_the_bore(diameter_mm: float):
    # By hand: the default canal is 5.25 mm wide from 236.5 to 279.5 mm and grows on straight lines by
    # 0.11 and 0.18 of the shaft's radius, to 172 mm down and 344 mm up.
    nail = Nail(diameter_mm=diameter_mm)
    bore = (diameter_mm + 1.0) / 2
    low = 236.5 - (bore - 5.25) / (0.11 * 13.5) * 64.5
    high = 279.5 + (bore - 5.25) / (0.18 * 13.5) * 64.5
    assert fit_span(nail, FEMUR) == pytest.approx((low, high), abs=0.01)
    assert nailed(nail).facts["canal_fit_mm"] == pytest.approx(high - low, abs=0.02)


def test_nail_that_is_too_thin_fits_nowhere_unless_it_lies_against_the_wall():
    # By hand: 5.0 mm of bore in 5.25 mm of canal; 0.31 mm beside the axis it touches.
    thin = Nail(diameter_mm=9.0)
    assert fit_span(thin, FEMUR) is None
    beside = Nail(diameter_mm=9.0, distal_offset_mm=(0.0, 0.31), proximal_offset_mm=(0.0, 0.31))
    found = fit_span(beside, FEMUR)
    assert found == pytest.approx(
        (236.5 - 0.06 / 1.485 * 64.5, 279.5 + 0.06 / 2.43 * 64.5), abs=0.1
    )  # the ends lie close to the bend of the canal, within one step of the search


@pytest.mark.parametrize("nail", [Nail(), BESIDE])
def test_a_nail_turns_and_slides_by_the_play_until_its_holes_bear_on_the_bolts(nail: Nail):
    # Plain geometry: half of the play on either side of a bolt. Beside the bolt the tube's surface lies
    # √(R² - r²) along it from the nail's axis, which is the lever of a turn.
    found = [stop for stop in nailed(nail).stops if stop.touch.startswith("bolt_")]
    assert {stop.touch for stop in found} == {f"bolt_{n + 1}" for n in range(nail.bolts.count)}
    turns = []
    for stop in found:
        assert (stop.clearance, stop.rest) == (pytest.approx(0.1), (0.0, 0.0))
        assert stop.directions[1] == (0.0, 0.0, 1.0)
        aside = np.array(stop.directions[0])
        assert aside @ radial(nail.bolts.azimuth_deg) == pytest.approx(0)
        arm = np.array(stop.points[0]) - [*axis_at(nail, stop.height), stop.height]
        turns.append(degrees(0.1 / abs(np.cross([0.0, 0.0, 1.0], arm) @ aside)))
    lever = (nail.diameter_mm**2 - nail.bolts.diameter_mm**2) ** 0.5 / 2
    assert min(turns) == pytest.approx(degrees(0.1 / lever))


@pytest.mark.parametrize(
    ("bolts", "along", "count"),
    [(Bolts(), 0, 4), (Bolts(along="held"), 1, 4), (Bolts(fit="tied"), 0, 0), (Bolts(play_mm=0), 0, 4)],
    ids=["slides", "held", "tied", "no play"],
)
def test_bolts_bear_in_their_holes_as_the_study_says(bolts: Bolts, along: int, count: int):
    # Definition: tied bolts have no stops, held ones one more each that leaves no room along the bolt.
    found = [stop for stop in nailed(Nail(bolts=bolts)).stops if stop.touch.startswith("bolt_")]
    assert len({stop.touch for stop in found}) == count
    held = [stop for stop in found if stop.directions == (radial(0.0),)]
    assert len(held) == along * count
    assert all((stop.clearance, stop.is_one_sided) == (0.0, False) for stop in held)


def test_every_table_names_the_play():
    bolts = Bolts(play_mm=0.1, along="held")
    words = NailConstruct(name="n", kind="nail", nail=Nail(bolts=bolts)).interfaces
    assert words == "canal contact, bolts with 0.1 mm play, nail held along them"
    tied = NailConstruct(name="n", kind="nail", nail=Nail(canal="void", bolts=Bolts(fit="tied")))
    assert tied.interfaces == "canal void, bolts tied"
