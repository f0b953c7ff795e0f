"""The tables of a study whose cases have ended."""

from __future__ import annotations

import json
import platform
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from geometries.bone import Defect
from geometries.constructs import IntactConstruct, NailConstruct, NailPlateConstruct
from pipeline.measures.dictionary import COLUMNS, QUANTITIES
from pipeline.run.case import Case
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan
from pipeline.run.record import CHECKS
from pipeline.storage.casebook import read_rows, write_index
from pipeline.storage.files import read_if_any, write_table, write_text
from pipeline.storage.parquet import write_parquet
from pipeline.storage.provenance import versions
from pipeline.study.config import StudyConfig
from pipeline.study.interfaces import variants
from pipeline.sweeps.sensitivity import INDICES, SENSITIVITY_COLUMNS, sensitivity_rows
from pipeline.sweeps.variants import Variant
from pipeline.tables.added_plate import flag_added_plates
from pipeline.tables.brackets import BRACKET_COLUMNS, bracket_rows
from pipeline.tables.comparisons import COMPARISON_COLUMNS, comparison_rows, relate
from pipeline.tables.measured import PUBLISHED_COLUMNS, published_rows

Row = dict[str, object]
RESULT_COLUMNS = (
    "case", "variant", "construct", "interfaces", "site", "gap_mm", "gap_shape", "stage", "load",
    "quantity", "location", "value", "unit", "error", "extrapolated", "mesh", "percent_of_intact",
    "percent_of_nail_only", "undecided", "status", "reason", "flags", *CHECKS,
)  # fmt: skip
NUMBERS = {
    "gap_mm", "value", "error", "extrapolated", "percent_of_intact", "percent_of_nail_only", *CHECKS,
}  # fmt: skip


def write_tables(study: StudyConfig, planned: Plan, outcomes: Sequence[Outcome], out: Path) -> None:
    """Write the tables of a study whose cases have ended; none of an earlier run stays.

    They are ``cases.csv``, ``results.csv`` and the same as Parquet, ``comparisons.csv``,
    ``dictionary.csv`` and, where the study asks for them, ``design.csv``, ``sensitivity.csv``,
    ``brackets.csv`` and ``published.csv``.
    """
    write_index(out, [_ended(outcome) for outcome in outcomes])
    table = result_rows(outcomes, out)
    write_compared(table, [outcome.case for outcome in outcomes], out)
    write_beside(study, planned, table, out)
    design = [_point(variant) for variant in planned.variants if variant.name]
    keys = dict.fromkeys(key for row in design for key in row)
    _write_if_any(out / "design.csv", design, tuple(keys))
    found = _sensitivity(study, table, out) if design else []
    _write_if_any(out / "sensitivity.csv", found, SENSITIVITY_COLUMNS)
    entries = QUANTITIES | COLUMNS | (INDICES if design else {})
    dictionary = [{"quantity": name, **asdict(entry)} for name, entry in entries.items()]
    write_table(out / "dictionary.csv", dictionary, ("quantity", "unit", "locations", "definition"))


def _sensitivity(study: StudyConfig, table: Sequence[Row], out: Path) -> list[Row]:
    """Indices of the study's own constructs, without the femurs added as references."""
    own = {one.name for construct in study.constructs for one, _ in variants(construct)}
    asked = _as_text(row for row in table if row["construct"] in own)
    return sensitivity_rows(study, read_if_any(out / "design.csv"), asked)


def write_beside(study: StudyConfig, planned: Plan, table: Sequence[Row], out: Path) -> None:
    """Write the tables that set results beside each other's bounds, and beside measurements."""
    brackets: list[Row] = []
    measured: list[Row] = []
    for variant in planned.variants:
        if variant.study is not None:
            own = [row for row in table if row["variant"] == variant.name]
            point: Row = {"variant": variant.name}
            brackets += [point | row for row in bracket_rows(variant.study.constructs, own)]
            measured += [point | row for row in published_rows(study.published, own)]
    _write_if_any(out / "brackets.csv", brackets, ("variant", *BRACKET_COLUMNS))
    _write_if_any(out / "published.csv", measured, ("variant", *PUBLISHED_COLUMNS))


def _as_text(table: Iterable[Row]) -> list[dict[str, str]]:
    return [{key: str(value) for key, value in row.items()} for row in table]


def _ended(outcome: Outcome) -> Row:
    return {
        "variant": outcome.case.variant,
        "construct": outcome.case.name,
        "case": outcome.case.address,
        "status": "failed" if outcome.failure else "ok",
        "reason": outcome.failure,
        "seconds": outcome.seconds,
    }


def _point(variant: Variant) -> Row:
    status = "refused" if variant.reason else "ok"
    return {"variant": variant.name, "status": status, "reason": variant.reason, **variant.point}


