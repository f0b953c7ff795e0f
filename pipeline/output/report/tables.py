"""The tables of the page, each cell with its address in the tables on disk."""

from __future__ import annotations

from typing import Any

from geometries.errors import StudyError
from pipeline.output.credibility import BALANCES, materials_of
from pipeline.output.report.cells import Cell, Entry
from pipeline.output.report.kept import MOST_ROWS, is_main
from pipeline.output.report.run import ReportedRun
from pipeline.output.tables import COLUMNS, number_in
from pipeline.tables.brackets import APART

MOST_BOUNDS = 300  # of the table of bracketed interfaces
SHOWN_COLUMNS = (
    "variant", "construct", "stage", "load", "quantity", "location", "value", "unit", "error",
    "percent_of_intact", "mesh", "status", "flags",
)  # fmt: skip
NUMBERS = frozenset(("value", "error", "percent_of_intact"))


def main_table(run: ReportedRun) -> list[tuple[str, str, list[Entry | None]]]:
    """Name, gap and headline results of each construct of the shown variant."""
    stage, load = run.study.shown
    asked = [(c.quantity, c.location, stage, None if c.is_stiffness else load) for c in COLUMNS]
    return [
        (name, place, [run.found(*one, construct=name) for one in asked])
        for name, place in run.places(run.constructs).items()
    ]


def listed_results(run: ReportedRun) -> tuple[list[Entry], str]:
    """Rows of the table that sorts and filters, and which they are of all."""
    every = sorted(run.results, key=lambda entry: run.order(entry["construct"]))
    kept = run.kept
    if kept.count <= MOST_ROWS:
        return every, f"All {kept.count} rows of results.csv."
    which = (
        "the headline quantities",
        "the headline results",
        f"the headline results at stage {run.study.shown[0]}",
    )[kept.listing]
    listed = [entry for entry in every if kept.in_listing(entry, kept.listing)]
    cut = listed[:MOST_ROWS]
    part = f"the first {len(cut)} rows of " if len(cut) < len(listed) else ""
    words = f"{len(cut)} of {kept.count} rows: {part}{which}. results.csv beside this page has all."
    return cut, words


def bounds(run: ReportedRun) -> tuple[list[Entry], str]:
    """Rows of the table of bracketed interfaces, and which they are of all."""
    stage, load = run.study.shown
    main = [
        entry
        for entry in run.brackets
        if is_main(entry)
        and entry["stage"] == stage
        and (entry["load"] == load or entry["quantity"].endswith("_stiffness"))
    ]
    cut = (main or run.brackets)[:MOST_BOUNDS]
    if len(cut) == len(run.brackets):
        return cut, ""
    return cut, f"{len(cut)} of {len(run.brackets)} rows; brackets.csv beside this page has all."


def singular_bounds(row: Entry) -> list[str]:
    """Bounds whose value has no limit; tables of earlier versions do not tell."""
    return [words for words in row.row.get("singular", "").split(APART) if words]


def meshes(run: ReportedRun) -> list[tuple[str, dict[str, Any], list[Cell | None]]]:
    """Name, record and worst balances of each construct."""
    found = []
    for name in filter(run.records.get, run.constructs):
        record = run.records[name]
        if not {"cells", "unknowns"} <= set(record.get("facts", ())) or "mesh_hash" not in record:
            raise StudyError(
                f"{run.out}: the record of {name!r} says nothing of its mesh; give it as a run wrote it"
            )
        own = [entry for entry in run.first if entry["construct"] == name]
        found.append((name, run.records[name], [_worst(own, column) for column in BALANCES]))
    return found


def _worst(own: list[Entry], column: str) -> Cell | None:
    known = [(abs(size), one) for one in own if (size := number_in(one[column])) is not None]
    return max(known, key=lambda pair: pair[0])[1].cell(column) if known else None


def materials(run: ReportedRun) -> list[tuple[str, str, str, str, str, str]]:
    """Of each material: name, modulus, Poisson's ratio, yield, endurance limits, source."""
    table = []
    for name, one in materials_of(run.records.values()):
        held = one.strength
        limits = ("", "")
        if held:
            limits = (f"{held.yield_stress:g}", f"{held.endurance[0]:g} to {held.endurance[1]:g}")
        source = one.source + (f"; {held.source}" if held else "")
        table.append((name, f"{one.modulus:g}", f"{one.poisson:g}", *limits, source))
    for stage in run.study.stages:
        tissue = stage.material()
        numbers = (f"{tissue.modulus:g}", f"{tissue.poisson:g}", "", "")
        table.append((f"tissue: {stage.name}", *numbers, tissue.source))
    return table
