"""Gates of plausibility: sentences by hand numbers, then on solved models that are right and wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from geometries.bone import Femur
from geometries.materials import MATERIALS
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.literature import CONSTRUCT_BANDS, MODULI, PLATE_ADDED, Traits
from pipeline.measures.plausibility import (
    Gates,
    against_beam,
    against_free_nail,
    material_doubts,
    plate_doubts,
)
from pipeline.measures.readings import Readings
from pipeline.run.collect import over_the_same_nail
from pipeline.run.equilibrium import NO_STAGE, part_elasticity
from pipeline.run.solving import Measured, measure
from pipeline.tables.added_plate import flag_added_plates
from pipeline.tables.rows import Row
from tests.models import INTACT, Solved, case_of, geometry_of, intact, solved

PURE: list[dict[str, Any]] = [
    {"kind": "end_force", "name": "pull", "proximal_n": 430.0},
    {"kind": "torsion", "name": "twist", "moment_nm": 2.3},
    {"kind": "bending", "name": "frontal", "plane": "frontal", "moment_nm": 3.1},
    {"kind": "hip_force", "name": "hip", "force_n": 730.0, "adduction_deg": 11.0},
]


# --- Sentences ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "is_bone", "word"),
    [
        (95.5, True, ""),
        (94.5, True, "-5.5 %: allowed ±5 %"),
        (104.5, True, ""),
        (105.5, True, "+5.5 %: allowed ±5 %"),
        (30.0, False, ""),
        (101.5, False, ""),
        (102.5, False, "+2.5 %: impossible"),
        (float("nan"), True, "allowed"),
        (float("nan"), False, "impossible"),
    ],
)
def test_beam_is_the_answer_for_bone_and_a_bound_for_the_rest(value: float, is_bone: bool, word: str):
    sentence = against_beam(value, 100.0, "N/mm", is_bone=is_bone)
    assert word in sentence
    assert bool(sentence) == bool(word)


def test_free_nail_is_a_bound_and_says_what_broke_it():
    assert against_free_nail(3.05, 3.0, "N·m/deg", "void") == ""
    assert "impossible with a void canal" in against_free_nail(3.10, 3.0, "N·m/deg", "void")
    assert "(marrow) carries torque" in against_free_nail(3.10, 3.0, "N·m/deg", "marrow")


BROAD = Traits(frozenset({"plate", "screw"}), frozenset({"titanium"}), "empty", 36.0, 80.0)


@pytest.mark.parametrize(
    ("change", "count"),
    [
        ({}, 1),
        ({"gap": "tissue"}, 0),
        ({"implants": frozenset({"plate", "screw", "pad"})}, 0),
        ({"implants": frozenset({"plate", "screw", "nail", "bolt"})}, 0),
        ({"materials": frozenset({"steel"})}, 0),
        ({"working_mm": 190.0}, 0),
        ({"area_mm2": 38.0}, 0),
    ],
)
def test_a_band_applies_to_constructs_like_its_source_alone(change: dict[str, Any], count: int):
    fitting = [band for band in CONSTRUCT_BANDS if band.fits(replace(BROAD, **change))]
    assert len(fitting) == count
    assert all(band.quantity == "axial_stiffness" for band in fitting)


@pytest.mark.parametrize(
    ("traits", "expected"),
    [
        (Traits(frozenset(), frozenset(), "none"), {"bending_stiffness", "torsional_stiffness"}),
        (Traits(frozenset({"nail", "bolt"}), frozenset({"steel"}), "empty"), {"torsional_stiffness"}),
        (Traits(frozenset({"nail", "bolt"}), frozenset({"steel"}), "tissue"), set()),
    ],
    ids=["intact", "nail", "nail in tissue"],
)
def test_whole_bone_and_nails_have_bands_of_their_own(traits: Traits, expected: set[str]):
    # The published values lie inside: intact 6.9, slotted nail 0.2, unslotted up to 1.8 N·m/deg.
    fitting = [band for band in CONSTRUCT_BANDS if band.fits(traits)]
    assert {band.quantity for band in fitting} == expected
    published = (6.9,) if not traits.implants else (0.2, 0.6, 1.8)
    for band in fitting:
        if band.quantity == "torsional_stiffness":
            assert not any(band.doubt(value, "N·m/deg") for value in published)


def test_a_band_says_value_limits_and_source():
    band = next(band for band in CONSTRUCT_BANDS if band.fits(BROAD))
    assert [band.doubt(value, "N/mm") for value in (500.0, 4000.0)] == ["", ""]
    for value, text in ((480.0, "480 N/mm"), (4100.0, "4.1e+03 N/mm")):
        assert band.doubt(value, "N/mm").startswith(f"{text}, outside 500 to 4000: plate alone")


def test_built_in_materials_lie_in_their_bands():
    known = {name: one.modulus for name, one in MATERIALS.items() if name in MODULI}
    assert {"titanium", "steel", "cobalt", "cortical", "cortical_transverse"} == set(known)
    assert not list(material_doubts(known))


@pytest.mark.parametrize(
    ("material", "value"), [("titanium", 110.0), ("steel", 193e6), ("tissue", 25e3)]
)
def test_a_modulus_in_a_wrong_unit_is_named(material: str, value: float):
    (doubt,) = material_doubts({material: value, "cancellous": 400.0})
    assert doubt.sentence.startswith(f"modulus of {material} ")
    assert doubt.quantities == {name for name in QUANTITIES if "stiffness" in name}


@pytest.mark.parametrize(
    ("ratio", "is_bench", "words"),
    [
        (2.6, True, []),
        (1.3, True, ["outside 1.5 to 5"]),
        (7.0, True, ["outside 1.5 to 5"]),
        (7.0, False, []),
        (0.99, False, []),
        (0.97, False, ["impossible"]),
        (0.97, True, ["impossible", "outside 1.5 to 5"]),
    ],
)
def test_a_plate_adds_as_much_as_was_measured(ratio: float, is_bench: bool, words: list[str]):
    found = list(plate_doubts("bending_stiffness_by_energy", ratio, is_bench=is_bench))
    assert len(found) == len(words)
    assert all(word in sentence for word, sentence in zip(words, found, strict=True))
    assert not list(plate_doubts("axial_stiffness", 7.0, is_bench=True))


def test_no_sentence_holds_what_parts_sentences():
    # Flags of a row are joined by a semicolon.
    bands = [*CONSTRUCT_BANDS, *MODULI.values(), *PLATE_ADDED]
    sentences = [band.source for band in bands]
    sentences += [against_beam(9.0, 3.0, "N", is_bone=is_bone) for is_bone in (True, False)]
    sentences += [against_free_nail(9.0, 3.0, "N", canal) for canal in ("void", "marrow")]
    sentences += plate_doubts("bending_stiffness", 0.5, is_bench=True)
    assert len(sentences) > 10
    assert not [one for one in sentences if ";" in one]


# --- A plate over a nail, from a table ---------------------------------------------------------------


def plated_rows(nail: dict[str, Any], stage: str, names: tuple[str, ...]) -> list[str]:
    """Flags of rows at seven times the nail alone, of a nail of 10 mm, with a plate over this nail."""
    plated = case_of({"kind": "nail_plate", "name": "both", "nail": nail}, "coarse", ("empty", "woven"))
    bare = case_of({"kind": "nail", "name": "bare", "nail": {"diameter_mm": 10.0}}, "coarse")
    table = [
        Row(construct="both", stage=stage, load="frontal", quantity=name, flags="old",
            percent_of_nail_only=700.0)
        for name in names
    ]  # fmt: skip
    plated_over = over_the_same_nail([bare, plated], {plated.name: bare.name})
    return [row.flags for row in flag_added_plates(plated_over, table)]


BOTH = ("bending_stiffness", "bending_stiffness_by_energy")


def test_ratio_is_judged_beside_the_same_nail_over_an_empty_gap_and_pure_loads():
    for flags in plated_rows({"diameter_mm": 10.0}, "empty", BOTH):
        assert flags.startswith("old; 7 times the same nail alone, outside 1.5 to 5: cadaver")
    assert plated_rows({"diameter_mm": 10.0}, "woven", BOTH) == ["old", "old"]
    assert plated_rows({"diameter_mm": 11.0}, "empty", BOTH) == ["old", "old"]
    assert plated_rows({"diameter_mm": 10.0}, "empty", BOTH[:1]) == ["old"]


def test_a_row_without_a_ratio_has_none_of_0():
    """Where the nail alone has that result by energy only: the other one's balance failed."""
    kinds = dict(zip(BOTH, (None, 300.0), strict=True))
    table = [
        Row(construct="both", stage="empty", load="frontal", quantity=name, percent_of_nail_only=ratio)
        for name, ratio in kinds.items()
    ]
    assert [row.flags for row in flag_added_plates({"both": {"empty"}}, table)] == ["", ""]


