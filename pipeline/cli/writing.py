"""The commands that write for a person or an editor: study files, their schema, papers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from geometries.errors import StudyError
from pipeline.caution import CAUTION
from pipeline.cli.options import Changes, StudyFile, app
from pipeline.cli.terminal import console
from pipeline.output.exports import KINDS, Print
from pipeline.output.exports import export as exported
from pipeline.storage.files import write_text
from pipeline.storage.provenance import versions
from pipeline.storage.run_folder import INPUTS, RESULTS, read_inputs, read_rows
from pipeline.study.config import load_study, parse_study
from pipeline.study.schema import study_schema
from pipeline.study.starting import questions, start
from pipeline.writing.changes import changed
from pipeline.writing.methods import methods as methods_of

KEYS = ("variant", "stage", "load", "quantity", "location", "unit")
EXPORTED = {  # tables that an export reads, and what they must have
    RESULTS: (*KEYS, "construct", "value", "error", "mesh", "status", "reason"),
    "comparisons.csv": (*KEYS, "a", "b", "verdict"),
}
OutFile = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="File to write; shown by default.")
]


def _deliver(text: str, out: Path | None) -> None:
    """Show a text as it is, or write it to a file."""
    if out is None:
        typer.echo(text)
        return
    write_text(out, f"{text}\n")
    typer.echo(f"{out}")


@app.command()
def new(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="Name of the study; NAME.toml is written.")
    ] = None,
    question: Annotated[
        str | None,
        typer.Option("--question", metavar="KEY", help="What is asked; without it all are listed."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Another file to write.")
    ] = None,
) -> None:
    """Write a commented study file for a question, to change in six places."""
    if question is None:
        _list_questions()
        return
    if name is None:
        raise StudyError("new: the study has no name; allowed letters, digits, - and _: give it one")
    path = start(question, name, out)
    typer.echo(f"{path}: change it in its six numbered places, then: gapstrain check {path}")


@app.command()
def schema(out: OutFile = None) -> None:
    """Show the study file's JSON Schema, by which an editor offers keys and marks mistakes."""
    _deliver(json.dumps(study_schema(), indent=2, ensure_ascii=False), out)


@app.command()
def methods(study: StudyFile, changes: Changes = None, out: OutFile = None) -> None:
    """Describe a study as the methods of a paper do, with sources. Solves nothing."""
    config = load_study(study, tuple(changes or ()))
    _deliver(methods_of(config, versions()), out)


@app.command()
def changes(
    a: Annotated[Path, typer.Argument(metavar="A.toml", help="The earlier study file.")],
    b: Annotated[Path, typer.Argument(metavar="B.toml", help="The later one.")],
    out: OutFile = None,
) -> None:
    """Say in words what changed from one study file to another, key by key."""
    _deliver(changed(load_study(a), load_study(b)), out)


@app.command()
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Results of a finished run.")],
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
    study = parse_study(read_inputs(folder).study, str(folder / INPUTS))
    for table, columns in EXPORTED.items():
        read_rows(folder / table, columns)
    for path in exported(folder, out or folder / "export", study, look):
        typer.echo(f"{path}")
    typer.echo(CAUTION)


def _list_questions() -> None:
    table = Table(title="Questions", title_justify="left", header_style="bold")
    table.add_column("--question")
    table.add_column("what is asked")
    for key, words in questions().items():
        table.add_row(key, words)
    console.print(table)
    typer.echo("As in: gapstrain new my-study --question gap-length")
