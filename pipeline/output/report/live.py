"""The part of the page that answers by itself: reduced models, and what stands beside their values."""

from __future__ import annotations

import json
from typing import Any

from geometries.materials import TISSUES
from pipeline.measures.exploring import LIVE, SHARE, TISSUE
from pipeline.output.graphs import COLOURS
from pipeline.output.report.charts import words_of
from pipeline.output.report.run import ReportedRun

CHOICES = (
    "gap_movement/far", "gap_movement/near", "gap_movement/centre", "gap_axial_movement/far",
    "gap_shear_movement/far", "interfragmentary_strain/far", "interfragmentary_strain/centre",
    "rim_strain/closing", f"{SHARE}/{TISSUE}",
)  # fmt: skip


def live_of(run: ReportedRun) -> dict[str, Any] | None:
    """What the page asks its models for, with the words and the solved values beside it; None without.

    Returns
    -------
    dict or None
        What ``live.json`` has, and: `labels` of the quantities, the one `shown` first, `colours`,
        `ladder` with name and modulus, MPa, of tissues that bear, and of each construct what was
        `solved` at the study's own inputs.
    """
    path = run.out / LIVE
    if not path.is_file():
        return None
    told: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    asked = run.study.asked
    known = set(told["constructs"][0]["mesh_error"])
    keys = list(dict.fromkeys([f"{asked.quantity}/{asked.location}", *CHOICES]))
    keys = [key for key in keys if key in known]
    for one in told["constructs"]:
        found = {
            key: run.found(quantity, location, told["stage"], told["load"], one["name"])
            for key in keys
            for quantity, _, location in [key.partition("/")]
        }
        one["solved"] = {
            key: entry.result.number for key, entry in found.items()
            if entry is not None and entry.result.number is not None
        }  # fmt: skip
    low, high = told["limits"]["tissue_modulus_mpa"]
    return told | {
        "labels": {key: _label(key) for key in keys},
        "shown": keys[0],
        "colours": list(COLOURS),
        "ladder": [
            (name.replace("_", " "), tissue.modulus)
            for name, tissue in sorted(TISSUES.items(), key=lambda one: one[1].modulus)
            if low <= tissue.modulus <= high
        ],
    }


def _label(key: str) -> str:
    quantity, _, location = key.partition("/")
    if quantity == SHARE:
        return "share of the force along the shaft that the tissue carries through the gap"
    return f"{words_of(quantity)}, {location}"
