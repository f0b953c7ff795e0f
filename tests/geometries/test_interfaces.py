"""What lies between nail and canal, against plain geometry."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from scipy.integrate import trapezoid

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct, PlateConstruct
from geometries.defect import gap_levels
from geometries.errors import StudyError
from geometries.nail import canal_part
from geometries.parameters import Bolts, Nail
from geometries.plating import Plate
from geometries.profiles import canal_profile, outer_profile
from geometries.solids import Part, Piece, radial

FEMUR, DEFECT = Femur(), Defect()
GAP = gap_levels(FEMUR, DEFECT)


def between(canal: str, diameter_mm: float = 11.0) -> Part | None:
    nail = Nail(diameter_mm=diameter_mm, canal=canal)
    return canal_part(nail, FEMUR, GAP)


def volume(piece: Piece) -> float:
    """Less the share of each cut, a cylinder, between the ends of the piece."""
    height = piece.solid.height
    return piece.solid.volume - sum(cut.volume * height / cut.height for cut in piece.cuts)


@pytest.mark.parametrize("canal", ["void", "contact"])
def test_void_and_contact_are_nothing(canal: str):
    assert between(canal) is None


def test_filler_fills_all_between_nail_and_bone():
    # Volume of revolution between nail and bone; the cortex paints over all but the canal.
    part, nail = between("filler"), Nail(diameter_mm=11.0)
    assert part is not None
    z = np.linspace(nail.distal_end_mm, nail.distal_end_mm + nail.length_mm, 200_001)
    outer = outer_profile(FEMUR)
    radii = np.interp(z, outer.heights, outer.radii)
    expected = trapezoid(pi * (radii**2 - 5.5**2), z)
    assert sum(volume(piece) for piece in part.pieces) == pytest.approx(expected, rel=1e-6)


def test_tie_lies_where_the_nail_fits_and_leaves_the_gap_free():
    # Definition: bonded where the reamed canal is as wide as the bore, never across the gap.
    part = between("bonded", 12.0)
    assert part is not None
    canal, bore = canal_profile(FEMUR), (12.0 + 1.0) / 2
    for piece in part.pieces:
        low, high = piece.solid.base[2], piece.solid.base[2] + piece.solid.axis[2]
        assert high <= GAP[0] + 1e-9 or low >= GAP[1] - 1e-9
        assert max(canal.at(low), canal.at(high)) <= bore * (1 + 1e-4)
        assert piece.cuts[0].radius == 6.0
    assert {"marrow", FEMUR.cortical} == {between("filler").material, part.material}


def test_a_nail_that_fits_nowhere_can_not_be_tied():
    with pytest.raises(StudyError, match=r"canal is wider than the bore of 9 mm everywhere"):
        between("bonded", 8.0)
    nail = Nail(diameter_mm=8.0, canal="bonded", bolts=Bolts(fit="tied"))
    construct = NailConstruct(name="n", kind="nail", nail=nail)
    with pytest.raises(StudyError, match=r"^construct 'n': nail\.canal = .*fits somewhere"):
        assemble(construct, FEMUR, DEFECT)


@pytest.mark.parametrize("canal", ["void", "contact", "filler", "bonded"])
def test_every_place_between_nail_and_bone_has_its_owner(canal: str):
    # Definition, by points in the clearance and in the nail's wall, at the gap and away from it.
    nail = Nail(diameter_mm=12.0, canal=canal)
    geometry = assemble(NailConstruct(name="n", kind="nail", nail=nail), FEMUR, DEFECT)
    names = [*(part.name for part in geometry.parts), "nothing"]
    at = [[6.25, 0, 200.0], [6.25, 0, 215.0], [4.0, 0, 215.0]]
    found = [names[k] for k in geometry.painted(np.array(at))]
    between_them = "canal" if canal in ("filler", "bonded") else "nothing"
    across = "canal" if canal == "filler" else "nothing"
    assert found == [between_them, across, "nail"]


@pytest.mark.parametrize("on_bone", ["offset", "bonded"])
@pytest.mark.parametrize("azimuth_deg", [0.0, 130.0])
def test_a_bonded_plate_is_tied_to_the_round_bone_but_not_across_the_gap(
    on_bone: str, azimuth_deg: float
):
    # Definition, by points seen from the plate: under its middle, under its edge, in the bone, and
    # under its middle at the gap. The bone's radius is 13.5 mm there, the plate stands 2 mm off.
    plate = Plate(on_bone=on_bone, azimuth_deg=azimuth_deg)
    geometry = assemble(PlateConstruct(name="p", kind="plate", plate=plate), FEMUR, DEFECT)
    names = [*(part.name for part in geometry.parts), "nothing"]
    out = np.array(radial(azimuth_deg))
    aside = np.cross(out, [0.0, 0.0, 1.0])
    at = [(14.5, 0.0, 225.0), (11.3, 7.8, 225.0), (12.0, 0.0, 225.0), (14.5, 0.0, 215.0)]
    places = np.array([r * out + s * aside + [0, 0, z] for r, s, z in at])
    tie = "pad_plate" if on_bone == "bonded" else "nothing"
    screws = 18.0 * 3  # between holes 2 on either side, at pitches of 18 mm
    free = DEFECT.gap_mm if on_bone == "bonded" else screws
    assert geometry.facts["plate_working_length_mm"] == pytest.approx(free)
    found = [names[k] for k in geometry.painted(places)]
    assert found == [tie, tie, "cortex_proximal", "nothing"]
