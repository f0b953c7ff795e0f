"""Orderings that every trauma surgeon expects. All common practice, no source."""

from __future__ import annotations

from functools import cache
from math import hypot
from typing import Any

import pytest

from tests.models import case_of, solved

pytestmark = pytest.mark.slow

HEAVY = {"kind": "walking", "name": "heavy", "body_weight_kg": 120.0, "fraction": 0.5}
SITES = {"mid-shaft": 50.0, "metadiaphysis": 75.0}
BESIDE_BOLTS = {"azimuth_deg": 60.0, "shift_mm": 18.0, "screws": {"holes": [3, 4, 5]}}


@cache
def movement(kind: str, site: str, diameter_mm: float | None = None, canal: str = "void") -> float:
    """Movement of the far cortex across the gap under a heavy patient's half weight, mm."""
    construct: dict[str, Any] = {
        "kind": kind, "name": "any", "defect": {"site_percent": SITES[site], "gap_mm": 3.0},
    }  # fmt: skip
    if diameter_mm is not None:
        construct["nail"] = {"diameter_mm": diameter_mm, "canal": canal}
    if kind == "nail_plate" and site == "metadiaphysis":
        construct["plate"] = BESIDE_BOLTS
    found = solved(case_of(construct, "coarse", ("atrophic",), [HEAVY])).measures
    return hypot(*(found["heavy", f"gap_{way}_movement", "far"] for way in ("axial", "shear")))


def test_a_thicker_nail_moves_less_under_the_same_heavy_patient():
    assert movement("nail", "mid-shaft", 12.0) < movement("nail", "mid-shaft", 10.0)


@pytest.mark.parametrize("site", SITES)
def test_a_plate_over_the_nail_helps_at_either_site(site: str):
    assert movement("nail_plate", site, 10.0) < movement("nail", site, 10.0)


def test_an_exchange_that_fits_helps_more_at_mid_shaft_than_in_the_wide_bone():
    # What an exchange brings is fit as well as thickness: the old nail is loose, the new one is tied
    # where the reamed canal is as narrow as its bore. Near the knee it is not.
    kept = {
        site: movement("nail", site, 12.0, "bonded") / movement("nail", site, 10.0) for site in SITES
    }
    assert kept["mid-shaft"] < kept["metadiaphysis"] < 1


def test_two_plates_move_less_than_one():
    assert movement("two_plates", "mid-shaft") < movement("plate", "mid-shaft")
