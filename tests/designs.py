"""Studies with a design, and folders of results of them that nobody computed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pipeline.storage.files import read_table, write_table
from pipeline.study.config import StudyConfig, parse_study
from pipeline.sweeps.sensitivity import SENSITIVITY_COLUMNS, sensitivity_rows
from pipeline.sweeps.variants import points_of
from tests.made import results_of, row_of, write_results

KEYS = ("femur.length_mm", "femur.shaft_diameter_mm", "femur.distal_diameter_mm")
RANGES = ((400.0, 440.0), (25.0, 29.0), (33.0, 41.0))
Model = Callable[[Mapping[str, float]], float]


def factors(count: int = 3) -> list[dict[str, Any]]:
    """Factors by limits."""
    pairs = zip(KEYS[:count], RANGES[:count], strict=True)
    return [{"key": key, "low": low, "high": high} for key, (low, high) in pairs]


def study_of(demo: dict[str, Any], **design: Any) -> StudyConfig:
    """The demo with a design."""
    return parse_study(demo | {"design": {"factors": factors()} | design}, "demo")


def share(values: Mapping[str, float], number: int) -> float:
    """Where a factor stands in its range, 0 to 1."""
    low, high = RANGES[number]
    return (values[KEYS[number]] - low) / (high - low)


def fabricate(
    study: StudyConfig, out: Path, model: Model, lost: Mapping[str, str] | None = None
) -> list[dict[str, str]]:
    """Write and read the tables of a run whose results a formula gives; return sensitivity.csv."""
    table, results = [], []
    for point in points_of(study):
        status = (lost or {}).get(point.name, "ok")
        table.append({"variant": point.name, "status": status, "reason": "", **point.values})
        if status == "ok":
            what = ("axial_stiffness", "sections", "N/mm")
            more = {"variant": point.name, "stage": "woven"}
            results.append(row_of("nail-10", what, model(point.values), **more))
    columns = ("variant", "status", "reason", *(factor.key for factor in study.design.factors))
    write_results(out, results)
    write_table(out / "design.csv", table, columns)
    refused = {row["variant"] for row in table if row["status"] == "refused"}
    rows = sensitivity_rows(study, refused, results_of(out))
    write_table(out / "sensitivity.csv", rows, SENSITIVITY_COLUMNS)
    return read_table(out / "sensitivity.csv")