# --- Solved models -----------------------------------------------------------------------------------


def rows_of(model: Solved) -> list[Measured]:
    return list(measure(model.mesh, model.geometry, model.case, model.found))


def flagged(rows: list[Measured], word: str) -> set[tuple[str, str]]:
    """Load and quantity of the rows with a flag that has a word in it."""
    return {(r.load, r.measure.quantity) for r in rows if any(word in one for one in r.flags)}


BENDING = {("frontal", quantity) for quantity in BOTH}
TWISTING = {("twist", f"torsional_stiffness{end}") for end in ("", "_by_energy")}
PULLING = {("pull", f"axial_stiffness{end}") for end in ("", "_by_energy")}


@pytest.fixture(scope="module")
def whole() -> Solved:
    return intact(PURE)


def test_the_intact_femur_obeys_beam_theory(whole: Solved):
    # Axially the rigid fit of a section counts how its soft core is dented near the end: -7.7 %.
    rows = rows_of(whole)
    assert flagged(rows, "as a beam") == {("pull", "axial_stiffness")}
    assert not flagged(rows, "modulus of")
    assert not flagged(rows, "outside")  # within published bands


def test_a_bone_of_another_shape_is_flagged(whole: Solved):
    # Shaft 27.9 mm in place of the mesh's 26.5 mm: a tube's second moment grows by over a fifth.
    thick = whole.case.femur.model_copy(update={"shaft_diameter_mm": 27.9})
    geometry = geometry_of(replace(whole.case, femur=thick))
    thicker = replace(whole, geometry=replace(geometry, cuts=whole.geometry.cuts))  # in the mesh
    assert flagged(rows_of(thicker), "as a beam") == BENDING | TWISTING | PULLING


