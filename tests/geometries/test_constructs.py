"""Constructs answer for themselves: what they are made of follows from their fields."""

from __future__ import annotations

from typing import Literal, get_args

import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import Compared, Construct, ExchangeNailConstruct, NailConstruct, Specimen
from geometries.errors import StudyError
from geometries.parameters import Stem
from geometries.plating import Plate, SecondPlate

KINDS = get_args(get_args(Construct)[0])
TUBE = {"outer_diameter_mm": 20.0, "inner_diameter_mm": 10.0, "material": "cortical"}


def made(model: type[Compared]) -> Compared:
    own = {"length_mm": 300.0, "layers": [TUBE]} if model is Specimen else {}
    (kind,) = get_args(model.model_fields["kind"].annotation)
    return model.model_validate({"name": "any", "kind": kind, **own})


@pytest.mark.parametrize("model", KINDS)
def test_what_a_construct_says_it_has_is_in_its_geometry(model: type[Compared]):
    """Definition: the solids are what there is."""
    construct = made(model)
    assert construct.has_gap == (construct.kind not in {"intact", "specimen"})
    geometry = assemble(construct, Femur(), Defect())
    assert construct.has_femur == (geometry.gap is not None)
    assert construct.has_gap == any(part.material == "tissue" for part in geometry.parts)
    if construct.has_femur:
        names = [part.name for part in geometry.parts if part.role in ("nail", "stem", "plate")]
        rod = [] if construct.rod is None else [construct.rod.noun]
        assert names == [*rod, *("plate", "plate_2")[: len(construct.plates)]]


class Belted(Compared):
    """A kind that there is not: a stem under two plates, told by its fields alone."""

    kind: Literal["belted"]
    stem: Stem = Stem(fixation="ingrown")
    front: Plate = Plate(on_bone="bracket")
    back: SecondPlate = SecondPlate(on_bone="bracket")


def test_a_new_kind_is_one_class():
    belted = Belted(name="b", kind="belted")
    assert belted.rod is belted.stem
    assert belted.plates == (belted.front, belted.back)
    bounds = {one.name: (words, one.interfaces) for one, words in belted.at_bounds()}
    assert bounds["b-offset-bonded"] == (
        "plate offset, second plate bonded",
        "stem ingrown, plate offset, second plate bonded, screws tied",
    )
    assert [*bounds] == ["b-offset-offset", "b-offset-bonded", "b-bonded-offset", "b-bonded-bonded"]


@pytest.mark.parametrize("model", [NailConstruct, ExchangeNailConstruct])
def test_a_bore_that_leaves_no_cortex_asks_for_another_nail(model: type[Compared]):
    """And not for a thicker femur, which is the remedy where nothing stands in it (definition)."""
    (kind,) = get_args(model.model_fields["kind"].annotation)
    nail = {"diameter_mm": 15.0, "reaming_mm": 5.0, "proximal_offset_mm": (6.0, 0.0)}
    thick = model.model_validate({"name": "thick", "kind": kind, "nail": nail})
    with pytest.raises(StudyError, match="choose a thinner nail, less reaming_mm"):
        assemble(thick, Femur(shaft_diameter_mm=24.0), Defect())
