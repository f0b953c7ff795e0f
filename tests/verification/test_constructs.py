"""Whole constructs: a nail in torsion, and what more material does."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.constructs import NailConstruct
from geometries.nail import bolt_levels
from pipeline.measures.motion import face_motion
from tests.models import (
    Tube,
    case_of,
    solved,
)

# --- A nail alone in torsion -------------------------------------------------------------------------


@pytest.mark.slow
def test_nail_alone_twists_as_its_shaft_between_the_bolts():
    # Statics: across an empty gap only the nail carries torque, from the bolts on one side to those on
    # the other. Over the distance between the innermost bolts it twists by TL/GJ (torsion of a round
    # bar, derived); bolts and the bone round them add their own twist. The bolts fill their
    # holes, which shortens the free length by up to one diameter: 5 of 290 mm, hence 1.02.
    nail_alone = solved(case_of({"kind": "nail", "name": "nail"}, "coarse"))
    construct, load = nail_alone.case.construct, nail_alone.wrenches["twist"]
    assert isinstance(construct, NailConstruct)
    nail = construct.nail
    below, above = (
        face_motion(nail_alone.mesh, f"gap_{end}_face", nail_alone.solution.displacement)
        for end in ("distal", "proximal")
    )
    twist = ((above.rotation - below.rotation) @ load)[2]
    levels = bolt_levels(nail)
    tube = Tube(nail.diameter_mm, nail.cannulation_mm, nail.material)
    formula = tube.G * tube.J / (levels[nail.bolts.distal] - levels[nail.bolts.distal - 1])
    assert 0.75 <= load[5] / twist / formula <= 1.02


@pytest.mark.slow
def test_what_fills_the_canal_only_ever_stiffens():
    # Minimum potential energy: material added to a body lowers the work of every load (derived).
    # So void, filler and tie come in this order, in each of the six unit loads.
    works = []
    for canal in ("void", "filler", "bonded"):
        nail = {"diameter_mm": 12.0, "canal": canal}
        one = solved(case_of({"kind": "nail", "name": "nail", "nail": nail}, "coarse", ("atrophic",)))
        works.append(np.einsum("nil,nil->l", one.forces, one.solution.displacement))
    assert (works[0] > works[1]).all()
    assert (works[1] > works[2]).all()


@pytest.mark.slow
def test_a_second_plate_only_ever_stiffens():
    # Minimum potential energy, as above: two plates against the first of them alone.
    works = []
    for construct in ({"kind": "plate"}, {"kind": "two_plates"}):
        one = solved(case_of({"name": "one", **construct}, "coarse", ("atrophic",)))
        works.append(np.einsum("nil,nil->l", one.forces, one.solution.displacement))
    assert (works[0] > works[1]).all()
