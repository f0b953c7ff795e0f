"""The femur that the parameters describe, measured on its profile."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from pydantic import ValidationError

from geometries.bone import Defect, Femur, Preset
from geometries.faces import Face
from geometries.femur import core_spans
from geometries.materials import MATERIALS, TISSUES
from geometries.parameters import Bolts, ExchangeNail, Nail
from geometries.plating import Plate
from geometries.profiles import DISTAL_CORE, canal_profile, outer_profile, reamed_profile
from geometries.rigidity import rigidities
from pipeline.measures.literature import SIX_FEMORA

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
    for share in (0.40, 0.5, 0.6, 0.65):
        assert 2 * outer_profile(femur).at(share * femur.length_mm) == pytest.approx(
            femur.shaft_diameter_mm
        )
    for share in (0.55, 0.6, 0.65):
        assert 2 * canal_profile(femur).at(share * femur.length_mm) == pytest.approx(
            femur.canal_diameter_mm
        )
    assert 2 * outer_profile(femur).at(femur.length_mm) == pytest.approx(femur.proximal_diameter_mm)
    distal = 0.25 * femur.length_mm
    assert 2 * outer_profile(femur).at(distal) == pytest.approx(femur.distal_diameter_mm)


def test_cortex_a_quarter_above_the_knee():
    z = 0.25 * DEFAULT.length_mm
    thickness = outer_profile(DEFAULT).at(z) - canal_profile(DEFAULT).at(z)
    assert thickness == pytest.approx(DEFAULT.distal_cortex_mm)


def test_cortex_is_never_thinner_than_its_shell():
    """Whatever the limits allow: 2 mm of 430 mm at the ends, more in the shaft."""
    rng = np.random.default_rng(3)
    limits = {
        "length_mm": (380, 490), "shaft_diameter_mm": (24, 32), "canal_diameter_mm": (8, 15),
        "distal_diameter_mm": (31, 45), "distal_cortex_mm": (2.5, 6), "proximal_diameter_mm": (32, 50),
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
        assert min(outer.at(h) - canal.at(h) for h in z) > 2 * femur.length_mm / 430 - 1e-9
        assert min(canal.at(h) for h in z) >= femur.canal_diameter_mm / 2 - 1e-12


def test_a_shaft_that_tapers_towards_the_knee_is_refused():
    assert Femur(shaft_diameter_mm=32.0)  # with the default of 31.5 mm at a quarter
    with pytest.raises(ValidationError, match=r"allowed 30\.4 mm or more for shaft_diameter_mm = 32"):
        Femur(shaft_diameter_mm=32.0, distal_diameter_mm=30.3)


# Six adult femurs cut by level, open data: percent of the length above the knee, mean outer and canal
# diameter of the equal round tube and standard deviations of the six, mm.
SIX = {
    20: (33.0, 2.6, 23.5, 4.0), 25: (31.1, 2.8, 20.6, 3.9), 30: (29.4, 2.6, 18.0, 3.6),
    35: (28.2, 2.4, 15.6, 3.2), 40: (27.4, 2.3, 13.5, 2.6), 45: (27.2, 2.3, 12.1, 2.2),
    50: (27.0, 2.3, 11.0, 2.2), 55: (26.9, 2.4, 10.5, 1.8), 60: (26.9, 2.3, 10.2, 1.6),
    65: (27.1, 2.3, 10.9, 1.8), 70: (27.2, 2.1, 11.7, 2.4), 75: (27.8, 2.1, 13.2, 2.6),
    80: (28.9, 2.3, 15.4, 3.8),
}  # fmt: skip


@pytest.mark.parametrize("percent", SIX)
def test_the_average_femur_is_the_mean_of_six(percent: int):
    # Half of their scatter: straight stretches between few levels leave that much.
    outer, outer_scatter, canal, canal_scatter = SIX[percent]
    z = percent / 100 * DEFAULT.length_mm
    assert 2 * outer_profile(DEFAULT).at(z) == pytest.approx(outer, abs=outer_scatter / 2)
    assert 2 * canal_profile(DEFAULT).at(z) == pytest.approx(canal, abs=canal_scatter / 2)


def test_presets_fill_in_what_is_not_given():
    wide, weak = Femur(preset="wide_canal"), Femur(preset="osteoporotic", canal_diameter_mm=12.0)
    assert (wide.canal_diameter_mm, wide.distal_cortex_mm) == (15.0, 4.0)
    assert (weak.canal_diameter_mm, weak.distal_cortex_mm) == (12.0, 4.0)
    assert (wide.cortical, weak.cortical) == ("cortical_transverse", "cortical_transverse_osteoporotic")
    assert Femur(preset="average") == Femur()


def test_the_wide_canal_lies_in_published_ranges():
    # Canal over outer diameter of 107 femurs: 0.498 ± 0.085 and 0.589 ± 0.070 in two views, 0.345 to
    # 0.783 in all (J Exp Biol 208:899): no less than the larger mean, no more than the largest.
    wide, z = Femur(preset="wide_canal"), 215.0
    assert 0.589 <= canal_profile(wide).at(z) / outer_profile(wide).at(z) <= 0.783
    # Area of the canal: twice in men, three times in women from 21 to 97 years (J Anat 191:407).
    assert 2 <= (wide.canal_diameter_mm / DEFAULT.canal_diameter_mm) ** 2 <= 3


@pytest.mark.parametrize("preset", ["average", "wide_canal"])
def test_rigidities_lie_within_those_of_six_femurs(preset: Preset):
    for own in rigidities(Femur(preset=preset)):
        six = SIX_FEMORA[own.percent]
        for value, sides in (
            (own.bending, (six.sagittal, six.frontal)),
            (own.torsion, (six.torsion,)),
        ):
            assert min(low for low, _ in sides) <= value <= max(high for _, high in sides)


def test_rigidities_at_mid_shaft_by_hand():
    # Round tube of 27 mm; the canal is a third of the way from 10.5 + 0.11 * 27 to 10.5 mm.
    inner = 10.5 + 0.11 * 27.0 / 3
    own = next(one for one in rigidities(DEFAULT) if one.percent == 50)
    second = pi / 64 * (27.0**4 - inner**4)
    assert own.bending == pytest.approx(17e-3 * second)
    assert own.torsion == pytest.approx(3.3e-3 * 2 * second)
    assert own.axial == pytest.approx(17e-3 * pi / 4 * (27.0**2 - inner**2))


def test_rigidities_of_a_larger_bone_grow_with_its_size():
    # Similarity: areas with the square, second moments with the fourth power; definition.
    keys = ("shaft", "canal", "distal", "proximal")
    sizes = {f"{key}_diameter_mm": getattr(DEFAULT, f"{key}_diameter_mm") for key in keys}
    sizes |= {"length_mm": 430.0, "distal_cortex_mm": 5.3}
    larger = Femur(**{key: 1.1 * value for key, value in sizes.items()})
    for small, large in zip(rigidities(DEFAULT), rigidities(larger), strict=True):
        assert large.axial == pytest.approx(1.1**2 * small.axial)
        assert large.bending == pytest.approx(1.1**4 * small.bending)
        assert large.torsion == pytest.approx(1.1**4 * small.torsion)


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


def test_a_bore_wider_than_the_canal_leaves_no_core_there():
    # Geometry: bone between bore and canal must be left, a millimetre at least.
    femur = Femur(length_mm=380.0, distal_diameter_mm=27.0, distal_cortex_mm=6.0)
    nail = Nail(diameter_mm=15.0, reaming_mm=5.0, distal_end_mm=39.0, length_mm=326.0)
    level = Face(190.0)
    _, top = core_spans(femur, nail, (level, level), (15.0, 365.0))["cancellous_distal"]
    assert 0 < top < DISTAL_CORE * femur.length_mm
    bored = np.arange(nail.distal_end_mm, top)
    assert all(canal_profile(femur).at(z) >= nail.bore_mm / 2 + 1.0 for z in bored)
    assert canal_profile(femur).at(nail.distal_end_mm) < nail.bore_mm / 2 + 1.0  # so none is bored
