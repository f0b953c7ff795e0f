"""Drawings against the sizes of what they show."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import IntactConstruct, NailConstruct, NailPlateConstruct, PlateConstruct
from geometries.parameters import Nail
from geometries.plating import Plate
from geometries.solids import Geometry, Part
from pipeline.output.drawing import _outlines, draw_construct

FEMUR, DEFECT = Femur(), Defect(gap_mm=7.0)
ALL = (
    IntactConstruct(name="intact", kind="intact"),
    NailConstruct(name="nail", kind="nail", nail=Nail(diameter_mm=12.0, canal="filler")),
    PlateConstruct(name="plate", kind="plate", plate=Plate(azimuth_deg=45.0)),
    NailPlateConstruct(name="both", kind="nail_plate"),
)


def built(construct) -> Geometry:
    return assemble(construct, FEMUR, DEFECT)


def named(geometry: Geometry, name: str) -> Part:
    return next(part for part in geometry.parts if part.name == name)


def extent(part: Part, axis: int) -> tuple[np.ndarray, np.ndarray]:
    points = np.concatenate(list(_outlines(part, axis)))
    return points.min(axis=0), points.max(axis=0)


@pytest.mark.parametrize("construct", ALL, ids=lambda c: c.name)
def test_every_construct_is_drawn_the_same_each_time(construct, tmp_path: Path):
    force = ("hip_contact", np.array([42.0, 0.0, 407.0]), np.array([-105.0, 0.0, -995.0]))
    first = draw_construct(built(construct), construct.name, "words", [force], tmp_path)
    assert [path.suffix for path in first] == [".svg", ".png"]
    text = first[0].read_text(encoding="utf-8")
    for words in ("gap 7 mm", "hip contact", "1001 N", "femur 430 mm", "not validated"):
        assert words in text
    again = draw_construct(built(construct), construct.name, "words", [force], tmp_path)
    assert again[0].read_text(encoding="utf-8") == text


@pytest.mark.parametrize("axis", [0, 1])
def test_nail_and_gap_have_their_size(axis: int):
    geometry = built(ALL[1])
    low, high = extent(named(geometry, "nail"), axis)
    assert high - low == pytest.approx([12.0, 360.0])
    low, high = extent(named(geometry, "gap"), axis)
    assert high[1] - low[1] == pytest.approx(7.0)


def test_pins_are_bars_from_the_side_and_discs_from_their_end():
    geometry = built(ALL[3])
    bolt = named(geometry, "bolt_1")
    low, high = extent(bolt, 1)
    assert high - low == pytest.approx([5.0, 5.0], rel=5e-3)
    low, high = extent(bolt, 0)
    assert (high - low)[0] > 20
    assert (high - low)[1] == pytest.approx(5.0, rel=5e-3)


def test_a_slanted_plate_shows_both_its_sides():
    # Plain trigonometry: at 45 degrees width and thickness project alike on both views.
    plate = named(built(ALL[2]), "plate")
    front, side = (extent(plate, axis) for axis in (0, 1))
    assert front[1] - front[0] == pytest.approx(side[1] - side[0])
    assert (front[1] - front[0])[0] > (16 + 5) / np.sqrt(2) - 1e-9
