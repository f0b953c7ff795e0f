"""The command that writes a finished run's tables and charts for a paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import Finished
from pipeline.output.exports import KINDS, Print
from pipeline.output.exports import export as exported
from pipeline.storage.caution import CAUTION
from pipeline.storage.proof import prove
from pipeline.storage.run_folder import INPUTS, RESULTS, each_row, read_inputs
from pipeline.study.config import parse_study
from pipeline.tables.known import look_through

KEYS = ("variant", "stage", "load", "quantity", "location", "unit")
EXPORTED = {  # tables that an export reads, and what they must have
    RESULTS: (*KEYS, "construct", "value", "error", "mesh", "status", "reason"),
    "comparisons.csv": (*KEYS, "a", "b", "verdict"),
}


def export(
    folder: Finished,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder to write; DIR/export by default."),
    ] = None,
    dpi: Annotated[int, typer.Option("--dpi", help="Dots an inch of PNG files: 300 or 600.")] = 300,
    kinds: Annotated[
        list[str] | None,
        typer.Option("--format", help="png, svg or pdf; all by default. May be given more than once."),
    ] = None,
) -> None:
    """Write tables (LaTeX, spreadsheet, CSV) and charts of a finished run for a paper."""
    look = Print(tuple(dict.fromkeys(kinds or KINDS)), dpi)
    prove(folder)
    look_through(folder)
    study = parse_study(read_inputs(folder).study, str(folder / INPUTS))
    for table, columns in EXPORTED.items():
        for _ in each_row(folder / table, columns):
            pass  # a long table is read and not kept
    for path in exported(folder, out or folder / "export", study, look):
        typer.echo(f"{path}")
    typer.echo(CAUTION)
