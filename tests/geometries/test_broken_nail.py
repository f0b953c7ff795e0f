"""A nail that broke and stayed in place."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct, NailPlateConstruct
from geometries.errors import StudyError
from geometries.nail import nail_parts, nail_spans
from geometries.parameters import Nail
from geometries.profiles import outer_profile
from geometries.solids import Geometry

BROKEN = Nail(break_mm=215.0, break_opening_mm=0.8)


def built(nail: Nail) -> Geometry:
    return assemble(NailConstruct(name="n", kind="nail", nail=nail), Femur(), Defect())


def test_the_opening_is_all_that_is_missing():
    # Plain geometry: two tubes, an opening apart.
    whole, broken = (
        sum(
            piece.solid.volume - piece.cuts[0].volume
            for piece in nail_parts(nail, outer_profile(Femur()))[0].pieces
        )
        for nail in (Nail(), BROKEN)
    )
    assert whole - broken == pytest.approx(0.8 * pi / 4 * (10**2 - 5**2))
    assert nail_spans(BROKEN) == [(35.0, 214.6), (215.4, 395.0)]


def test_nothing_lies_in_the_opening():
    geometry = built(BROKEN)
    names = [*(part.name for part in geometry.parts), "nothing"]
    places = np.array([[4.0, 0, 214.5], [4.0, 0, 215.0], [4.0, 0, 215.5]])
    assert [names[k] for k in geometry.painted(places)] == ["nail", "nothing", "nail"]


@pytest.mark.parametrize("height", [50.0, 36.0, 400.0, 25.0])
def test_a_break_on_a_bolt_or_beside_the_nail_is_refused(height: float):
    with pytest.raises(StudyError, match=rf"nail.break_mm = {height:g} lies outside"):
        built(Nail(break_mm=height))


def test_every_table_says_that_it_is_broken():
    construct = NailPlateConstruct(name="b", kind="nail_plate", nail=BROKEN)
    assert construct.interfaces == (
        "canal contact, bolts with 0.2 mm play, nail slides along them, nail broken, plate offset, "
        "screws tied"
    )
