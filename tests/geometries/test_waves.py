"""What rough faces move from part to part, against an integral that knows only radii."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct, PlateConstruct
from geometries.defect import bone_ends
from geometries.faces import Face
from geometries.parameters import Bolts, Nail
from geometries.plating import Plate, Screws
from geometries.profiles import canal_profile, outer_profile
from geometries.solids import Geometry, HalfSpace
from geometries.waves import flattened, moved_by_waves

FEMUR = Femur()
ROUGH: dict[str, Any] = {
    "gap_mm": 3.7, "rough_mm": 0.63, "rough_wavelength_mm": 9.1, "rough_seed": 8,
    "site_percent": 40.0,  # at 258 mm, where surface and canal are even
}  # fmt: skip


SHORT = Plate(hole_count=4, screws=Screws(holes=(2,)))  # few solids to look at


def plated(**changes: Any) -> tuple[Defect, Geometry]:
    defect = Defect(**{**ROUGH, **changes})
    return defect, assemble(PlateConstruct(name="p", kind="plate", plate=SHORT), FEMUR, defect)


@cache
def moved(**changes: Any) -> dict[str, float]:
    """What the waves add to each part of a plated gap, mm³."""
    return by_name(plated(**changes)[1])


def by_name(geometry: Geometry) -> dict[str, float]:
    moved = moved_by_waves(geometry)
    return {part.name: float(size) for part, size in zip(geometry.parts, moved, strict=True)}


def waves_over_ring(face: Face, inner: float, outer: float) -> float:
    """Volume between a rough face and its plane over a ring, mm³.

    Gauss points along the radius and evenly spread ones round it, exact here to rounding.
    """
    places, weights = np.polynomial.legendre.leggauss(40)
    r = inner + (outer - inner) * (places + 1) / 2
    turn = np.arange(180) * np.pi / 90
    x, y = r[:, None] * np.cos(turn), r[:, None] * np.sin(turn)
    height = face.at(x, y) - face.plane.at(x, y)
    return float((weights * r * (outer - inner) / 2 @ height).sum() * np.pi / 90)


@pytest.mark.parametrize(
    "shape", [{}, {"oblique_deg": 31.0, "oblique_azimuth_deg": 50.0}, {"wedge_mm": 2.3}]
)
def test_unlike_ends_change_gap_and_bone_by_their_waves(shape: dict[str, float]):
    # Plain integral over the ring between canal and surface, which the shaft has at every height: what
    # the lower face gains the distal bone has; the gap has the difference of the two.
    defect, _ = plated(rough_faces="unlike", **shape)
    lower, upper = bone_ends(FEMUR, defect)
    radii = canal_profile(FEMUR).at(258.0), outer_profile(FEMUR).at(258.0)
    below, above = (waves_over_ring(face, *radii) for face in (lower, upper))
    assert abs(above - below) > 5  # mm³: there is something to find
    found = moved(rough_faces="unlike", **shape)
    gap = np.pi * (radii[1] ** 2 - radii[0] ** 2) * (defect.gap_mm + defect.wedge_mm / 2)
    assert found["gap"] == pytest.approx(above - below, abs=1e-3 * gap)
    assert found["cortex_distal"] == pytest.approx(below, abs=1e-3 * gap)
    assert found["cortex_proximal"] == pytest.approx(-above, abs=1e-3 * gap)


@pytest.mark.parametrize("faces", ["matching", "unlike"])
def test_bone_and_gap_only_exchange_volume(faces: str):
    # Definition: what one side of a face gains the other loses; nothing lies beside them.
    found = moved(rough_faces=faces)
    assert sum(found.values()) == pytest.approx(0, abs=1e-9)
    assert {name for name, size in found.items() if size} <= {
        "gap", "cortex_distal", "cortex_proximal",
    }  # fmt: skip


def test_matching_ends_leave_the_gap_as_large_as_it_was():
    # Definition: both faces are one, moved along the shaft.
    found = moved(rough_faces="matching")
    assert found["gap"] == pytest.approx(0, abs=1e-9)
    assert abs(found["cortex_distal"]) > 1


def test_filling_of_the_canal_counts_too_and_the_nail_does_not():
    # Plain integral over the ring between nail and canal. A nail is cut by nothing.
    defect = Defect(**ROUGH, rough_faces="unlike", fill="canal")
    bolts = Bolts(distal=1, proximal=1)
    nail = Nail(diameter_mm=9.0, reaming_mm=3.5, bolts=bolts)
    construct = NailConstruct(name="n", kind="nail", nail=nail)
    geometry = assemble(construct, FEMUR, defect)
    lower, upper = bone_ends(FEMUR, defect)
    below, above = (waves_over_ring(face, 4.5, 6.25) for face in (lower, upper))
    found = by_name(geometry)
    assert found["inner"] == pytest.approx(above - below, abs=0.05)
    assert found["nail"] == pytest.approx(0, abs=1e-9)


def inside_canal(face: Face) -> float:
    """Volume in the canal up to a rough face from 40 mm below, mm³.

    Along each ray of constant share of the canal's radius the face is crossed once: found by fixed
    point, then the canal's area is integrated, Gauss points in share and height.
    """
    canal = canal_profile(FEMUR)
    places, weights = np.polynomial.legendre.leggauss(12)
    share, low = (places + 1) / 2, face.height - 40.0
    total = 0.0
    for turn in np.arange(40) * np.pi / 20:
        for s, weight in zip(share, weights * share / 2, strict=True):
            z = face.height
            for _ in range(25):
                r = s * canal.at(z)
                z = float(face.at(r * np.cos(turn), r * np.sin(turn)))
            knots = [low, *(h for h in canal.heights if low < h < z), z]
            for a, b in pairwise(knots):
                heights = a + (b - a) * (places + 1) / 2
                areas = np.array([canal.at(h) ** 2 for h in heights])
                total += weight * np.pi / 20 * float(weights @ areas) * (b - a) / 2
    return total


def test_waves_in_a_canal_that_widens():
    # Integral in the canal's own coordinates. What counts here are waves about as high as the canal
    # takes to widen by a spot's size, so a wave's height over a spot is not what it moves.
    defect, geometry = plated(
        site_percent=27.0, rough_mm=1.8, wedge_mm=6.1, rough_faces="unlike", fill="canal"
    )
    lower, upper = bone_ends(FEMUR, defect)
    waves = [inside_canal(face) - inside_canal(face.plane) for face in (lower, upper)]
    assert by_name(geometry)["inner"] == pytest.approx(waves[1] - waves[0], abs=0.1)


def test_geometry_without_waves_is_its_own_plane_one():
    # Definition; not even a copy, since the mesher asks by identity.
    geometry = plated(rough_mm=0.0, oblique_deg=20.0)[1]
    assert flattened(geometry) is geometry
    assert not moved_by_waves(geometry).any()


def test_flattened_geometry_has_the_same_parts_between_planes():
    # Definition: every cut face without its waves, all else as it was.
    geometry = plated(oblique_deg=20.0)[1]
    plane = flattened(geometry)
    assert plane is not geometry
    assert replace(plane, parts=geometry.parts) == geometry
    pairs = [
        (a, b)
        for one, other in zip(geometry.parts, plane.parts, strict=True)
        for before, after in zip(one.pieces, other.pieces, strict=True)
        for a, b in zip(before.cuts, after.cuts, strict=True)
    ]
    rough = [(a, b) for a, b in pairs if a != b]
    assert rough
    for a, b in rough:
        assert isinstance(a, HalfSpace)
        assert b == HalfSpace(a.face.plane, a.is_above)
