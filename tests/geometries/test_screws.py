"""Screws beside what stands in the canal: turned past it, stopped short of it, or above its end."""

from __future__ import annotations

from math import atan2, degrees, hypot

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailPlateConstruct
from geometries.frame import Points, radial
from geometries.parameters import Bolts, Nail, Stem
from geometries.plate import Label as PlateLabel
from geometries.plate import Screw, in_the_way, screw_pins, screws
from geometries.plating import Plate, Screws
from geometries.profiles import outer_profile, walls
from geometries.rods import centre_at, radius_at, rods

FEMUR = Femur()
TURNED = Screws(cortices="tangential", diameter_mm=4.1, holes=(2, 4, 5))
RODS: dict[str, Nail | Stem] = {
    "nail": Nail(diameter_mm=9.0),
    "nail beside the axis": Nail(
        diameter_mm=8.0, cannulation_mm=4.0, distal_offset_mm=(1.2, -0.7),
        proximal_offset_mm=(-0.8, 1.1),
    ),
    "stem": Stem(tip_diameter_mm=8.5, top_diameter_mm=12.0, length_mm=195.0, mantle_mm=1.2),
}  # fmt: skip


def placed(rod: Nail | Stem, plate: Plate) -> list[Screw]:
    return screws(plate, rods(rod, 430.0), walls(FEMUR, rod), 215.0)


def line(screw: Screw) -> tuple[Points, Points]:
    """Head and tip of a screw's axis, across the shaft, mm."""
    solid = screw.solid(4.1)
    base = np.array(solid.base[:2])
    return base, base + np.array(solid.axis[:2])


def beside(point: Points, start: Points, end: Points) -> float:
    """Signed distance of a point from the line through two others (any handbook)."""
    (x, y), (u, v) = end - start, point - start
    return float((x * v - y * u) / hypot(x, y))


@pytest.mark.parametrize("azimuth_deg", [0.0, 77.0, -130.0])
@pytest.mark.parametrize("rod", RODS)
def test_turned_screws_pass_what_stands_in_the_canal_on_either_side_in_turn(
    rod: str, azimuth_deg: float
):
    # Plain geometry at the screw's height: half a millimetre between the two round bars.
    plate = Plate(azimuth_deg=azimuth_deg, screws=TURNED)
    (bar,) = rods(RODS[rod], 430.0)
    sides = []
    for screw in placed(RODS[rod], plate):
        if not in_the_way(bar, screw.height, 2.05):
            continue
        centre = np.array(centre_at(bar, screw.height))
        distance = beside(centre, *line(screw))
        assert abs(distance) == pytest.approx(radius_at(bar, screw.height) + 2.05 + 0.5)
        sides.append(np.sign(distance))
    assert len(sides) == (3 if rod == "stem" else 6)
    assert (np.diff(sides) != 0).all()


@pytest.mark.parametrize("azimuth_deg", [0.0, 77.0, -130.0])
@pytest.mark.parametrize("rod", RODS)
def test_turned_screws_keep_to_their_holes_and_reach_beyond_the_far_surface(
    rod: str, azimuth_deg: float
):
    # Plain geometry: the middle of the hole is in the middle of the plate's thickness; the head's rim
    # lies outside the plate, and the tip's centre outside the bone.
    plate = Plate(azimuth_deg=azimuth_deg, screws=TURNED)
    out = np.array(radial(azimuth_deg)[:2])
    outer = outer_profile(FEMUR)
    for screw in placed(RODS[rod], plate):
        head, tip = line(screw)
        surface = outer.largest(screw.height - 2.05, screw.height + 2.05)
        hole = (surface + 2.0 + 2.5) * out
        assert beside(hole, head, tip) == pytest.approx(0, abs=1e-9)
        assert 0 < (hole - head) @ (tip - head) < (tip - head) @ (tip - head)
        along = (tip - head) / np.linalg.norm(tip - head)
        rim = head + 2.05 * np.array([[-along[1], along[0]], [along[1], -along[0]]])
        assert (rim @ out).min() >= surface + 2.0 + 5.0 + 1.0 - 1e-9
        assert surface + 1.0 < hypot(*tip) <= surface + 2.0 + 1e-9
        assert tip @ out < 0  # on the far side


def test_direction_of_a_turned_screw_is_that_of_its_line():
    # Definition: azimuth of the side that the line comes from, foot nearest to the shaft axis.
    for screw in placed(RODS["nail"], Plate(azimuth_deg=77.0, screws=TURNED)):
        head, tip = line(screw)
        x, y = head - tip
        assert (degrees(atan2(y, -x)) - screw.azimuth_deg + 180) % 360 - 180 == pytest.approx(0)
        foot = np.array(screw.foot[:2])
        assert foot @ (head - tip) == pytest.approx(0, abs=1e-9)
        assert beside(foot, head, tip) == pytest.approx(0, abs=1e-9)
        assert hypot(*foot) == pytest.approx(abs(screw.aside))


