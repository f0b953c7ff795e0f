"""Two plates: names that do not clash, read-outs for all, and refusals where they would meet."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import TwoPlatesConstruct
from geometries.errors import StudyError
from geometries.plating import Plate, Screws, SecondPlate
from geometries.solids import Geometry

UNI = Screws(cortices="unicortical")
THIN = Screws(diameter_mm=3.5, holes=(2, 3, 4), cortices="unicortical")


def built(plate: Plate, second: SecondPlate) -> Geometry:
    construct = TwoPlatesConstruct(name="two", kind="two_plates", plate=plate, second=second)
    return assemble(construct, Femur(), Defect())


def test_parts_and_read_outs_have_names_of_their_own():
    geometry = built(Plate(), SecondPlate())
    names = [part.name for part in geometry.parts]
    assert len(names) == len(set(names))
    screws = [name for name in names if name.startswith("screw")]
    assert screws == [f"screw_{k}" for k in range(1, 13)]
    assert [pin.name for pin in geometry.pins] == screws
    assert [beam.part for beam in geometry.beams] == ["plate", "plate_2"]
    assert geometry.gap is not None
    assert geometry.gap.near_azimuth_deg == 0  # near is the side of the main plate


def test_second_plate_lies_on_its_side():
    # Plain geometry: its own axes are those of its azimuth, a quarter turn on.
    first, second = built(Plate(), SecondPlate()).beams
    assert np.cross([*first.axes[1], 0], [*second.axes[1], 0])[2] == pytest.approx(-1)
    assert second.area == pytest.approx(11 * 4)


@pytest.mark.parametrize(
    ("plate", "second", "words"),
    [
        (Plate(), SecondPlate(azimuth_deg=40.0), "plate and plate_2"),
        (Plate(), SecondPlate(shift_mm=0.0), "screw_2 and screw_7"),
        (Plate(), SecondPlate(azimuth_deg=180.0, screws=THIN), "screw_2 and plate_2"),
    ],
    ids=["plates", "screws", "screw through the other plate"],
)
def test_what_would_meet_is_refused(plate: Plate, second: SecondPlate, words: str):
    # Common practice, no source: implants do not pass through each other.
    with pytest.raises(StudyError, match=words) as caught:
        built(plate, second)
    assert "allowed is more" in str(caught.value)


@pytest.mark.parametrize("azimuth_deg", [90.0, -90.0, 180.0])
def test_unicortical_screws_fit_at_every_usual_angle(azimuth_deg: float):
    geometry = built(Plate(screws=UNI), SecondPlate(azimuth_deg=azimuth_deg, screws=THIN))
    assert geometry.facts["second_plate_working_length_mm"] == pytest.approx(54)
