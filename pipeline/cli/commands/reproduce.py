"""The command that runs a bundle again."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from geometries.errors import StudyError
from pipeline.cli.console import say, say_whole
from pipeline.cli.options import TimeLimit, Workers
from pipeline.cli.shown.claims import print_claims
from pipeline.cli.shown.differences import print_differences
from pipeline.cli.shown.progress import Reporter
from pipeline.output.report.claims import claims_page
from pipeline.run.engine import Place
from pipeline.run.execute import Asked, Options, execute
from pipeline.run.planning import Plan
from pipeline.sharing.choice import Choice
from pipeline.sharing.reproduction import Run
from pipeline.sharing.reproduction import reproduce as reproduced
from pipeline.storage.caution import CAUTION
from pipeline.storage.provenance import in_words
from pipeline.tables.judged import JUDGED, REPRODUCTION

Packed = Annotated[Path, typer.Argument(metavar="BUNDLE", help="A bundle, or its unpacked folder.")]


def reproduce(  # noqa: PLR0913 (options of a command)
    bundle: Packed,
    subset: Annotated[
        int | None,
        typer.Option(
            "--subset", metavar="K", min=1, help="Run only K constructs, which span the study."
        ),
    ] = None,
    construct: Annotated[
        list[str] | None,
        typer.Option(
            "--construct",
            metavar="NAME",
            help="Run this construct, and what a claim about it compares it with. May be given more "
            "than once.",
        ),
    ] = None,
    claim: Annotated[
        list[int] | None,
        typer.Option(
            "--claim",
            metavar="N",
            help="Run what the N-th claim of the bundle rests on, counted from 1. May be given more "
            "than once.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder; results/reproduced-NAME by default."),
    ] = None,
    workers: Workers = None,
    time_limit: TimeLimit = None,
) -> None:
    """Run a bundle again and judge its claims; exit code 1 if a result differs or a claim fails.

    Of a bundle with claims one must be judged, or else the exit code is 1 too.
    """
    if not bundle.exists():
        raise StudyError(f"{bundle}: no such file; give the path of a bundle")
    folder = out or Path("results") / f"reproduced-{bundle.resolve().stem}"
    choice = Choice(subset, tuple(construct or ()), tuple(claim or ()))
    place = Place(workers or os.cpu_count() or 1, minutes=time_limit)
    found = reproduced(bundle, folder, _runner(place), choice)
    if found.chosen:
        say(f"Run again: {', '.join(found.chosen)}.")
    for note in found.notes:
        say(note)
    print_differences(found.differences)
    print_claims(found.claims)
    if found.is_unjudged:
        say(
            f"None of the {len(found.claims)} claims was judged, since their constructs were not run: "
            "choose one by --claim."
        )
    say_whole(f"Tables: {folder / REPRODUCTION}, {folder / JUDGED}")
    page = claims_page(folder, in_words(), CAUTION)
    if page:
        say_whole(f"Page of the claims: {page}")
    say(CAUTION)
    if not found.succeeded:
        raise typer.Exit(1)


def _runner(place: Place) -> Run:
    """What runs the cases of a plan, with a bar that shows it."""

    def run(planned: Plan, out: Path, asked: Asked) -> None:
        reporter = Reporter.of("bar", planned, (), place)
        options = Options(place, keep="none", pages=False, asked=asked)
        with reporter.running():
            execute(planned, out, options, reporter.ended, reporter.answered)

    return run