@pytest.mark.parametrize("cortices", ["auto", "tangential"])
def test_above_a_short_nail_screws_go_through_both_cortices(cortices: str):
    # Common practice, no source. The nail ends at 250 mm, the holes lie at 161 to 269 mm.
    short = Nail(diameter_mm=9.0, length_mm=200.0, distal_end_mm=50.0, bolts={"proximal": 0})
    plate = Plate(screws=Screws(cortices=cortices, diameter_mm=4.1, holes=(2, 3)))
    plate = plate.model_copy(update={"shift_mm": 9.0})
    found = placed(short, plate)
    beside_nail = [screw for screw in found if screw.height < 250 + 2.05 + 0.5]
    above = [screw for screw in found if screw.height > 250 + 2.05 + 0.5]
    assert (len(beside_nail), len(above)) == (3, 1)
    outer = outer_profile(FEMUR)
    for screw in above:
        assert (screw.aside, screw.azimuth_deg) == (0, 0)
        assert screw.tip == pytest.approx(
            -(outer.largest(screw.height - 2.05, screw.height + 2.05) + 2)
        )
    for screw in beside_nail:
        assert (screw.tip > 0) == (cortices == "auto")
        assert (screw.aside != 0) == (cortices == "tangential")


@pytest.mark.parametrize("rod", RODS)
def test_unicortical_screws_stop_short_of_what_stands_in_the_canal(rod: str):
    # Plain geometry: 0.5 mm or more from the rod along the screw, and 1.5 mm or more in the cortex.
    plate = Plate(azimuth_deg=38.0, screws=Screws(diameter_mm=4.1))
    (bar,) = rods(RODS[rod], 430.0)
    out = np.array(radial(38.0)[:2])
    for screw in placed(RODS[rod], plate):
        if in_the_way(bar, screw.height, 2.05):
            centre = np.array(centre_at(bar, screw.height))
            assert screw.tip >= centre @ out + radius_at(bar, screw.height) + 0.5 - 1e-9
            assert 0 < screw.tip < outer_profile(FEMUR).at(screw.height) - 1.5


def test_no_screw_is_longer_than_said_for_one_that_is_unicortical():
    # Definition: unicortical holds for every screw, whether anything is in the way or not.
    plate = Plate(screws=Screws(cortices="unicortical"))
    for screw in screws(plate, [], walls(FEMUR, None), 215.0):
        assert screw.tip == pytest.approx(walls(FEMUR, None).inner.at(screw.height) - 1.5)


def test_screws_are_read_where_plate_and_cortex_are():
    # Plain geometry: distance of the plane's place from the shaft axis.
    plate = Plate(screws=TURNED)
    found = placed(RODS["nail"], plate)
    bone = walls(FEMUR, RODS["nail"])
    for screw, pin in zip(found, screw_pins(plate, found, bone, PlateLabel()), strict=True):
        surface = bone.outer.at(screw.height)
        places = {
            name: np.array(pin.foot) + along * np.array(pin.axis) for name, along in pin.planes.items()
        }
        assert hypot(*places["plate_gap"][:2]) == pytest.approx(surface + 1.0)
        assert bone.inner.at(screw.height) < hypot(*places["near_cortex"][:2]) < surface
        assert screw.tip < pin.planes["near_cortex"] < pin.planes["plate_gap"] < screw.head


def test_turned_screws_own_their_places_in_bone_and_plate():
    # Definition, by points on their axes: plate and cortex are painted over, the nail is not met.
    construct = NailPlateConstruct(
        name="c", kind="nail_plate",
        nail=Nail(diameter_mm=8.0, cannulation_mm=4.0, bolts=Bolts(fit="tied")),
        plate=Plate(screws=TURNED, offset_mm=2.5, azimuth_deg=41.0),
    )  # fmt: skip
    geometry = assemble(construct, FEMUR, Defect())
    names = [part.name for part in geometry.parts]
    for number, screw in enumerate(placed(construct.nail, construct.plate), start=1):
        head, tip = line(screw)
        places = head + np.linspace(0.01, 0.99, 50)[:, None] * (tip - head)
        points = np.column_stack([places, np.full(50, screw.height)])
        assert {names[k] for k in geometry.painted(points)} == {f"screw_{number}"}
