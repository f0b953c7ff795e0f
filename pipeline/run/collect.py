"""The tables of a study whose cases have ended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from operator import attrgetter
from pathlib import Path
from typing import Any

from geometries.bone import Defect
from geometries.constructs import IntactConstruct, NailConstruct, NailPlateConstruct
from pipeline.measures.columns import COLUMNS
from pipeline.measures.curves import CURVE_COLUMNS
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.exploring import EXPLORING
from pipeline.measures.quantity import Quantity
from pipeline.run.case import Case
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan
from pipeline.storage.casebook import CURVES, ROWS, folder_of, write_index
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import Cells, read_if_any, write_table
from pipeline.sweeps.sensitivity import INDICES, SENSITIVITY_COLUMNS, sensitivity_rows
from pipeline.tables.added_plate import flag_added_plates
from pipeline.tables.brackets import BRACKET_COLUMNS, bracket_rows
from pipeline.tables.comparisons import COMPARISON_COLUMNS, comparison_rows, relate
from pipeline.tables.flagged import FOOTNOTE, MARK
from pipeline.tables.groups import grouped
from pipeline.tables.measured import PUBLISHED_COLUMNS, published_rows
from pipeline.tables.rows import FAILED, REQUIRED, Row, read_results, write_results
from pipeline.tables.shaft import SHAFT_COLUMNS, shaft_rows

CURVE_OF = ("variant", "construct", "interfaces")
"""What stands before a case's own columns in ``curves.csv``."""
SAID = {
    "caution": Quantity("", "all tables", CAUTION),
    MARK: Quantity("", "what is printed or exported of the tables", FOOTNOTE),
}
"""What is said of all results, in ``dictionary.csv`` and in the metadata of ``results.parquet``."""


def rows_of(outcomes: Iterable[Outcome], out: Path) -> list[Row]:
    """Rows of cases as they were stored, each with its construct and gap."""
    found: list[Row] = []
    for outcome in outcomes:
        common = _common(outcome.case)
        if outcome.failure:
            found.append(Row(**common, status=FAILED, reason=outcome.failure))
            continue
        stored = read_results(folder_of(out, outcome.case.address) / ROWS, REQUIRED)
        found += [replace(row, **common) for row in stored]
    return found


def _common(case: Case) -> dict[str, Any]:
    """What all rows of a case share."""
    gap = case.own_defect if case.has_site else None
    return {
        "case": case.address,
        "variant": case.variant,
        "construct": case.name,
        "interfaces": case.construct.interfaces,
        "site": gap.site if gap else "",
        "gap_mm": gap.gap_mm if gap else None,
        "gap_shape": gap.shape if gap else "",
    }


def related(rows: Iterable[Row], cases: Iterable[Case]) -> list[Row]:
    """Rows with the columns of percentages within each variant, and the flags that follow from them."""
    found: list[Row] = []
    for own, listed in _by_variant(rows, cases):
        compared = references(own)
        plated = over_the_same_nail(own, compared["percent_of_nail_only"])
        found += flag_added_plates(plated, relate(listed, compared))
    return found


def write_tables(planned: Plan, outcomes: Sequence[Outcome], rows: Sequence[Row], out: Path) -> None:
    """Write the tables of a study whose cases have ended; none of an earlier run stays.

    They are ``cases.csv``, ``results.csv`` and the same as Parquet, ``comparisons.csv``,
    ``dictionary.csv`` and, where there is anything for them, ``curves.csv``, ``design.csv``,
    ``sensitivity.csv``, ``shaft.csv``, ``brackets.csv`` and ``published.csv``.

    The rows are all results, related to each other.
    """
    write_cases(outcomes, rows, out)
    compared: list[Cells] = []
    for cases, own in _by_variant(rows, planned.cases):
        groups = {case.name: case.own_defect if case.has_site else None for case in cases}
        compared += comparison_rows(own, groups)
    write_table(out / "comparisons.csv", compared, COMPARISON_COLUMNS)
    write_beside(planned, rows, out)
    write_curves(outcomes, out)
    _write_design(planned, rows, out)
    entries = SAID | QUANTITIES | COLUMNS | (INDICES if planned.has_design else {})
    entries |= EXPLORING if planned.study.asks_more else {}
    dictionary = [{"quantity": name, **asdict(entry)} for name, entry in entries.items()]
    write_table(out / "dictionary.csv", dictionary, ("quantity", "unit", "locations", "definition"))


