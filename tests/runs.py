"""A finished run without a solver: the demo study with numbers that are made up."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from pathlib import Path

from pipeline.storage.checksums import checksum_lines, digest_of
from pipeline.storage.files import write_table
from pipeline.study.config import load_study
from pipeline.tables.rows import COLUMNS as RESULT_COLUMNS

DEMO = Path(__file__).parents[1] / "configs" / "demo.toml"
CHANGES = ("defect.gap_mm=4", "mesh.level=default")
VALUES: dict[tuple[str, str, str, str], tuple[float, float]] = {
    # stage, load, quantity, location: of the nail, of the plate over it
    ("atrophic", "axial", "gap_shear_movement", "far"): (0.517, 0.2037),
    ("atrophic", "axial", "gap_axial_movement", "far"): (-0.83, 0.31),
    ("atrophic", "torsion", "torsional_stiffness", "sections"): (1.93, 4.21),
    ("woven", "axial", "von_mises_5mm3", "nail"): (231.0, 88.0),
    ("woven", "axial", "von_mises_5mm3", "bolt_1"): (301.5, 41.0),
    ("woven", "axial", "fragment_residual", "distal"): (3.1e-11, 4.7e-11),
    ("woven", "torsion", "gap_shear_movement", "far"): (2.2e-9, 4e-9),
}
CONSTRUCTS = ("nail-10", "nail-10-plate")


def case_of(construct: str) -> str:
    return hashlib.sha256(construct.encode()).hexdigest()[:16]


def write_run(
    out: Path,
    changed: Mapping[tuple[str, ...], float] | None = None,
    mesh: str = "m",
    only: Collection[str] | None = None,
) -> Path:
    """Write a run's folder; construct, stage, load, quantity and location name a changed value."""
    (out / "figures").mkdir(parents=True)
    (out / "figures" / "overview.png").write_bytes(b"no picture")
    (out / "study.toml").write_bytes(DEMO.read_bytes())
    (out / "inputs.json").write_text(json.dumps(inputs()))
    names = [name for name in CONSTRUCTS if only is None or name in only]
    rows = [row for name in names for row in rows_of(name, changed or {})]
    write_table(out / "results.csv", rows, RESULT_COLUMNS)
    write_table(out / "dictionary.csv", [], ("quantity", "unit", "locations", "definition"))
    listed = [{"construct": name, "case": case_of(name), "status": "ok"} for name in names]
    columns = ("variant", "construct", "case", "status", "reason", "seconds")
    write_table(out / "cases.csv", listed, columns)
    for name in names:
        write_case(out / "cases" / case_of(name), f"{mesh} {name}")
    return out


def rows_of(name: str, changed: Mapping[tuple[str, ...], float]) -> list[dict[str, object]]:
    number = CONSTRUCTS.index(name)
    return [
        {
            **dict(zip(("stage", "load", "quantity", "location"), key, strict=True)),
            "case": case_of(name),
            "construct": name,
            "value": changed.get((name, *key), values[number]),
            "unit": "some",
            "status": "ok",
        }
        for key, values in VALUES.items()
    ]


def write_case(folder: Path, mesh: str) -> None:
    folder.mkdir(parents=True)
    digest = hashlib.sha256(mesh.encode()).hexdigest()
    summary = {"mesh_hash": digest, "facts": {"cells": 4321, "unknowns": 21000}}
    texts = {"rows.csv": "stage\n", "summary.json": json.dumps(summary), "log.txt": "made up\n",
             "fields.vtu": "no fields"}  # fmt: skip
    for name, text in texts.items():
        (folder / name).write_text(text)
    sums = checksum_lines({name: digest_of(folder / name) for name in texts})
    (folder / "checksums.txt").write_text(sums)


def inputs() -> dict[str, object]:
    study = load_study(DEMO, CHANGES).model_dump(mode="json", exclude_unset=True)
    return {
        "study": study, "changes": CHANGES, "levels": 1, "error_cases": None,
        "versions": {"gapstrain": "0.0.9", "numpy": "1.26.0"}, "platform": "Invented-1.0",
    }  # fmt: skip
