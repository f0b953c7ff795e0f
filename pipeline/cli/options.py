"""The application that commands belong to, and the options that they share."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from pipeline.caution import CAUTION

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Compare fixation constructs at a femoral gap by finite elements: how much the gap moves and "
    "strains, and how hard the implants are loaded. " + CAUTION,
)


class Keep(Enum):
    """Which fields are stored for viewers."""

    all = "all"
    shown = "shown"
    none = "none"


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
Levels = Annotated[
    int,
    typer.Option(
        "--levels",
        help="3 runs the coarse, default and fine mesh and fills the columns error and mesh of "
        "results.csv; 1, the default, leaves them empty.",
    ),
]
ErrorCases = Annotated[
    int | None,
    typer.Option(
        "--error-cases",
        metavar="K",
        min=1,
        help="With --levels 3: run all three meshes only for K constructs that span the study, and "
        "estimate the errors of the others from those of their kind.",
    ),
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", min=1, max=64, help="Cases at a time; all cores by default."),
]
Memory = Annotated[
    float | None,
    typer.Option(
        "--memory",
        metavar="GB",
        min=0.5,
        help="Memory of one worker, which is started anew beyond it; its share by default.",
    ),
]
Scheduler = Annotated[
    str,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS",
        help="A Dask scheduler that is already there, as tcp://host:8786; its workers must see the "
        "same folders.",
    ),
]
KeepFields = Annotated[
    Keep | None,
    typer.Option(
        "--keep-fields",
        help="Fields for viewers: of all stages and loads, of those shown, or none, which leaves out "
        "the pictures too. All by default; none in a design.",
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Say only what failed.")]
AsJson = Annotated[bool, typer.Option("--json", help="Say it as JSON, one line for each case.")]
Quick = Annotated[bool, typer.Option("--quick", help="Only the cases that take seconds.")]
