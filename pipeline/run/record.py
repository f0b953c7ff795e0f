"""What is written down of a finished case: its rows, its fields, its summary."""

from __future__ import annotations

import platform
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pipeline.fem.space import Array
from pipeline.measures.columns import ROUND_OFF
from pipeline.measures.curves import CURVE_COLUMNS
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.quality import Balance
from pipeline.reduced.packed import pack
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import NO_STAGE
from pipeline.run.solving import CaseResult, Measured
from pipeline.storage.casebook import CURVES, FIELDS, LOG, ROWS, SUMMARY, TWIN, case_folder
from pipeline.storage.fields import write_fields
from pipeline.storage.files import write_json, write_table
from pipeline.storage.provenance import versions
from pipeline.tables.borrowed import percent
from pipeline.tables.rows import CHECKS, FAILED, OK, Key, Row

REDUCED_STAGES = "reduced_stages"  # fact of a case: how many of its stages a twin answered for
CASE_COLUMNS = (*Key._fields, "value", "unit", "error", "mesh", *CHECKS, "status", "reason", "flags")


def store_case(
    case: Case, result: CaseResult, clock: Clock, out: Path, keep: str = "all", log: Path | None = None
) -> None:
    """Write a case into its folder below `out`, the whole or nothing.

    Fields are kept all, none, or those of ``STAGE:LOAD``; the log is copied.

    A stage under a load that could not be solved has one row, without quantity and value.

    Raises
    ------
    OutputError
        If the disk is full or a file can not be written.
    """
    with case_folder(out, case.address) as folder:
        with clock("write"):
            rows = (*_rows(result), *_failed_rows(result))
            write_table(folder / ROWS, [row.cells() for row in rows], CASE_COLUMNS)
            if result.curves:
                curves = (point.cells(stage) for stage, point in result.curves)
                write_table(folder / CURVES, curves, CURVE_COLUMNS)
            if keep != "none" and result.point_fields:
                fields = (_kept(one, keep) for one in (result.point_fields, result.cell_fields))
                write_fields(folder / FIELDS, result.mesh, *fields)
            if result.twin is not None:
                pack(folder / TWIN, case.address, result.twin)
        write_json(folder / SUMMARY, {**_summary(case, result, clock), "fields": keep})
        if log is not None:
            shutil.copyfile(log, folder / LOG)


def _kept(fields: Mapping[str, Array], keep: str) -> dict[str, Array]:
    """Fields to store; an intact femur's stage has a name of its own."""
    _, _, load = keep.partition(":")
    ends = (f":{keep}", f":{NO_STAGE.name}:{load}")
    return {name: values for name, values in fields.items() if keep == "all" or name.endswith(ends)}


def keeps(record: Mapping[str, Any], keep: str) -> bool:
    """Whether a stored case has the fields that are wanted; one that a twin answered for has none."""
    is_reduced = REDUCED_STAGES in record.get("facts", {})
    return is_reduced or keep == "none" or record.get("fields") in ("all", keep)


def _rows(result: CaseResult) -> Iterator[Row]:
    for one in result.rows:
        fault = one.balance.fault() if one.balance else ""
        yield Row(
            stage=one.stage,
            load=one.load,
            quantity=one.measure.quantity,
            location=one.measure.location,
            value=one.measure.value,
            unit=QUANTITIES[one.measure.quantity].unit,
            **_said(one),
            status=FAILED if fault else OK,
            reason=fault,
            flags="; ".join(one.flags),
            **_checks(one.balance),
        )


def _checks(balance: Balance | None) -> dict[str, Any]:
    """Columns of what is out of balance; none of a reduced model, which is judged otherwise."""
    if balance is None:
        return {}
    found = (balance.force, balance.moment, balance.energy, balance.volume)
    return dict(zip(CHECKS, found, strict=True))


def _said(one: Measured) -> dict[str, Any]:
    """A measure's error in percent, and what it is known from; what is nil has none."""
    if one.error is None:
        return {}
    if not one.measure.value:
        return {"mesh": ROUND_OFF}
    return {"error": percent(one.error.half / abs(one.measure.value)), "mesh": one.error.known}


def _failed_rows(result: CaseResult) -> Iterator[Row]:
    for (stage, load), reason in result.failures.items():
        yield Row(stage=stage, load=load, status=FAILED, reason=reason)


def _summary(case: Case, result: CaseResult, clock: Clock) -> dict[str, Any]:
    gap = result.gap and {
        "height_mm": result.gap.height,
        "length_mm": result.gap.length,
        "radius_mm": result.gap.radius,
        "near_azimuth_deg": result.gap.near_azimuth_deg,
    }
    return {
        "case": case.address,
        "kind": case.construct.kind,
        "site": case.own_defect.site,
        "gap_mm": case.own_defect.gap_mm,
        "gap": gap,
        "parts": [
            {"name": part.name, "role": part.role, "material": part.material}
            for part in result.mesh.parts
        ],
        "failed_stages": result.lost_stages,
        "failed_loads": result.lost_loads,
        "mesh_hash": result.mesh.digest,
        "facts": result.facts,
        "seconds": clock.seconds,
        "peak_memory_mb": clock.peak_mb,
        "versions": versions(),
        "platform": platform.platform(),
    }
