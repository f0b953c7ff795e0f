"""The command line: the only module that prints and exits."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from geometries.assembly import assemble
from geometries.defect import gap_centre
from geometries.errors import StudyError
from pipeline.config import StudyConfig, load_study
from pipeline.levels import run_levels
from pipeline.output.beside import BESIDE_HEADINGS, beside
from pipeline.output.drawing import draw_construct
from pipeline.output.figures import draw_study
from pipeline.output.tables import HEADINGS, failures, headline, legend
from pipeline.sampling import spread
from pipeline.statics import actions, section_load
from pipeline.store import check_writable
from pipeline.study import Outcome, Planned, plan

CAUTION = (
    "Research and teaching only: idealised geometry, linear elastic, not validated for an individual, "
    "not a medical device. Decisions belong to licensed clinicians and local rules."
)

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Compare fixation constructs at a femoral gap by finite elements: how much the gap moves and "
    "strains, and how hard the implants are loaded. " + CAUTION,
)
console = Console(width=None if sys.stdout.isatty() else 132)

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
    _print_plan(config, plan(config))
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
    _print_plan(config, planned)
    sample = _sample(planned, error_cases) if levels == 3 else ()
    outcomes: list[Outcome] = []
    with _progress() as bar:
        task = bar.add_task("meshing and solving", total=len(planned) + 2 * len(sample))
        for level, outcome in run_levels(config, folder, count, sample):
            outcomes += [outcome] if level == config.mesh.level else []
            said = f"  {_ended(outcome)}" + (f" ({level})" if sample else "")
            bar.console.print(said, markup=False, highlight=False)
            bar.advance(task)
    stored = [outcome.case.name for outcome in outcomes if not outcome.failure]
    listed = [item.case.name for item in planned if item.case.name in stored]
    with console.status("drawing"):
        draw_study(folder, listed, *config.shown)
    _print_results(config, folder)
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


def _check_levels(levels: int, error_cases: int | None) -> None:
    if levels not in (1, 3):
        raise StudyError(f"--levels {levels}: allowed 1 or 3; with 3 meshes an error can be estimated")
    if error_cases is not None and levels != 3:
        raise StudyError(f"--error-cases {error_cases}: allowed with three meshes only; add --levels 3")


def verdict(outcomes: Sequence[Outcome]) -> str:
    """Say how many cases failed, wholly or in some of their stages; empty if none did."""
    failed = sum(bool(outcome.failure) for outcome in outcomes)
    partly = sum(bool(outcome.failed_stages) for outcome in outcomes)
    words = f"{failed or partly} of {len(outcomes)} cases failed"
    if partly:
        words += f" and {partly} more in some stages" if failed else " in some stages"
    return f"{words}; results.csv says why." if failed or partly else ""


def _ended(outcome: Outcome) -> str:
    """One line for a case as it ends."""
    lost = f", failed at {', '.join(outcome.failed_stages)}" if outcome.failed_stages else ""
    return f"{outcome.case.name}: {outcome.failure or f'{outcome.seconds:.0f} s{lost}'}"


def _progress() -> Progress:
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    return Progress(*columns, console=console)


def _print_plan(config: StudyConfig, planned: list[Planned]) -> None:
    table = Table(title=config.title, title_justify="left", header_style="bold")
    for heading in ("construct", "interfaces", "site", "gap mm", "to know before the run"):
        table.add_column(heading)
    for item in planned:
        case = item.case
        known = ", ".join(
            f"{name.removesuffix('_mm').replace('_', ' ')} {value:.3g}"
            f"{' mm' if name.endswith('_mm') else ''}"
            for name, value in item.facts.items()
            if name != "gap_centre_mm"
        )
        defect = case.own_defect
        where = (defect.site, f"{defect.gap_mm:g}") if case.has_site else ("", "")
        table.add_row(case.name, case.construct.interfaces, *where, known)
    console.print(table)
    for item in planned:
        if item.loose:
            console.print(f"{item.case.name}: {item.loose}", markup=False, highlight=False)
    _print_loads(config)
    solved = sum(len(config.stages) if item.case.has_tissue else 1 for item in planned)
    console.print(
        f"{len(planned)} meshes at level {config.mesh.level}, {solved} solutions, {len(config.loads)} "
        "loads by superposition.",
        highlight=False,
    )


def _print_loads(config: StudyConfig) -> None:
    """Each load's free body: what acts where, and what statics says goes through the study's gap."""
    table = Table(title="Loads and what they send through the gap", title_justify="left",
                  header_style="bold")  # fmt: skip
    for heading in ("load", "acts", "force N", "at mm", "moment N·m", "N", "V N", "M N·m", "T N·m"):
        table.add_column(heading, justify="left" if heading in ("load", "acts") else "right")
    femur, length = config.femur, config.femur.top_mm
    place = (0.0, 0.0, gap_centre(femur, config.defect))
    x, y, centre = place if femur.bow is None else femur.bow.place(place).tolist()
    for load in config.loads:
        acting = actions(load, femur, length)
        through = section_load(acting, centre, (x, y))
        section = (
            f"{through[2]:.0f}", f"{np.hypot(*through[:2]):.0f}",
            f"{np.hypot(*through[3:5]) / 1000:.1f}", f"{through[5] / 1000:.1f}",
        )  # fmt: skip
        for number, one in enumerate(acting):
            cells = (one.name, _vector(one.force), _vector(one.point), _vector(one.moment / 1000))
            table.add_row(load.name if not number else "", *cells, *(section if not number else ()))
    console.print(table)
    console.print(
        "Vectors are medial, anterior, proximal; heights from the knee end. N tension, V shear, M "
        "bending, T torque about the shaft axis, all from statics alone.",
        highlight=False,
    )


def _vector(values: np.ndarray) -> str:
    return ", ".join(f"{value + 0.0:.0f}" for value in values.round()) if values.any() else "–"


def _sample(planned: Sequence[Planned], wanted: int | None) -> tuple[str, ...]:
    """Choose what runs on three meshes, all by default, and say so."""
    sample = spread([item.case for item in planned], wanted or len(planned))
    text = f"Three meshes for {len(sample)} of {len(planned)} constructs: {', '.join(sample)}."
    if len(sample) < len(planned):
        text += " The errors of the others are estimated from those of their kind."
    console.print(text, markup=False, highlight=False)
    return sample


def _print_results(config: StudyConfig, folder: Path) -> None:
    stage, load = config.shown
    table = Table(title=f"Stage {stage}, load {load}", title_justify="left", header_style="bold")
    for position, heading in enumerate(HEADINGS):
        table.add_column(heading, justify="left" if position == 0 else "right", overflow="fold")
    for row in headline(folder, stage, load):
        table.add_row(*row)
    console.print(table)
    for line in legend(folder):
        console.print(line, markup=False, highlight=False)
    for name, reason in failures(folder).items():
        console.print(f"{name} failed: {reason}", markup=False, highlight=False)
    _print_beside(folder)


def _print_beside(folder: Path) -> None:
    """Published measurements beside the model, with what told the test from it."""
    found = beside(folder)
    if not found:
        return
    table = Table(title="Beside published tests", title_justify="left", header_style="bold")
    for position, heading in enumerate(BESIDE_HEADINGS):
        table.add_column(heading, justify="right" if 0 < position < 4 else "left")
    for row, _ in found:
        table.add_row(*row)
    console.print(table)
    for row, words in found:
        console.print(f"{row[0]}: {words}", markup=False, highlight=False)


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
