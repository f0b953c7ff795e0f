"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

StudyFile = Annotated[Path, typer.Argument(metavar="STUDY.toml", help="The study file.")]
Changes = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change a key of the study file for this run, as in --set mesh.level=fine or --set "
        "constructs.1.nail.diameter_mm=11 (lists count from 0). May be given more than once.",
    ),
]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder for what is written; results/NAME by default."),
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", min=1, max=64, help="Cases at a time; all cores by default."),
]
TimeLimit = Annotated[
    float | None,
    typer.Option(
        "--time-limit",
        metavar="MINUTES",
        min=0.1,
        help="How long a step of a case (its mesh, a stage, its reduced model, what that is asked for) "
        "may take before its worker is ended and the case fails; by the forecast by default, as check "
        "says.",
    ),
]
Finished = Annotated[Path, typer.Argument(metavar="DIR", help="Results of a finished run.")]
