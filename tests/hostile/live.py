"""A ``live.json`` that nobody computed, of the form that a run writes."""

from __future__ import annotations

from typing import Any

from pipeline.run.live import live_content
from pipeline.study.config import load_study
from tests.made import DEMO

PLACE = "gap_shear_movement/far"


def live() -> dict[str, Any]:
    """Of one construct, whose arrays are empty."""
    study = load_study(DEMO)
    one = {
        "name": "nail-10", "coordinates": 1, "units": 1, "modes": 0, "groups": [], "parts": [],
        "stiffness": ["AAAAAAAA8D8="], "forces": "AAAAAAAA8D8=", "rigid": "", "works": "", "stops": [],
        "elsewhere": "", "off": {}, "mesh_error": {PLACE: [[12.7, 1.3]]},
    }  # fmt: skip
    return live_content(study.stages[1], study.loads[0].name, study.stages, [one])
