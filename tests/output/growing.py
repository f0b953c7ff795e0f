"""Rows of curves that nobody computed: a nail with free play and a plate that is all but straight."""

from __future__ import annotations

from pathlib import Path

from pipeline.run.curves import RUN_CURVE_COLUMNS
from pipeline.storage.casebook import CURVES
from pipeline.storage.files import write_table
from tests.made import Row

# factor, movement, rotation, whether it is a kink
NAIL = (
    (-1.0, 2.117, 6.531, False), (-0.0043, 1.033, 3.129, True), (0.0, 0.0, 0.0, False),
    (0.0039, 1.271, 4.117, True), (0.5, 1.613, 5.237, False), (0.6211, 1.709, 5.519, True),
    (1.0, 1.943, 6.019, False),
)  # fmt: skip
PLATE = ((0.0, 0.0, 0.0, False), (0.5, 0.3107, 0.2213, False), (1.0, 0.6214, 0.4427, False))


def curve_rows(
    name: str, load: str, steps: tuple[tuple[float, float, float, bool], ...], **more: str
) -> list[Row]:
    """Rows of one curve; loads that are no moment have no factor below zero."""
    return [
        {
            "construct": name, "stage": "atrophic", "load": load, "factor": factor,
            "gap_movement_mm": moved, "gap_axial_movement_mm": -moved / 3, "gap_rotation_deg": turned,
            "stress_MPa": 100 * abs(factor), "stress_part": "nail", "bearing": "bolt_1",
            "kink": "yes" if is_kink else "",
        } | more
        for factor, moved, turned, is_kink in steps
    ]  # fmt: skip


def write_curves(out: Path, rows: list[Row]) -> None:
    """Write them as a run does."""
    write_table(out / CURVES, rows, RUN_CURVE_COLUMNS)


def some_curves(nail: str = "nail-10", plate: str = "plate") -> list[Row]:
    """The nail kinks in torsion and under the force; nothing does in frontal bending."""
    forward = tuple(step for step in NAIL if step[0] >= 0)
    return [
        *curve_rows(nail, "torsion", NAIL), *curve_rows(nail, "hip", forward),
        *curve_rows(plate, "torsion", PLATE), *curve_rows(plate, "hip", PLATE),
        *curve_rows(plate, "bending-frontal", PLATE),
        *curve_rows(nail, "walking", forward, stage="woven"),
    ]  # fmt: skip
