"""The command that runs a study."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from geometries.errors import StudyError
from pipeline.caution import CAUTION
from pipeline.cli.console import console, say
from pipeline.cli.options import Changes, Out, StudyFile, Workers
from pipeline.cli.shown.plan import duration, print_plan
from pipeline.cli.shown.progress import Reporter, Voice
from pipeline.cli.shown.results import print_results, verdict
from pipeline.errors import StoppedError
from pipeline.output.credibility import credibility_page
from pipeline.output.figures import draw_study
from pipeline.output.indices import draw_indices
from pipeline.output.report.page import report_page
from pipeline.run.collect import write_inputs
from pipeline.run.engine import Place
from pipeline.run.jobs import Outcome
from pipeline.run.levels import other_levels, run_levels
from pipeline.run.planning import Plan, plan
from pipeline.run.sampling import left_out, spread
from pipeline.run.study import Running
from pipeline.storage.casebook import locked
from pipeline.storage.files import check_writable
from pipeline.storage.provenance import in_words
from pipeline.study.config import StudyConfig, load_study


class Keep(Enum):
    """Which fields are stored for viewers."""

    all = "all"
    shown = "shown"
    none = "none"


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


def run(  # noqa: PLR0913 (options of a command)
    study: StudyFile,
    out: Out = None,
    workers: Workers = None,
    changes: Changes = None,
    levels: Levels = 1,
    error_cases: ErrorCases = None,
    memory: Memory = None,
    scheduler: Scheduler = "",
    keep_fields: KeepFields = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Mesh and solve every construct of a study; write tables, pictures and fields for viewers.

    Cases that are finished are not run again: after a stop, the same command goes on.
    """
    _check_levels(levels, error_cases)
    config = load_study(study, tuple(changes or ()))
    folder = out or Path("results") / study.stem
    voice: Voice = "json" if as_json else "quiet" if quiet else "bar"
    planned = plan(config)
    if voice == "bar":
        print_plan(config, planned)
    sample = _sample(config, planned, error_cases, voice) if levels == 3 else ()
    keep = keep_fields or (Keep.none if planned.has_design else Keep.all)
    place = Place(workers or os.cpu_count() or 1, memory, scheduler)
    running = Running(place, ":".join(config.shown) if keep is Keep.shown else keep.value)
    reporter = Reporter(voice, len(planned.items) + 2 * len(sample), has_levels=bool(sample))
    asked = {"changes": changes or [], "levels": levels, "error_cases": error_cases}
    check_writable(folder)
    with locked(folder):
        write_inputs(study, config, asked, folder)
        outcomes = _followed(run_levels(config, folder, running, sample), config, reporter)
        if keep is not Keep.none:
            _draw(config, folder, outcomes)
        draw_indices(folder, *config.shown)
        credibility_page(config, folder, in_words(), CAUTION)
        page = report_page(config, folder, in_words(), CAUTION)
    if voice == "bar":
        print_results(config, folder, planned.first[0].case.variant)
        say(f"\n{CAUTION}\n")
        say(f"Report: {page}\nTables, pictures and fields: {folder}")
    reporter.event("end", folder=str(folder), done=reporter.done, failed=reporter.failed)
    words = verdict(outcomes)
    if words:
        if voice != "json":
            console.print(words)
        raise typer.Exit(1)


def _followed(
    running: Iterable[tuple[str, Outcome]], config: StudyConfig, reporter: Reporter
) -> list[Outcome]:
    """Run all cases and say how each ends; the outcomes on the study's own mesh level."""
    outcomes = []
    try:
        with reporter.running():
            for level, outcome in running:
                if level == config.mesh.level:
                    outcomes.append(outcome)
                reporter.ended(level, outcome)
    except KeyboardInterrupt:
        raise StoppedError(
            f"stopped after {reporter.done} of {reporter.total} cases; they are kept: run the same "
            "command again to go on"
        ) from None
    return outcomes


def _draw(config: StudyConfig, folder: Path, outcomes: Sequence[Outcome]) -> None:
    """Draw the constructs that were solved; of a design those of its first variant."""
    first = outcomes[0].case.variant
    listed = [
        outcome.case.name
        for outcome in outcomes
        if not outcome.failure and outcome.case.variant == first
    ]
    with console.status("drawing"):
        draw_study(folder, listed, *config.shown)


def _check_levels(levels: int, error_cases: int | None) -> None:
    if levels not in (1, 3):
        raise StudyError(f"--levels {levels}: allowed 1 or 3; with 3 meshes an error can be estimated")
    if error_cases is not None and levels != 3:
        raise StudyError(f"--error-cases {error_cases}: allowed with three meshes only; add --levels 3")


def _sample(config: StudyConfig, planned: Plan, wanted: int | None, voice: Voice) -> tuple[str, ...]:
    """Choose what runs on three meshes, all by default, and say so."""
    every = [item.case for item in planned.items]
    count = len(every)
    sample = spread(every, wanted or count)
    text = f"Three meshes for {len(sample)} of {count} constructs: {', '.join(sample)}."
    if len(sample) < count:
        text += " The errors of the others are estimated from those of their kind."
    alone = left_out(every, sample)
    if alone:
        text += (
            f" There is no {' and no '.join(alone)} among them, so theirs stay unknown: a larger "
            "--error-cases brings them."
        )
    if voice == "bar":
        more = other_levels(config, sample)
        hours, memory = sum(one.hours for one in more), max(one.memory_gb for one in more)
        time = f"about {duration(hours)} more for one worker"
        text += f" The other two meshes take {time}, {memory:.1f} GB of memory each."
        say(text)
    return sample
