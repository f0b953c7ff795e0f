"""A run of two constructs of the demo that nobody computed, with a few plain numbers."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

from pipeline.study.config import StudyConfig, load_study
from tests import made
from tests.made import DEMO, Row, row_of

CHANGES = ("defect.gap_mm=4", "mesh.level=default")
VALUES: dict[tuple[str, str, str, str], tuple[float, float]] = {
    # stage, load, quantity, location: of the nail, of the plate over it
    ("atrophic", "hip", "gap_shear_movement", "far"): (0.517, 0.2037),
    ("atrophic", "hip", "gap_axial_movement", "far"): (-0.83, 0.31),
    ("atrophic", "torsion", "torsional_stiffness", "sections"): (1.93, 4.21),
    ("woven", "hip", "von_mises_5mm3", "nail"): (231.0, 88.0),
    ("woven", "hip", "von_mises_5mm3", "bolt_1"): (301.5, 41.0),
    ("woven", "hip", "fragment_residual", "distal"): (3.1e-11, 4.7e-11),
    ("woven", "torsion", "gap_shear_movement", "far"): (2.2e-9, 4e-9),
}
CONSTRUCTS = ("nail-10", "nail-10-plate")


def asked() -> StudyConfig:
    """What the run was asked for."""
    return load_study(DEMO, CHANGES)


def write_run(
    out: Path,
    changed: Mapping[tuple[str, ...], float] | None = None,
    mesh: str = "m",
    only: Collection[str] | None = None,
) -> Path:
    """Write a run's folder; construct, stage, load, quantity and location name a changed value."""
    names = [name for name in CONSTRUCTS if only is None or name in only]
    rows = [one for name in names for one in rows_of(name, changed or {})]
    return made.write_run(out, asked(), rows, changes=CHANGES, mesh=mesh, fields="no fields")


def rows_of(name: str, changed: Mapping[tuple[str, ...], float]) -> list[Row]:
    number = CONSTRUCTS.index(name)
    return [
        row_of(
            name,
            (quantity, location, "some"),
            changed.get((name, stage, load, quantity, location), values[number]),
            stage=stage,
            load=load,
        )
        for (stage, load, quantity, location), values in VALUES.items()
    ]
