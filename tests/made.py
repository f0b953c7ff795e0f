"""Finished runs that nobody computed, written by what writes those of a run.

Every made-up row is made by `row_of` and every table of them is written by `write_results`.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from PIL import Image

from pipeline.measures.curves import CURVE_COLUMNS
from pipeline.run.execute import Asked, write_inputs
from pipeline.run.planning import Plan
from pipeline.run.record import CASE_COLUMNS
from pipeline.storage.casebook import (
    CURVES,
    FIELDS,
    LOG,
    ROWS,
    SUMMARY,
    case_folder,
    folder_of,
    write_index,
)  # fmt: skip
from pipeline.storage.checksums import CHECKSUMS, checksum_lines, digest_of
from pipeline.storage.files import write_json, write_table
from pipeline.study.config import StudyConfig
from pipeline.tables import rows as tables
from pipeline.tables.comparisons import COMPARISON_COLUMNS, comparison_rows

DEMO = Path(__file__).parents[1] / "configs" / "demo.toml"
PARTS = (("cortex", "cortical"), ("gap", "tissue"), ("nail", "titanium"))
RECORD: dict[str, Any] = {
    "kind": "nail", "site": "mid-shaft", "gap_mm": 3.0, "failed_stages": {}, "fields": "none",
    "gap": {"height_mm": 15.0, "length_mm": 3.0, "near_azimuth_deg": 0.0, "radius_mm": 13.5},
    "parts": [{"name": role, "role": role, "material": material} for role, material in PARTS],
    "facts": {"cells": 4321, "unknowns": 21007},
}  # fmt: skip
COMMIT = "0123456789abcdef0123456789abcdef01234567"
ELSEWHERE = {"versions": {"gapstrain": "0.0.9", "numpy": "1.25.9"}, "platform": "Invented-1.0"} | {
    "commit": COMMIT
}
BALANCED = {
    "force_residual": 2.3e-12, "moment_residual": 1.1e-11, "energy_residual": 4.7e-13,
    "volume_error": 1.9e-5,
}  # fmt: skip
Row = dict[str, Any]
What = tuple[str, str, str]


def address_of(name: str) -> str:
    """Address of a construct's case."""
    return digest(name)[:16]


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def row_of(name: str, what: What, value: float, **more: Any) -> Row:
    """A result of a construct: quantity, location and unit, and what differs from the usual."""
    usual = {
        "case": address_of(name), "variant": "", "construct": name, "site": "mid-shaft", "gap_mm": 3.0,
        "stage": "atrophic", "load": "hip", "value": value, "status": "ok",
    }  # fmt: skip
    return usual | dict(zip(("quantity", "location", "unit"), what, strict=True)) | BALANCED | more


def lost(name: str, why: str) -> Row:
    """What stands for a construct whose case failed."""
    return {"case": address_of(name), "construct": name, "status": "failed", "reason": why}


def write_results(out: Path, rows: Iterable[Row]) -> None:
    """Write ``results.csv`` and the same as Parquet."""
    out.mkdir(parents=True, exist_ok=True)
    tables.write_results(out, [tables.Row(**one) for one in rows])


def results_of(out: Path) -> list[tables.Row]:
    """Read ``results.csv``."""
    return list(tables.read_results(out / "results.csv"))


def write_comparisons(out: Path, gaps: Mapping[str, str]) -> None:
    """Write ``comparisons.csv`` of the results, between constructs of one gap."""
    write_table(out / "comparisons.csv", comparison_rows(results_of(out), gaps), COMPARISON_COLUMNS)


def write_case(
    out: Path,
    address: str,
    rows: Iterable[Row] = (),
    fields: str | None = None,
    curves: Sequence[Row] = (),
    **record: Any,
) -> Path:
    """Write a sealed case and return its folder; what of its record differs from the usual is given."""
    with case_folder(out, address) as folder:
        write_table(folder / ROWS, rows, CASE_COLUMNS)
        if curves:
            write_table(folder / CURVES, curves, CURVE_COLUMNS)
        write_json(folder / SUMMARY, {"case": address, "mesh_hash": digest(address)} | RECORD | record)
        (folder / LOG).write_text("made up\n", encoding="utf-8")
        if fields is not None:
            (folder / FIELDS).write_text(fields, encoding="utf-8")
    return folder_of(out, address)


def reseal(folder: Path) -> None:
    """Make a case whole again whose files are others now."""
    sums = {file.name: digest_of(file) for file in folder.iterdir() if file.name != CHECKSUMS}
    (folder / CHECKSUMS).write_text(checksum_lines(sums), encoding="utf-8")


def write_run(
    out: Path,
    study: StudyConfig,
    rows: Sequence[Row],
    *,
    failed: Mapping[str, str] | None = None,
    changes: tuple[str, ...] = (),
    mesh: str = "m",
    fields: str | None = None,
) -> Path:
    """Write the folder of a run with these rows; constructs that failed come with their reasons."""
    why = failed or {}
    write_results(out, [*rows, *(lost(name, reason) for name, reason in why.items())])
    names = list(dict.fromkeys(one["construct"] for one in rows))
    write_comparisons(out, dict.fromkeys(names, "one gap"))
    write_table(out / "dictionary.csv", [], ("quantity", "unit", "locations", "definition"))
    ended = [("failed" if name in why else "ok", name) for name in dict.fromkeys([*names, *why])]
    write_index(out, [
        {"construct": name, "case": address_of(name), "status": status, "reason": why.get(name, "")}
        for status, name in ended
    ])  # fmt: skip
    for name in (name for status, name in ended if status == "ok"):
        own = [one for one in rows if one["construct"] == name]
        write_case(out, address_of(name), own, fields, mesh_hash=digest(f"{mesh} {name}"))
    write_origin(out, study, changes)
    (out / "figures").mkdir(exist_ok=True)
    (out / "figures" / "overview.png").write_bytes(_picture())
    return out


def write_origin(out: Path, study: StudyConfig, changes: tuple[str, ...] = ()) -> None:
    """What the run was asked for, on another machine."""
    write_inputs(Plan(study, (), ()), Asked(DEMO.read_text(encoding="utf-8"), changes), out)
    written = json.loads((out / "inputs.json").read_text(encoding="utf-8"))
    write_json(out / "inputs.json", written | ELSEWHERE)


@cache
def _picture() -> bytes:
    """A blank one, larger than a page shows it."""
    file = io.BytesIO()
    Image.new("RGB", (2600, 900), "#1b5e8c").save(file, "png")
    return file.getvalue()