def _write_if_any(path: Path, rows: list[Row], columns: tuple[str, ...]) -> None:
    """Write a table that not every study has, or remove that of an earlier run."""
    if rows:
        write_table(path, rows, columns)
    else:
        path.unlink(missing_ok=True)


def result_rows(outcomes: Sequence[Outcome], out: Path) -> list[Row]:
    """Rows of the study's table, with each value also as percent of intact and of the nail alone."""
    table: list[Row] = []
    for outcome in outcomes:
        case = outcome.case
        common: Row = {
            "case": case.address,
            "variant": case.variant,
            "construct": case.name,
            "interfaces": case.construct.interfaces,
            "site": case.own_defect.site if case.has_site else "",
            "gap_mm": case.own_defect.gap_mm if case.has_site else "",
            "gap_shape": case.own_defect.shape if case.has_site else "",
        }
        if outcome.failure:
            table.append({**common, "status": "failed", "reason": outcome.failure})
            continue
        stored = read_rows(out, case.address)
        table += [{**common, **row, "value": _number(row["value"])} for row in stored]
    relate_variants(table, [outcome.case for outcome in outcomes])
    return table


def relate_variants(table: Sequence[Row], listed: Sequence[Case]) -> None:
    """Fill the columns of percentages within each variant, and the flags that follow from them."""
    for cases, rows in _by_variant(table, listed):
        compared = references(cases)
        relate(rows, compared)
        flag_added_plates(_plated(cases, compared["percent_of_nail_only"]), rows)


def _plated(cases: Sequence[Case], alone: Mapping[str, str]) -> dict[str, set[str]]:
    """Constructs with a plate over the very nail they are compared with, and their empty stages."""
    constructs = {case.name: case.construct for case in cases}
    return {
        case.name: {stage.name for stage in case.stages if not stage.material().modulus}
        for case in cases
        if isinstance(case.construct, NailPlateConstruct)
        and isinstance(nail := constructs.get(alone.get(case.name, "")), NailConstruct)
        and nail.nail == case.construct.nail
    }


def write_compared(table: Sequence[Row], listed: Sequence[Case], out: Path) -> None:
    """Write the rows of some cases, and what may be said of the differences between them."""
    compared: list[Row] = []
    for cases, rows in _by_variant(table, listed):
        groups = {case.name: case.own_defect if case.has_site else None for case in cases}
        compared += comparison_rows(rows, groups)
    write_table(out / "results.csv", table, RESULT_COLUMNS)
    write_parquet(out / "results.parquet", table, RESULT_COLUMNS, NUMBERS)
    write_table(out / "comparisons.csv", compared, COMPARISON_COLUMNS)


def _by_variant(table: Sequence[Row], listed: Sequence[Case]) -> Iterator[tuple[list[Case], list[Row]]]:
    """Cases and rows of each variant."""
    cases: dict[str, list[Case]] = {}
    rows: dict[object, list[Row]] = {}
    for case in listed:
        cases.setdefault(case.variant, []).append(case)
    for row in table:
        rows.setdefault(row["variant"], []).append(row)
    for variant, own in cases.items():
        yield own, rows.get(variant, [])


def references(listed: Sequence[Case]) -> dict[str, dict[str, str]]:
    """What each construct is compared with, for each column of percentages.

    They are the first intact femur at its gap, whatever the gap's shape, and the first nail there
    that is whole.
    """
    own = {case.name: case.own_defect for case in listed if case.has_site}
    plain = {name: defect.plain for name, defect in own.items()}
    intact = [case.name for case in listed if isinstance(case.construct, IntactConstruct)]
    whole = [
        case.name
        for case in listed
        if isinstance(case.construct, NailConstruct) and case.construct.nail.break_mm is None
    ]
    return {"percent_of_intact": _first(intact, plain), "percent_of_nail_only": _first(whole, own)}


def _first(names: Sequence[str], gaps: Mapping[str, Defect]) -> dict[str, str]:
    """For each construct, the first of some that has the same gap."""
    first = {gaps[name]: name for name in reversed(names)}
    return {name: first[gap] for name, gap in gaps.items() if gap in first}


def _number(text: str) -> float | str:
    """A value; empty in the row of a stage that could not be solved."""
    return float(text) if text else ""


def write_inputs(path: Path, study: StudyConfig, asked: Mapping[str, object], out: Path) -> None:
    """Write down what a run was asked for: the study file as it is, and all of it resolved.

    Parameters
    ----------
    path : Path
        The study file.
    study : StudyConfig
        What was read from it and from changes.
    asked : mapping
        Options of the command that change a number.
    out : Path
        Folder of the run.
    """
    write_text(out / "study.toml", path.read_text(encoding="utf-8-sig"))
    content = {
        "study": study.model_dump(mode="json", exclude_unset=True),
        **asked,
        "versions": versions(),
        "platform": platform.platform(),
    }
    write_text(out / "inputs.json", json.dumps(content, indent=2) + "\n")
