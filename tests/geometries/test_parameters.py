"""The femur that the parameters describe, measured on its profile."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from pydantic import ValidationError

from geometries.bone import Defect, Femur
from geometries.materials import MATERIALS, TISSUES
from geometries.parameters import Bolts, ExchangeNail, Nail
from geometries.plating import Plate
from geometries.profiles import canal_profile, outer_profile, reamed_profile

DEFAULT = Femur()


@pytest.mark.parametrize(
    "femur",
    [
        DEFAULT,
        Femur(length_mm=380, shaft_diameter_mm=24, canal_diameter_mm=15, distal_diameter_mm=45),
        Femur(length_mm=490, shaft_diameter_mm=32, canal_diameter_mm=8, proximal_diameter_mm=32),
    ],
    ids=["default", "small", "large"],
)
def test_the_shaft_is_the_tube_that_was_asked_for(femur: Femur):
    for share in (0.40, 0.5, 0.6, 0.72):
        z = share * femur.length_mm
        assert 2 * outer_profile(femur).at(z) == pytest.approx(femur.shaft_diameter_mm)
        assert 2 * canal_profile(femur).at(z) == pytest.approx(femur.canal_diameter_mm)
    assert 2 * outer_profile(femur).at(femur.length_mm) == pytest.approx(femur.proximal_diameter_mm)
    distal = 0.25 * femur.length_mm
    assert 2 * outer_profile(femur).at(distal) == pytest.approx(femur.distal_diameter_mm)


def test_cortex_a_quarter_above_the_knee():
    z = 0.25 * DEFAULT.length_mm
    thickness = outer_profile(DEFAULT).at(z) - canal_profile(DEFAULT).at(z)
    assert thickness == pytest.approx(DEFAULT.distal_cortex_mm)


def test_cortex_is_never_thinner_than_its_shell():
    """Whatever the limits allow: 2 mm at the ends, more in the shaft."""
    rng = np.random.default_rng(3)
    limits = {
        "length_mm": (380, 490), "shaft_diameter_mm": (24, 32), "canal_diameter_mm": (8, 15),
        "distal_diameter_mm": (32, 45), "distal_cortex_mm": (2.5, 6), "proximal_diameter_mm": (32, 50),
    }  # fmt: skip
    for _ in range(300):
        femur = Femur(
            **{
                key: rng.choice([low, high, rng.uniform(low, high)])
                for key, (low, high) in limits.items()
            }
        )
        z = np.linspace(0, femur.length_mm, 200)
        outer, canal = outer_profile(femur), canal_profile(femur)
        assert min(outer.at(h) - canal.at(h) for h in z) > 2 - 1e-9
        assert min(canal.at(h) for h in z) >= femur.canal_diameter_mm / 2


def test_bending_stiffness_of_the_default_shaft_is_that_of_a_femur():
    """EI of the mid-shaft section against 240 to 500 N·m².

    The band is that of idealised tubes of 24 to 28 mm with the cortex's modulus along the shaft
    (from memory, no source read).
    """
    modulus = MATERIALS["cortical"].modulus
    outer, canal = DEFAULT.shaft_diameter_mm, DEFAULT.canal_diameter_mm
    stiffness = modulus * pi / 64 * (outer**4 - canal**4) / 1e6
    assert stiffness == pytest.approx(433, abs=1)
    assert 240 <= stiffness <= 500


@pytest.mark.parametrize("nail", [None, Nail(), ExchangeNail(), Nail(diameter_mm=9, reaming_mm=0.5)])
def test_reaming_widens_the_canal_only_where_it_is_narrower(nail: Nail | None):
    reamed, canal = reamed_profile(DEFAULT, nail), canal_profile(DEFAULT)
    bore = 0.0 if nail is None else (nail.diameter_mm + nail.reaming_mm) / 2
    for z in np.linspace(0, DEFAULT.length_mm, 400):
        assert reamed.at(z) == pytest.approx(max(canal.at(z), bore))
    assert list(reamed.heights) == sorted(set(reamed.heights))


def test_largest_radius_between_two_heights():
    profile = outer_profile(DEFAULT)
    length = DEFAULT.length_mm
    assert profile.largest(0.3 * length, 0.9 * length) == max(
        profile.at(0.3 * length), profile.at(0.9 * length)
    )
    assert profile.largest(0.5 * length, 0.6 * length) == DEFAULT.shaft_diameter_mm / 2


@pytest.mark.parametrize(
    ("percent", "site"),
    [
        (20, "proximal"),
        (44.9, "proximal"),
        (45, "mid-shaft"),
        (55, "mid-shaft"),
        (60, "distal"),
        (67.9, "distal"),
        (68, "metadiaphysis"),
    ],
)
def test_names_of_levels(percent: float, site: str):
    # Common practice, no source: mid-shaft is the middle tenth, the metadiaphysis begins at two thirds.
    assert Defect(site_percent=percent).site == site


def test_derived_numbers():
    assert Plate().length_mm == 180
    assert ExchangeNail().diameter_mm == Nail().diameter_mm + 2


def test_parameters_are_frozen():
    with pytest.raises(ValidationError, match="frozen"):
        DEFAULT.length_mm = 1.0  # type: ignore[misc]


def test_every_material_is_elastic_and_has_a_source():
    for material in [*MATERIALS.values(), *TISSUES.values()]:
        assert material.modulus >= 0
        assert 0 <= material.poisson < 0.5
        assert len(material.source) > 10


def test_tissues_stiffen_from_nothing_to_bone():
    order = (
        "empty",
        "atrophic",
        "oligotrophic",
        "hypertrophic",
        "woven",
        "immature",
        "mature",
        "united",
    )
    moduli = [TISSUES[name].modulus for name in order]
    assert moduli == sorted(set(moduli))
    assert moduli[-1] == MATERIALS["cortical"].modulus


@pytest.mark.parametrize("diameter", [4.81, 4.86, 4.89])
def test_bolt_that_would_graze_the_bore(diameter: float):
    # Definition: a bolt just wider than the bore leaves an edge as thin as a razor in its wall.
    with pytest.raises(ValueError, match=r"wider than cannulation_mm = 4\.8: .* make them equal"):
        Nail(cannulation_mm=4.8, bolts=Bolts(diameter_mm=diameter))


@pytest.mark.parametrize("diameter", [4.75, 4.8, 4.91])
def test_bolt_that_does_not_graze_the_bore(diameter: float):
    # Same definition; equal cylinders meet in plain curves.
    assert Nail(cannulation_mm=4.8, bolts=Bolts(diameter_mm=diameter))
    assert Nail(cannulation_mm=4.8, bolts=Bolts(diameter_mm=4.86, proximal=0, distal=0))
