"""A finished run that nobody computed, for the page: numbers, names and fields are made up."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from PIL import Image

from pipeline.run.collect import write_beside
from pipeline.run.planning import Plan
from pipeline.storage.checksums import checksum_lines, digest_of
from pipeline.storage.files import write_table
from pipeline.study.config import StudyConfig, parse_study
from pipeline.sweeps.variants import variants_of
from pipeline.tables.comparisons import COMPARISON_COLUMNS, comparison_rows
from pipeline.tables.rows import COLUMNS as RESULT_COLUMNS
from pipeline.tables.rows import read_results

HOSTILE = '<img src=x onerror="alert(1)">$\\frac{1}{0}$</script>'
NAMES = ("nail-10", "exchange-nail-12", "plate")
SHEAR = {"nail-10": (1.1234, 4.0), "exchange-nail-12": (1.0877, 3.0), "plate": (0.104987, 5.0)}
OTHERS = {
    ("gap_axial_movement", "near", "mm"): (1.5234, 0.7312, -0.5017),
    ("gap_axial_movement", "far", "mm"): (-1.7149, -0.85345, -3.8012),
    ("gap_shear_movement", "near", "mm"): (1.1, 0.9, 0.1),
    ("interfragmentary_strain", "far", "%"): (-57.13, -28.41, -127.2),
    ("tissue_strain_octahedral", "p50", "%"): (38.51, 26.1, 69.83),
    ("axial_stiffness", "sections", "N/mm"): (10397.6, 13178.2, 449.35),
    ("von_mises_5mm3", "nail", "MPa"): (297.62, 207.9, None),
    ("von_mises_5mm3", "plate", "MPa"): (None, None, 761.44),
    ("von_mises_5mm3", "bolt_1", "MPa"): (225.1, 188.34, None),
    ("strain_band", "classical/under_2", "%"): (10.0, 25.5, 0.0),
    ("strain_band", "classical/2_to_10", "%"): (90.0, 74.5, 100.0),
}
PARTS = (("cortex", "cortical"), ("gap", "tissue"), ("nail", "titanium"))
COLUMNS = ("variant", "construct", "case", "status", "reason", "seconds")
SOURCE = {"source": "invented for this test alone", "differs": f"there was no such test {HOSTILE}"}
STIFFNESS = {
    "quantity": "axial_stiffness",
    "location": "sections",
    "stage": "atrophic",
    "load": "axial",
}
MEASURED = [
    {"name": "alone", "of": "nail-10", "measured": 9123.4, "spread": 2000.0, "unit": "N/mm"},
    {"name": "pair", "of": "exchange-nail-12", "against": "nail-10", "form": "ratio",
     "direction": "more", "unit": "1"},
    {"name": "lost", "of": "nail-10", "location": "shaft", "measured": 3.7, "unit": "N/mm"},
]  # fmt: skip
OWN = {"kind": "nail", "name": "own", "nail": {"diameter_mm": 10.0, "canal": "bracket"}}
ENDS = {"own-void": (1.8171, 4.0), "own-filler": (1.3, 3.0), "own-bonded": (0.2719, 5.0)}
Row = dict[str, Any]


def address_of(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()[:16]


def study_of(demo: Mapping[str, Any], **changed: Any) -> StudyConfig:
    return parse_study({**demo, **changed}, "demo")


def row_of(name: str, what: tuple[str, str, str], value: float, **more: Any) -> Row:
    quantity, location, unit = what
    return {
        "case": address_of(name), "variant": "", "construct": name, "site": "mid-shaft", "gap_mm": 3,
        "stage": "atrophic", "load": "axial", "quantity": quantity, "location": location,
        "value": value, "unit": unit, "status": "ok", "force_residual": 2.3e-12,
        "moment_residual": 1.1e-11, "energy_residual": 4.7e-13, "volume_error": 1.9e-5, **more,
    }  # fmt: skip


def rows_of(names: tuple[str, ...] = NAMES, errors: bool = True) -> list[Row]:
    rows = []
    for number, name in enumerate(NAMES):
        value, error = SHEAR[name]
        shear = ("gap_shear_movement", "far", "mm")
        rows.append(row_of(name, shear, value, **({"error": error} if errors else {})))
        rows += [
            row_of(name, what, values[number])
            for what, values in OTHERS.items()
            if values[number] is not None
        ]
    return [row for row in rows if row["construct"] in names]


def write_run(study: StudyConfig, out: Path, rows: list[Row], failed: Mapping[str, str] = {}) -> Path:
    """Write the folder of a run with these rows; failed constructs come with their reasons."""
    (out / "figures").mkdir(parents=True)
    rows = [*rows, *(
        {"case": address_of(name), "variant": "", "construct": name, "status": "failed", "reason": why}
        for name, why in failed.items()
    )]  # fmt: skip
    names = list(dict.fromkeys(row["construct"] for row in rows))
    write_table(out / "results.csv", rows, RESULT_COLUMNS)
    results = list(read_results(out / "results.csv"))
    compared = comparison_rows(results, dict.fromkeys(names, "one gap"))
    write_table(out / "comparisons.csv", compared, COMPARISON_COLUMNS)
    listed = [
        {
            "construct": name, "case": address_of(name), "reason": failed.get(name, ""),
            "status": "failed" if name in failed else "ok",
        }
        for name in names
    ]  # fmt: skip
    write_table(out / "cases.csv", listed, COLUMNS)
    content = study.model_dump(mode="json", exclude_unset=True)
    versions = {"gapstrain": "0.0.9", "numpy": "1.26.0"}
    inputs = {"study": content, "changes": [], "levels": 1, "versions": versions, "platform": "Made-1"}
    (out / "inputs.json").write_text(json.dumps(inputs))
    for name in names:
        if name not in failed:
            write_case(out / "cases" / address_of(name))
    Image.new("RGB", (2600, 900), "#1b5e8c").save(out / "figures" / "overview.png")
    return out


def write_case(folder: Path) -> None:
    folder.mkdir(parents=True)
    summary = {
        "kind": "nail", "mesh_hash": "0af3" * 16, "failed_stages": {}, "site": "mid-shaft",
        "facts": {"cells": 4321, "unknowns": 21007},
        "gap": {"height_mm": 15.0, "length_mm": 3.0, "near_azimuth_deg": 0.0, "radius_mm": 13.5},
        "parts": [{"name": role, "role": role, "material": metal} for role, metal in PARTS],
    }  # fmt: skip
    (folder / "summary.json").write_text(json.dumps(summary))
    (folder / "rows.csv").write_text("stage\n")
    sums = {name: digest_of(folder / name) for name in ("summary.json", "rows.csv")}
    (folder / "checksums.txt").write_text(checksum_lines(sums))


def write_fields(folder: Path) -> pv.UnstructuredGrid:
    """Three slabs, one for each part, with fields that rise along x."""
    grid = pv.ImageData(dimensions=(7, 5, 10), spacing=(4.0, 4.0, 3.0), origin=(-11.0, -9.0, 1.0))
    cells = grid.to_tetrahedra(pass_data=False)
    x, _, z = cells.cell_centers().points.T
    cells.clear_data()
    cells.cell_data["part"] = np.digitize(z, (10.0, 19.0)).astype(np.int32)
    cells.cell_data["von_mises_MPa:atrophic:axial"] = np.where(z > 19, 100 + x, np.nan)
    strain = np.where((z > 10) & (z < 19), 20 + x, np.nan)
    cells.cell_data["octahedral_strain_percent:atrophic:axial"] = strain
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
    write_run(study, out, rows)
    write_beside(planned, list(read_results(out / "results.csv")), out)
    return study, out


def bounded_rows() -> list[Row]:
    """The primary outcome at each bound."""
    shear = ("gap_shear_movement", "far", "mm")
    return [row_of(name, shear, value, error=error) for name, (value, error) in ENDS.items()]
