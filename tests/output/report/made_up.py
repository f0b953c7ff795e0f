"""Numbers, names and fields of a run for the page, all made up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv

from pipeline.run.collect import write_beside
from pipeline.run.planning import Plan
from pipeline.study.config import StudyConfig, parse_study
from pipeline.sweeps.variants import variants_of
from tests.made import Row, results_of, row_of, write_run

HOSTILE = '<img src=x onerror="alert(1)">$\\frac{1}{0}$</script>'
NAMES = ("nail-10", "exchange-nail-12", "plate")
SHEAR = {"nail-10": (1.1234, 4.0), "exchange-nail-12": (1.0877, 3.0), "plate": (0.104987, 5.0)}
OTHERS = {
    ("gap_axial_movement", "near", "mm"): (1.5234, 0.7312, -0.5017),
    ("gap_axial_movement", "far", "mm"): (-1.7149, -0.85345, -3.8012),
    ("gap_shear_movement", "near", "mm"): (1.1, 0.9, 0.1),
    ("interfragmentary_strain", "far", "%"): (-57.13, -28.41, -127.2),
    ("tissue_strain_octahedral", "p50", "%"): (38.51, 26.1, 69.83),
    ("load_point_stiffness", "load_point", "N/mm"): (10397.6, 13178.2, 449.35),
    ("von_mises_5mm3", "nail", "MPa"): (297.62, 207.9, None),
    ("von_mises_5mm3", "plate", "MPa"): (None, None, 761.44),
    ("von_mises_5mm3", "bolt_1", "MPa"): (225.1, 188.34, None),
    ("strain_band", "classical/under_2", "%"): (10.0, 25.5, 0.0),
    ("strain_band", "classical/2_to_10", "%"): (90.0, 74.5, 100.0),
}
SOURCE = {"source": "invented for this test alone", "differs": f"there was no such test {HOSTILE}"}
STIFFNESS = {
    "quantity": "load_point_stiffness",
    "location": "load_point",
    "stage": "atrophic",
    "load": "hip",
}
MEASURED = [
    {"name": "alone", "of": "nail-10", "measured": 9123.4, "spread": 2000.0, "unit": "N/mm"},
    {"name": "pair", "of": "exchange-nail-12", "against": "nail-10", "form": "ratio",
     "direction": "more", "unit": "1"},
    {"name": "lost", "of": "nail-10", "location": "shaft", "measured": 3.7, "unit": "N/mm"},
]  # fmt: skip
OWN = {"kind": "nail", "name": "own", "nail": {"diameter_mm": 10.0, "canal": "bracket"}}
ENDS = {"own-void": (1.8171, 4.0), "own-filler": (1.3, 3.0), "own-bonded": (0.2719, 5.0)}


def study_of(demo: Mapping[str, Any], **changed: Any) -> StudyConfig:
    return parse_study({**demo, **changed}, "demo")


def rows_of(names: tuple[str, ...] = NAMES, errors: bool = True) -> list[Row]:
    rows: list[Row] = []
    for number, name in enumerate(NAMES):
        value, error = SHEAR[name]
        shear = ("gap_shear_movement", "far", "mm")
        rows.append(row_of(name, shear, value, **({"error": error} if errors else {})))
        rows += [
            row_of(name, what, values[number])
            for what, values in OTHERS.items()
            if values[number] is not None
        ]
    return [one for one in rows if one["construct"] in names]


def write_fields(
    folder: Path, shows: Sequence[tuple[str, str]] = (("atrophic", "hip"),), layers: int = 9
) -> pv.UnstructuredGrid:
    """Three slabs, one for each part, with fields that rise along x; the next show's are tenfold."""
    grid = pv.ImageData(
        dimensions=(7, 5, layers + 1), spacing=(4.0, 4.0, 3.0), origin=(-11.0, -9.0, 1.0)
    )
    cells = grid.to_tetrahedra(pass_data=False)
    x, _, z = cells.cell_centers().points.T
    cells.clear_data()
    cells.cell_data["part"] = np.digitize(z, (10.0, 19.0)).astype(np.int32)
    for number, (stage, load) in enumerate(shows):
        stress = np.where(z > 19, 100 + x, np.nan)
        strain = np.where((z > 10) & (z < 19) & (stage != "empty"), 20 + x, np.nan)
        cells.cell_data[f"von_mises_MPa:{stage}:{load}"] = 10**number * stress
        cells.cell_data[f"octahedral_strain_percent:{stage}:{load}"] = 10**number * strain
    cells.save(folder / "fields.vtu")
    return cells


def write_set_beside(demo: Mapping[str, Any], out: Path, rows: list[Row]) -> tuple[StudyConfig, Path]:
    """Write a run that names measurements and brackets an interface."""
    study = study_of(
        demo,
        published=[STIFFNESS | SOURCE | one for one in MEASURED],
        constructs=[*demo["constructs"], OWN],
    )
    planned = Plan(study, variants_of(study), ())  # assembling is slow
    write_run(out, study, rows)
    write_beside(planned, results_of(out), out)
    return study, out


def bounded_rows() -> list[Row]:
    """The primary outcome at each bound."""
    shear = ("gap_shear_movement", "far", "mm")
    return [row_of(name, shear, value, error=error) for name, (value, error) in ENDS.items()]
