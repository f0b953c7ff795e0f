"""The command that starts a study file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from geometries.errors import StudyError
from pipeline.cli.console import console, say, table_of
from pipeline.storage.caution import CAUTION
from pipeline.study.starting import questions, start


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
        say(CAUTION)
        typer.echo(
            "new: nothing is written, as no question is chosen; allowed are the keys above, as in: "
            f"gapstrain new {name or 'my-study'} --question gap-length",
            err=True,
        )
        raise typer.Exit(2)
    if name is None:
        raise StudyError("new: the study has no name; allowed letters, digits, - and _: give it one")
    path = start(question, name, out, caution=CAUTION)
    typer.echo(f"{path}: change it in its six numbered places, then: gapstrain check {path}")
    say(CAUTION)


def _list_questions() -> None:
    table = table_of("Questions", ("--question", "what is asked"))
    for key, words in questions().items():
        table.add_row(key, words)
    console.print(table)
