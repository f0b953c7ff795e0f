"""The command that runs a bundle again."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path
from typing import Annotated

import typer

from geometries.errors import StudyError
from pipeline.caution import CAUTION
from pipeline.cli.options import Workers
from pipeline.cli.reporting import Reporter
from pipeline.cli.terminal import console
from pipeline.cli.terminal_sharing import print_reproduction
from pipeline.run.engine import Place
from pipeline.run.planning import plan
from pipeline.run.study import Running, run_study
from pipeline.sharing.reproduction import JUDGED, REPRODUCTION, Run
from pipeline.sharing.reproduction import reproduce as reproduced
from pipeline.study.config import StudyConfig

Packed = Annotated[Path, typer.Argument(metavar="BUNDLE", help="A bundle, or its unpacked folder.")]


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
    """What runs a study, with a bar that shows it."""

    def run(study: StudyConfig, out: Path, only: Collection[str] | None) -> None:
        total = len(plan(study).items) if only is None else len(only)
        reporter = Reporter("bar", total, has_levels=False)
        with reporter.running():
            for outcome in run_study(study, out, Running(Place(workers), keep="none"), only):
                reporter.ended(study.mesh.level, outcome)

    return run
