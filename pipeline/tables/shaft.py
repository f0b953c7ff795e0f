"""The femur's shaft beside published ones, level by level; it follows from the plan alone."""

from __future__ import annotations

from geometries.bone import Femur
from geometries.rigidity import rigidities
from pipeline.measures.literature import SIX_FEMORA, SIX_FEMORA_SOURCE
from pipeline.storage.files import Cells

SHAFT_COLUMNS = ("percent", "what", "model", "lowest", "highest", "unit", "source")


def shaft_rows(femur: Femur) -> list[Cells]:
    """Rigidities of the shaft, each beside the lowest and the highest of six femora.

    Rows have the cells of ``SHAFT_COLUMNS``; bending stands there twice, since the model is round and
    the six are not.
    """
    found: list[Cells] = []
    for own in rigidities(femur):
        measured = SIX_FEMORA[own.percent]
        sorts = (
            ("bending EI, sagittal", own.bending, measured.sagittal, "N·m²"),
            ("bending EI, frontal", own.bending, measured.frontal, "N·m²"),
            ("torsion GJ", own.torsion, measured.torsion, "N·m²"),
            ("axial EA", own.axial, measured.axial, "MN"),
        )
        for what, model, (low, high), unit in sorts:
            cells = (own.percent, what, model, low, high, unit, SIX_FEMORA_SOURCE)
            found.append(dict(zip(SHAFT_COLUMNS, cells, strict=True)))
    return found
