"""Defaults that a study file leaves out: written out once more, so that none changes unnoticed."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter

from geometries.bone import Defect, Femur
from geometries.parameters import Bolts, ExchangeNail, Nail, Parameters, Stem
from geometries.plating import Plate, Screws, SecondPlate
from pipeline.loading.loads import Load

WRITTEN: dict[type[Parameters], dict[str, Any]] = {
    Femur: {
        "length_mm": 430.0, "shaft_diameter_mm": 27.0, "canal_diameter_mm": 10.5,
        "distal_diameter_mm": 31.5, "distal_cortex_mm": 5.3, "proximal_diameter_mm": 42.0,
        "head_offset_mm": 42.0, "head_below_top_mm": 23.0, "cortex": "transverse", "preset": "average",
        "bow_radius_mm": None,
    },
    Defect: {"rough_wavelength_mm": 8.0, "cuff_mm": 0.0, "fill": "cortex", "bridge_percent": 0.0,
             "bone_ends": "contact"},
    Bolts: {"diameter_mm": 5.0, "fit": "play", "play_mm": 0.2, "along": "slides", "proximal": 2,
            "distal": 2, "first_mm": 15.0, "spacing_mm": 20.0},
    Nail: {"diameter_mm": 10.0, "cannulation_mm": 5.0, "length_mm": 360.0, "distal_end_mm": 35.0,
           "reaming_mm": 1.0, "canal": "contact", "material": "titanium"},
    ExchangeNail: {"diameter_mm": 12.0, "reaming_mm": 1.0},
    Stem: {"tip_diameter_mm": 11.0, "top_diameter_mm": 14.0, "length_mm": 140.0,
           "fixation": "cemented", "mantle_mm": 2.0, "material": "cobalt"},
    Screws: {"diameter_mm": 5.0, "holes": (2, 4, 5), "cortices": "auto"},
    Plate: {"hole_count": 10, "pitch_mm": 18.0, "width_mm": 16.0, "thickness_mm": 5.0,
            "offset_mm": 2.0, "on_bone": "offset", "azimuth_deg": 0.0, "material": "titanium"},
    SecondPlate: {"hole_count": 8, "width_mm": 11.0, "thickness_mm": 4.0, "azimuth_deg": 90.0},
}  # fmt: skip
LOADS = {
    "hip_force": ({"force_n": 1.0}, {"adduction_deg": 6.0, "flexion_deg": 0.0}),
    "stance": ({}, {"times_body_weight": 2.3, "adduction_deg": 13.0, "body_weight_kg": 75.0,
                    "fraction": 1.0}),
    "walking": ({}, {"body_weight_kg": 75.0, "support": "hip_knee", "muscles": ("abductor",)}),
    "stairs": ({}, {"body_weight_kg": 75.0, "support": "hip_knee", "muscles": ("abductor",)}),
}  # fmt: skip


@pytest.mark.parametrize("model", WRITTEN)
def test_a_model_without_keys_is_the_one_written_out(model: type[Parameters]):
    found = model().model_dump()
    assert {key: found[key] for key in WRITTEN[model]} == WRITTEN[model]


@pytest.mark.parametrize("kind", LOADS)
def test_a_load_without_keys_is_the_one_written_out(kind: str):
    given, expected = LOADS[kind]
    found = TypeAdapter(Load).validate_python({"kind": kind, "name": "any", **given}).model_dump()
    assert {key: found[key] for key in expected} == expected
