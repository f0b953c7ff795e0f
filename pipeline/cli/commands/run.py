"""The command that runs a study."""

from __future__ import annotations

import os
from collections.abc import Sequence
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.console import console, counted, say, say_whole
from pipeline.cli.options import Changes, Out, StudyFile, TimeLimit, Workers
from pipeline.cli.shown.plan import duration, print_plan
from pipeline.cli.shown.progress import Reporter, Voice
from pipeline.cli.shown.results import print_results, verdict
from pipeline.output.report.page import REPORT
from pipeline.run.engine import Place
from pipeline.run.execute import Asked, Options, execute
from pipeline.run.planning import Plan, plan
from pipeline.run.sampling import left_out, sample_of
from pipeline.storage.caution import CAUTION
from pipeline.study.config import load_study, text_of


class Keep(Enum):
    """Which fields are stored for viewers."""

    all = "all"
    shown = "shown"
    none = "none"


Levels = Annotated[
    int,
    typer.Option(
        "--levels",
        help="Meshes of each construct. On 1, the default, errors of stiffness and movement are "
        "estimated and those of stress are of a class; 3 runs the coarse, default and fine mesh, which "
        "tell each value's own.",
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
Quiet = Annotated[
    bool,
    typer.Option(
        "--quiet",
        help="Say only what failed, and no caution: that stands in report.html, "
        "inputs.json and dictionary.csv, and in gapstrain --help.",
    ),
]
AsJson = Annotated[
    bool,
    typer.Option(
        "--json",
        help="Say it as JSON: one line for each case; the first and the last line have the caution.",
    ),
]


def run(  # noqa: PLR0913 (options of a command)
    study: StudyFile,
    out: Out = None,
    workers: Workers = None,
    changes: Changes = None,
    levels: Levels = 1,
    error_cases: ErrorCases = None,
    memory: Memory = None,
    scheduler: Scheduler = "",
    time_limit: TimeLimit = None,
    keep_fields: KeepFields = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Mesh and solve every construct of a study; write tables, pictures and fields for viewers.

    Cases that are finished are not run again: after a stop, the same command goes on.
    """
    asked = Asked(text_of(study), tuple(changes or ()), levels, error_cases)
    config = load_study(study, asked.changes)
    folder = out or Path("results") / study.stem
    voice: Voice = "json" if as_json else "quiet" if quiet else "bar"
    planned = plan(config)
    sample = sample_of(planned, error_cases) if levels == 3 else ()
    if voice == "bar":
        print_plan(config, planned, time_limit)
        _print_sample(planned, sample)
    place = Place(workers or os.cpu_count() or 1, memory, scheduler, minutes=time_limit)
    kept = keep_fields or (Keep.none if planned.has_design else Keep.all)
    options = Options(place, kept.value, sample, asked=asked)
    reporter = Reporter.of(voice, planned, sample, place)
    with reporter.running():
        finished = execute(planned, folder, options, reporter.ended, reporter.answered)
    if voice == "bar":
        print_results(config, folder, planned.items[0].case.variant)
        say(f"\n{CAUTION}\n")
        say_whole(f"Report: {folder / REPORT}\nTables, pictures and fields: {folder}")
    reporter.finished(folder)
    words = verdict(finished.outcomes, finished.answers)
    if words:
        if voice != "json":
            console.print(words)
        raise typer.Exit(1)


def _print_sample(planned: Plan, sample: Sequence[str]) -> None:
    """Say what runs on three meshes, and what the other two take."""
    if not sample:
        return
    count = len(planned.items)
    text = f"Three meshes for {len(sample)} of {counted(count, 'construct')}: {', '.join(sample)}."
    if len(sample) < count:
        text += " The errors of the others are estimated from those of their kind."
    alone = left_out(planned.cases, sample)
    if alone:
        text += (
            f" There is no {' and no '.join(alone)} among them, so theirs stay unknown: a larger "
            "--error-cases brings them."
        )
    more = [plan.forecast for plan in planned.only(sample).elsewhere]
    hours, memory = sum(one.hours for one in more), max(one.memory_gb for one in more)
    time = f"about {duration(hours)} more for one worker"
    text += f" The other two meshes take {time}, {memory:.1f} GB of memory each."
    say(text)
