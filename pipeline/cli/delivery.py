"""Texts that a command shows as they are, or writes to the file that it is given."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.console import plain
from pipeline.storage.files import write_text

OutFile = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="File to write; shown by default.")
]


def deliver(text: str, out: Path | None) -> None:
    """Show a text as it is, or write it to a file."""
    if out is None:
        typer.echo(plain(text))
        return
    write_text(out, f"{text}\n")
    typer.echo(f"{out}")
