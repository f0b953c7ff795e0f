"""The tables of the page, each cell with its address in the tables on disk."""

from __future__ import annotations

from typing import Any

from geometries.errors import StudyError
from pipeline.measures.dictionary import HEADLINE
from pipeline.output.credibility import BALANCES, materials_of
from pipeline.output.report.cells import Cell, Entry
from pipeline.output.report.run import MOST_ROWS, ReportedRun
from pipeline.output.tables import COLUMNS, number_in
from pipeline.tables.rows import INTACT_STAGE

MOST_BOUNDS = 300  # of the table of bracketed interfaces
MAIN = {(column.quantity, column.location) for column in COLUMNS}
MAIN |= {(quantity, "near") for quantity, location in MAIN if location == "far"}
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
    if run.row_count <= MOST_ROWS:
        return every, f"All {run.row_count} rows of results.csv."
    headline = [entry for entry in every if entry["quantity"] in HEADLINE or entry["status"] != "ok"]
    stage, _ = run.study.shown
    fewer = [entry for entry in headline if entry["status"] != "ok" or _is_main(entry)]
    least = [entry for entry in fewer if entry["stage"] in (stage, INTACT_STAGE, "")]
    listed = next((some for some in (headline, fewer, least) if len(some) <= MOST_ROWS), least)
    which = {id(headline): "the headline quantities", id(fewer): "the headline results"}.get(
        id(listed), f"the headline results at stage {stage}"
    )
    cut = listed[:MOST_ROWS]
    part = f"the first {len(cut)} rows of " if len(cut) < len(listed) else ""
    words = f"{len(cut)} of {run.row_count} rows: {part}{which}. results.csv beside this page has all."
    return cut, words


def _is_main(entry: Entry) -> bool:
    """Whether the main table shows this result or one close to it: near besides far, of any implant."""
    quantity = entry["quantity"]
    return quantity.startswith("von_mises") or (quantity, entry["location"]) in MAIN


def bounds(run: ReportedRun) -> tuple[list[Entry], str]:
    """Rows of the table of bracketed interfaces, and which they are of all."""
    stage, load = run.study.shown
    main = [
        entry
        for entry in run.brackets
        if _is_main(entry)
        and entry["stage"] == stage
        and (entry["load"] == load or entry["quantity"].endswith("_stiffness"))
    ]
    cut = (main or run.brackets)[:MOST_BOUNDS]
    if len(cut) == len(run.brackets):
        return cut, ""
    return cut, f"{len(cut)} of {len(run.brackets)} rows; brackets.csv beside this page has all."


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
