"""The commands that pass a study on and run that of others."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from geometries.errors import StudyError
from pipeline.caution import CAUTION
from pipeline.cli.options import Workers, app
from pipeline.cli.reporting import Reporter
from pipeline.cli.terminal import console
from pipeline.cli.terminal_sharing import print_claims, print_differences, print_reproduction
from pipeline.run.engine import Place
from pipeline.run.execute import Asked, Options, execute
from pipeline.run.planning import Plan
from pipeline.sharing.bundle import bundle as packed
from pipeline.sharing.claims import borne_out, load_claims
from pipeline.sharing.compare import agree
from pipeline.sharing.reproduction import JUDGED, REPRODUCTION, Run, compared, judged_claims
from pipeline.sharing.reproduction import reproduce as reproduced
from pipeline.storage.run_folder import CLAIMS

Folder = Annotated[Path, typer.Argument(metavar="DIR", help="Results of a finished run.")]
Packed = Annotated[Path, typer.Argument(metavar="BUNDLE", help="A bundle, or its unpacked folder.")]
ClaimsFile = Annotated[
    Path | None,
    typer.Option(
        "--claims", metavar="FILE", help="Claims file; DIR/claims.toml by default, if there is one."
    ),
]


@app.command()
def bundle(
    folder: Folder,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="File to write; DIR.zip by default.")
    ] = None,
    claims: ClaimsFile = None,
    with_fields: Annotated[
        bool, typer.Option("--with-fields", help="Pack meshes and fields too; they are large.")
    ] = False,
) -> None:
    """Pack a finished run for others to check and rerun; exit code 1 if a claim of it fails."""
    if claims is not None:
        load_claims(claims)
    judged = judged_claims(claims or folder / CLAIMS, folder)
    own = folder.resolve()
    target = packed(
        folder, out or own.with_name(f"{own.name}.zip"), claims=claims, with_fields=with_fields
    )
    print_claims(judged)
    console.print(f"Bundle: {target}\n{CAUTION}", markup=False, highlight=False)
    if not borne_out(judged):
        raise typer.Exit(1)


@app.command()
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
    if not agree(differences):
        raise typer.Exit(1)


@app.command()
def reproduce(
    bundle: Packed,
    subset: Annotated[
        int | None,
        typer.Option(
            "--subset", metavar="K", min=1, help="Run only K constructs, which span the study."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder; results/reproduced-NAME by default."),
    ] = None,
    workers: Workers = None,
) -> None:
    """Run a bundle again and judge its claims; exit code 1 if a result differs or a claim fails."""
    if not bundle.exists():
        raise StudyError(f"{bundle}: no such file; give the path of a bundle")
    folder = out or Path("results") / f"reproduced-{bundle.resolve().stem}"
    found = reproduced(bundle, folder, _runner(workers or os.cpu_count() or 1), subset)
    print_reproduction(found)
    tables = f"{folder / REPRODUCTION}, {folder / JUDGED}"
    console.print(f"Tables: {tables}\n{CAUTION}", markup=False, highlight=False)
    if not found.succeeded:
        raise typer.Exit(1)


def _runner(workers: int) -> Run:
    """What runs the cases of a plan, with a bar that shows it."""

    def run(planned: Plan, out: Path, asked: Asked) -> None:
        reporter = Reporter("bar", len(planned.items), has_levels=False)
        options = Options(Place(workers), keep="none", pages=False, asked=asked)
        with reporter.running():
            execute(planned, out, options, reporter.ended)

    return run
