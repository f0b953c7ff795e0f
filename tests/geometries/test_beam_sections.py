"""Nail, plate and stem as beams: section moduli against sums over points of the section."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.frame import Points
from geometries.nail import nail_beam
from geometries.parameters import Nail, Stem
from geometries.plate import Label, plate_beam
from geometries.plating import Plate
from geometries.readout import Beam
from geometries.stem import stem_beam

GRID = np.arange(-12.0, 12.0, 0.02) + 0.01
X, Y = np.meshgrid(GRID, GRID)
POINTS = np.stack([X.ravel(), Y.ravel()], axis=1)


def modulus(inside: Points, axis: tuple[float, float]) -> float:
    """Second moment of area about an axis through the middle over the largest distance from it, mm³."""
    away = inside @ np.array([-axis[1], axis[0]])
    return float((away**2).sum() * 0.02**2 / np.abs(away).max())


def ring(outer: float, inner: float) -> Points:
    radius = np.hypot(*POINTS.T)
    return POINTS[(radius <= outer / 2) & (radius >= inner / 2)]


def bar(width: float, thickness: float, azimuth_deg: float) -> Points:
    """The section of a plate on a side of the bone, about its own middle."""
    angle = np.radians(azimuth_deg)
    out, across = POINTS @ [-np.cos(angle), np.sin(angle)], POINTS @ [np.sin(angle), np.cos(angle)]
    return POINTS[(np.abs(out) <= thickness / 2) & (np.abs(across) <= width / 2)]


def slotted(outer: float, inner: float, slot: float, azimuth_deg: float) -> Points:
    """The section of a slotted nail about the nail's own axis."""
    inside, angle = ring(outer, inner), np.radians(azimuth_deg)
    out, aside = inside @ [-np.cos(angle), np.sin(angle)], inside @ [np.sin(angle), np.cos(angle)]
    return inside[(out < 0) | (np.abs(aside) > slot / 2)]


SLOTTED = Nail(
    diameter_mm=11.0, cannulation_mm=7.0, length_mm=360.0, slot_mm=3.2, slot_azimuth_deg=38.0,
    slot_percent=60.0, distal_offset_mm=(0.4, -0.3), proximal_offset_mm=(0.4, -0.3),
)  # fmt: skip
NAIL, STEM = Nail(diameter_mm=11.0, cannulation_mm=4.6), Stem(tip_diameter_mm=9.4)
PLATE = Plate(width_mm=15.0, thickness_mm=4.4, azimuth_deg=31.0)


@pytest.mark.parametrize(
    ("beam", "section"),
    [
        (nail_beam(NAIL, 200.0), ring(11.0, 4.6)),
        (nail_beam(SLOTTED, 300.0), ring(11.0, 7.0)),  # above the slot
        (stem_beam(STEM), ring(9.4, 0.0)),
        (plate_beam(PLATE, Label()), bar(15.0, 4.4, 31.0)),
    ],
    ids=lambda one: one.part if isinstance(one, Beam) else "",
)
def test_area_and_moduli_are_those_of_the_section(beam: Beam, section: Points):
    # Definition: the integral of the squared distance, over the outermost fibre.
    assert beam.area == pytest.approx(len(section) * 0.02**2, rel=5e-3)
    for axis, value in zip(beam.axes, beam.moduli, strict=True):
        assert np.linalg.norm(axis) == pytest.approx(1)
        assert value == pytest.approx(modulus(section, axis), rel=1e-2)


def test_a_slotted_nail_is_read_about_the_middle_of_what_is_left():
    # The same sums, about the section's own centre, which lies away from the slot.
    beam, section = nail_beam(SLOTTED, 150.0), slotted(11.0, 7.0, 3.2, 38.0)
    centre = section.mean(axis=0)
    assert beam.foot == pytest.approx(centre + np.array([0.4, -0.3]), abs=0.01)
    assert beam.area == pytest.approx(len(section) * 0.02**2, rel=5e-3)
    for axis, value in zip(beam.axes, beam.moduli, strict=True):
        assert value == pytest.approx(modulus(section - centre, axis), rel=1e-2)
    closed = nail_beam(SLOTTED.model_copy(update={"slot_mm": None}), 150.0)
    assert max(beam.moduli) < closed.moduli[0]