def write_cases(outcomes: Iterable[Outcome], rows: Iterable[Row], out: Path) -> None:
    """Write how cases ended, and their rows."""
    write_index(out, [outcome.cells() for outcome in outcomes])
    write_results(out, rows, {name: entry.definition for name, entry in SAID.items()})


def write_beside(planned: Plan, rows: Iterable[Row], out: Path) -> None:
    """Write the tables that set results beside bounds, and results and bone beside measurements."""
    found = grouped(rows, attrgetter("variant"))
    shafts: list[Cells] = []
    brackets: list[Cells] = []
    measured: list[Cells] = []
    for variant in planned.variants:
        if variant.study is not None:
            own = found.get(variant.name, [])
            point: Cells = {"variant": variant.name}
            if any(one.has_femur for one in variant.study.constructs):
                shafts += [point | cells for cells in shaft_rows(variant.study.femur)]
            brackets += [point | cells for cells in bracket_rows(variant.study.constructs, own)]
            measured += [point | cells for cells in published_rows(planned.study.published, own)]
    _write_if_any(out / "shaft.csv", shafts, ("variant", *SHAFT_COLUMNS))
    _write_if_any(out / "brackets.csv", brackets, ("variant", *BRACKET_COLUMNS))
    _write_if_any(out / "published.csv", measured, ("variant", *PUBLISHED_COLUMNS))


def write_curves(outcomes: Iterable[Outcome], out: Path) -> None:
    """Write the curves of all cases in one table."""
    found: list[Cells] = []
    for outcome in outcomes:
        common = _common(outcome.case)
        which: Cells = {name: common[name] for name in CURVE_OF}
        stored = [] if outcome.failure else read_if_any(folder_of(out, outcome.case.address) / CURVES)
        found += [which | row for row in stored]
    _write_if_any(out / CURVES, found, (*CURVE_OF, *CURVE_COLUMNS))


def _write_design(planned: Plan, rows: Iterable[Row], out: Path) -> None:
    """Write the points of a design, and what moves the study's own constructs."""
    design: list[Cells] = [
        {"variant": one.name, "status": "refused" if one.reason else "ok", "reason": one.reason}
        | dict(one.point)
        for one in planned.variants
        if one.name
    ]
    keys = dict.fromkeys(key for cells in design for key in cells)
    _write_if_any(out / "design.csv", design, tuple(keys))
    found: list[Cells] = []
    if design:
        own = {one.name for construct in planned.study.constructs for one, _ in construct.at_bounds()}
        refused = {variant.name for variant in planned.refused}
        asked = [row for row in rows if row.construct in own]
        found = sensitivity_rows(planned.study, refused, asked)
    _write_if_any(out / "sensitivity.csv", found, SENSITIVITY_COLUMNS)


def _write_if_any(path: Path, rows: list[Cells], columns: tuple[str, ...]) -> None:
    """Write a table that not every study has, or remove that of an earlier run."""
    if rows:
        write_table(path, rows, columns)
    else:
        path.unlink(missing_ok=True)


def over_the_same_nail(cases: Sequence[Case], alone: Mapping[str, str]) -> dict[str, set[str]]:
    """Constructs with a plate over the very nail they are compared with, and their empty stages."""
    constructs = {case.name: case.construct for case in cases}
    return {
        case.name: {stage.name for stage in case.stages if not stage.material().modulus}
        for case in cases
        if isinstance(case.construct, NailPlateConstruct)
        and isinstance(nail := constructs.get(alone.get(case.name, "")), NailConstruct)
        and nail.nail == case.construct.nail
    }


def _by_variant(rows: Iterable[Row], cases: Iterable[Case]) -> Iterator[tuple[list[Case], list[Row]]]:
    """Cases and rows of each variant."""
    found = grouped(rows, attrgetter("variant"))
    for variant, own in grouped(cases, attrgetter("variant")).items():
        yield own, found.get(variant, [])


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
