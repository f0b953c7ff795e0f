"""The command line: the only module that prints and exits."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from geometries.assembly import assemble
from geometries.errors import StudyError
from pipeline.caution import CAUTION
from pipeline.cli_reproduction import bundle, compare, reproduce
from pipeline.config import load_study
from pipeline.levels import run_levels
from pipeline.output.credibility import credibility_page
from pipeline.output.drawing import draw_construct
from pipeline.output.figures import draw_study
from pipeline.output.pages import verification_page
from pipeline.record import versions
from pipeline.sampling import spread
from pipeline.statics import actions
from pipeline.store import VERIFICATION, check_writable
from pipeline.study import Outcome, Planned, plan
from pipeline.terminal import (
    console,
    ended,
    print_plan,
    print_results,
    print_verification,
    progress_bar,
    verdict,
    verified_line,
)
from pipeline.verification.suite import selected, write_outcomes
from pipeline.verification.suite import verify as verified

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Compare fixation constructs at a femoral gap by finite elements: how much the gap moves and "
    "strains, and how hard the implants are loaded. " + CAUTION,
)
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


@app.command()
def check(study: StudyFile, changes: Changes = None) -> None:
    """Read a study file, check every construct's clearances, and print the plan. Solves nothing."""
    config = load_study(study, tuple(changes or ()))
    print_plan(config, plan(config))
    console.print("The study file is sound.")


@app.command()
def run(
    study: StudyFile,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for results; results/NAME by default."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option("--workers", min=1, max=64, help="Cases at a time; all cores by default."),
    ] = None,
    changes: Changes = None,
    levels: Annotated[
        int,
        typer.Option(
            "--levels",
            help="3 runs the coarse, default and fine mesh and fills the columns error and mesh of "
            "results.csv; 1, the default, leaves them empty.",
        ),
    ] = 1,
    error_cases: Annotated[
        int | None,
        typer.Option(
            "--error-cases",
            metavar="K",
            min=1,
            help="With --levels 3: run all three meshes only for K constructs that span the study, and "
            "estimate the errors of the others from those of their kind.",
        ),
    ] = None,
) -> None:
    """Mesh and solve every construct of a study; write tables, pictures and fields for viewers."""
    _check_levels(levels, error_cases)
    config = load_study(study, tuple(changes or ()))
    folder = out or Path("results") / study.stem
    count = workers or os.cpu_count() or 1
    planned = plan(config)
    print_plan(config, planned)
    sample = _sample(planned, error_cases) if levels == 3 else ()
    outcomes: list[Outcome] = []
    with progress_bar() as bar:
        task = bar.add_task("meshing and solving", total=len(planned) + 2 * len(sample))
        for level, outcome in run_levels(config, folder, count, sample):
            outcomes += [outcome] if level == config.mesh.level else []
            said = f"  {ended(outcome)}" + (f" ({level})" if sample else "")
            bar.console.print(said, markup=False, highlight=False)
            bar.advance(task)
    stored = [outcome.case.name for outcome in outcomes if not outcome.failure]
    listed = [item.case.name for item in planned if item.case.name in stored]
    with console.status("drawing"):
        draw_study(folder, listed, *config.shown)
    credibility_page(config, folder, versions(), CAUTION)
    print_results(config, folder)
    console.print(f"\n{CAUTION}\n", highlight=False)
    console.print(f"Tables, pictures and fields: {folder}", markup=False, highlight=False)
    words = verdict(outcomes)
    if words:
        console.print(words)
        raise typer.Exit(1)


@app.command()
def draw(
    study: StudyFile,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for the drawings; results/NAME by default."),
    ] = None,
    changes: Changes = None,
) -> None:
    """Draw every construct to scale from two sides, as SVG and PNG, without solving anything."""
    config = load_study(study, tuple(changes or ()))
    folder = (out or Path("results") / study.stem) / "drawings"
    check_writable(folder)
    _, shown = config.shown
    load = next(load for load in config.loads if load.name == shown)
    for item in plan(config):
        case = item.case
        geometry = assemble(case.construct, case.femur, case.own_defect)
        acting = actions(load, case.femur, float(geometry.top[2])) if case.has_site else ()
        subtitle = f"{case.construct.interfaces} · load {load.name}"
        arrows = [(one.name, one.point, one.force) for one in acting if one.force.any()]
        for path in draw_construct(geometry, case.name, subtitle, arrows, folder):
            console.print(f"{path}", markup=False, highlight=False)
    console.print(CAUTION, highlight=False)


@app.command()
def verify(
    quick: Annotated[bool, typer.Option("--quick", help="Only the cases that take seconds.")] = False,
    out: Annotated[
        Path,
        typer.Option("--out", metavar="DIR", help="Folder for table and page."),
    ] = Path("results/verification"),
) -> None:
    """Solve cases with a known answer and set the answers side by side; exit code 1 if one is off."""
    problems = selected(quick)
    outcomes = []
    with progress_bar() as bar:
        task = bar.add_task("verifying", total=len(problems))
        for outcome in verified(problems):
            outcomes.append(outcome)
            bar.console.print(f"  {verified_line(outcome)}", markup=False, highlight=False)
            bar.advance(task)
    write_outcomes(outcomes, out)
    page = verification_page(out, versions(), CAUTION)
    print_verification(outcomes)
    console.print(
        f"Table and page: {out / VERIFICATION}, {page}\n{CAUTION}", markup=False, highlight=False
    )
    if not all(outcome.passed for outcome in outcomes):
        raise typer.Exit(1)


for command in (bundle, compare, reproduce):
    app.command()(command)


def _check_levels(levels: int, error_cases: int | None) -> None:
    if levels not in (1, 3):
        raise StudyError(f"--levels {levels}: allowed 1 or 3; with 3 meshes an error can be estimated")
    if error_cases is not None and levels != 3:
        raise StudyError(f"--error-cases {error_cases}: allowed with three meshes only; add --levels 3")


def _sample(planned: Sequence[Planned], wanted: int | None) -> tuple[str, ...]:
    """Choose what runs on three meshes, all by default, and say so."""
    sample = spread([item.case for item in planned], wanted or len(planned))
    text = f"Three meshes for {len(sample)} of {len(planned)} constructs: {', '.join(sample)}."
    if len(sample) < len(planned):
        text += " The errors of the others are estimated from those of their kind."
    console.print(text, markup=False, highlight=False)
    return sample


def main() -> None:
    """Run the command; any fault is one sentence and exit code 2."""
    try:
        app()
    except StudyError as error:
        _fail(str(error))
    except OSError as error:
        _fail(f"{error.filename or 'disk'}: {error.strerror}; free disk space or choose another --out")
    except KeyboardInterrupt:
        _fail("stopped; finished cases are kept, run the same command again")


def _fail(message: str) -> None:
    Console(stderr=True).print(message, markup=False, highlight=False, soft_wrap=True)
    sys.exit(2)
