"""The command that tells two study files apart."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.delivery import OutFile, deliver
from pipeline.storage.caution import CAUTION
from pipeline.study.config import load_study
from pipeline.writing.changes import changed


def changes(
    a: Annotated[Path, typer.Argument(metavar="A.toml", help="The earlier study file.")],
    b: Annotated[Path, typer.Argument(metavar="B.toml", help="The later one.")],
    out: OutFile = None,
) -> None:
    """Say in words what changed from one study file to another, key by key."""
    deliver(f"{changed(load_study(a), load_study(b))}\n\n{CAUTION}", out)