def test_a_bone_in_a_wrong_unit_is_flagged_on_its_stiffness_rows(
    whole: Solved, monkeypatch: pytest.MonkeyPatch
):
    # A modulus a thousand times off: displacements a thousand times smaller, all forces the same.
    rows_of_sound = rows_of(whole)
    for name in (whole.case.femur.cortical, whole.case.femur.cancellous):
        monkeypatch.setitem(MATERIALS, name, MATERIALS[name].scaled(1000.0))
    solution = replace(whole.solution, displacement=whole.solution.displacement / 1000.0)
    basis = replace(whole.found.basis, solution=solution)
    found = replace(whole.found, basis=basis, elasticity=part_elasticity(whole.mesh, whole.stage))
    rows = rows_of(replace(whole, found=found))
    hip = {(load, "load_point_stiffness") for load in ("hip", "pull")}
    assert flagged(rows, "modulus of cortical") == BENDING | TWISTING | PULLING | hip
    assert flagged(rows, "outside 289 to 838") == BENDING
    assert flagged(rows, "outside 5.5 to 12.9") == TWISTING
    assert flagged(rows, "as a beam") == flagged(rows_of_sound, "as a beam")  # beam and model share it


def test_a_construct_stiffer_than_its_sections_is_flagged(whole: Solved):
    # The whole bone's solution, passed off as that of bone a tenth softer with tissue in its ends.
    def with_tissue(parts):
        return tuple(replace(p, material="tissue") if p.role == "cancellous" else p for p in parts)

    elasticity = part_elasticity(whole.mesh, whole.stage)
    geometry = replace(whole.geometry, parts=with_tissue(whole.geometry.parts))
    sound = Readings.of(whole.mesh, whole.geometry, elasticity, whole.found.basis)
    for share, expected in ((1.0, set()), (0.9, set(BOTH))):
        gates = Gates.of(geometry, share * elasticity)
        assert not gates.is_bone
        load, shares = whole.wrenches["frontal"], whole.found.basis.shares["frontal"]
        _, doubts = replace(sound, gates=gates).under(load, shares, ())
        assert {q for d in doubts if "impossible" in d.sentence for q in d.quantities} == expected


@pytest.mark.parametrize(("radius", "percent"), [(None, ""), (943.0, "84 %"), (2000.0, "54 %")])
def test_axial_stiffness_of_a_bowed_shaft_is_told_to_be_bending(radius: float | None, percent: str):
    # The beam's own numbers: a force along the chord of an arc bends it by its arm (see test_beam).
    case = case_of(INTACT, "coarse", loads=PURE)
    geometry = geometry_of(replace(case, femur=Femur(bow_radius_mm=radius)))
    gates = Gates.of(geometry, part_elasticity(geometry, NO_STAGE))
    names = ("axial_stiffness", "axial_stiffness_by_energy", "bending_stiffness")
    found = [Measure(name, "sections", 3000.0) for name in names]
    doubts = list(gates.under(found, -1000.0 * np.eye(6)[2], 400.0, is_linear=True))
    bowed = [doubt for doubt in doubts if "is bowed" in doubt.sentence]
    assert [percent in doubt.sentence for doubt in bowed] == [True] * bool(percent)
    assert [[doubt.concerns(one) for one in found] for doubt in bowed] == [[True, True, False]] * len(
        bowed
    )
    bending = gates.under(found, 5000.0 * np.eye(6)[3], 400.0, is_linear=True)
    assert not any("is bowed" in doubt.sentence for doubt in bending)


@pytest.fixture(scope="module")
def tied() -> Solved:
    nail = {"diameter_mm": 12.0, "canal": "bonded"}
    return solved(case_of({"kind": "nail", "name": "tied", "nail": nail}, "coarse", loads=PURE))


@pytest.mark.slow
def test_a_tied_canal_is_flagged_in_torsion_alone(tied: Solved):
    rows = rows_of(tied)
    assert flagged(rows, "(cortical_transverse) carries torque") == TWISTING
    assert not flagged(rows, "impossible")
    assert not flagged(rows, "outside")


@pytest.mark.slow
def test_a_void_canal_is_not():
    nail = {"diameter_mm": 12.0}
    rows = rows_of(solved(case_of({"kind": "nail", "name": "n", "nail": nail}, "coarse", loads=PURE)))
    assert not flagged(rows, "as a beam")
    assert not flagged(rows, "bolts hold")
