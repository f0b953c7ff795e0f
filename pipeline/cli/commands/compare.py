"""The command that compares two runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.console import say
from pipeline.cli.shown.differences import print_differences
from pipeline.sharing.compare import agree
from pipeline.sharing.reproduction import compared
from pipeline.storage.caution import CAUTION


def compare(
    a: Annotated[Path, typer.Argument(metavar="A", help="A run's folder, or a bundle.")],
    b: Annotated[Path, typer.Argument(metavar="B", help="Another one.")],
    tolerance: Annotated[
        float | None,
        typer.Option(
            "--tolerance",
            metavar="PERCENT",
            min=0,
            max=100,
            help="Allowed difference of every result. By default 0.0001 on the same mesh, else 0.5, "
            "and 5 for what the most loaded few mm³ decide.",
        ),
    ] = None,
) -> None:
    """Compare the results of two runs, row by row; exit code 1 if they differ."""
    differences = compared(a, b, tolerance)
    print_differences(differences)
    say(CAUTION)
    if not agree(differences):
        raise typer.Exit(1)
