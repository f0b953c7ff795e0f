"""What is written down of a finished case: its rows, its fields, its summary."""

from __future__ import annotations

import importlib.metadata
import platform
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pipeline.case import Case, CaseResult
from pipeline.clock import Clock
from pipeline.measures.dictionary import QUANTITIES
from pipeline.store import FIELDS, ROWS, SUMMARY, case_folder, write_fields, write_json, write_table

CHECKS = ("force_residual", "moment_residual", "energy_residual", "volume_error")
CASE_COLUMNS = (
    "stage",
    "load",
    "quantity",
    "location",
    "value",
    "unit",
    *CHECKS,
    "status",
    "reason",
    "flags",
)
PACKAGES = ("gapstrain", "gmsh", "numba", "numpy", "scikit-fem", "scipy")


def store_case(case: Case, result: CaseResult, clock: Clock, out: Path) -> None:
    """Write a case into its folder below `out`, the whole or nothing.

    A stage that could not be solved has one row for each load, without quantity and value.

    Raises
    ------
    OutputError
        If the disk is full or a file can not be written.
    """
    with case_folder(out, case.name) as folder:
        with clock("write"):
            write_table(folder / ROWS, [*_rows(result), *_failed_rows(case, result)], CASE_COLUMNS)
            write_fields(folder / FIELDS, result.mesh, result.point_fields, result.cell_fields)
        write_json(folder / SUMMARY, _summary(case, result, clock))


def _rows(result: CaseResult) -> Iterator[dict[str, object]]:
    for row in result.rows:
        balance, fault = row.balance, row.balance.fault()
        checks = (balance.force, balance.moment, balance.energy, balance.volume)
        yield {
            **asdict(row.measure),
            **dict(zip(CHECKS, checks, strict=True)),
            "stage": row.stage,
            "load": row.load,
            "unit": QUANTITIES[row.measure.quantity].unit,
            "status": "failed" if fault else "ok",
            "reason": fault,
            "flags": "; ".join(row.flags),
        }


def _failed_rows(case: Case, result: CaseResult) -> Iterator[dict[str, object]]:
    for stage, reason in result.failures.items():
        for load in case.loads:
            yield {"stage": stage, "load": load.name, "status": "failed", "reason": reason}


def versions() -> str:
    """What computes here, in a sentence."""
    listed = ", ".join(f"{name} {version}" for name, version in _versions().items())
    return f"{listed}; {platform.platform()}."


def _versions() -> dict[str, str]:
    return {name: importlib.metadata.version(name) for name in PACKAGES}


def _summary(case: Case, result: CaseResult, clock: Clock) -> dict[str, Any]:
    gap = result.gap and {
        "height_mm": result.gap.height,
        "length_mm": result.gap.length,
        "radius_mm": result.gap.radius,
        "near_azimuth_deg": result.gap.near_azimuth_deg,
    }
    return {
        "name": case.name,
        "case": case.digest,
        "kind": case.construct.kind,
        "site": case.own_defect.site,
        "gap_mm": case.own_defect.gap_mm,
        "gap": gap,
        "parts": [
            {"name": part.name, "role": part.role, "material": part.material}
            for part in result.mesh.parts
        ],
        "failed_stages": result.failures,
        "facts": result.facts,
        "seconds": clock.seconds,
        "peak_memory_mb": clock.peak_mb,
        "versions": _versions(),
        "platform": platform.platform(),
    }
