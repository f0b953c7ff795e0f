"""The commands that look at a study without running it, and the one that verifies the program."""

from __future__ import annotations

from pathlib import Path

import typer

from geometries.assembly import assemble
from pipeline.caution import CAUTION
from pipeline.cli.options import Changes, Out, Quick, StudyFile, app
from pipeline.cli.terminal import console, print_plan, print_verification, progress_bar, verified_line
from pipeline.loading.statics import actions
from pipeline.output.drawing import draw_construct
from pipeline.output.pages import verification_page
from pipeline.run.planning import plan
from pipeline.storage.files import VERIFICATION, check_writable
from pipeline.storage.provenance import in_words
from pipeline.study.config import load_study
from pipeline.verification.suite import selected, write_outcomes
from pipeline.verification.suite import verify as verified


@app.command()
def check(study: StudyFile, changes: Changes = None) -> None:
    """Read a study file, check every construct's clearances, and print the plan. Solves nothing."""
    config = load_study(study, tuple(changes or ()))
    print_plan(config, plan(config))
    console.print("The study file is sound.")


@app.command()
def draw(
    study: StudyFile,
    out: Out = None,
    changes: Changes = None,
) -> None:
    """Draw every construct to scale from two sides, as SVG and PNG, without solving anything."""
    config = load_study(study, tuple(changes or ()))
    folder = (out or Path("results") / study.stem) / "drawings"
    check_writable(folder)
    _, shown = config.shown
    load = next(load for load in config.loads if load.name == shown)
    for item in plan(config).first:
        case = item.case
        geometry = assemble(case.construct, case.femur, case.own_defect)
        acting = actions(load, case.femur, float(geometry.top[2])) if case.has_site else ()
        subtitle = f"{case.construct.interfaces} · load {load.name}"
        arrows = [(one.name, one.point, one.force) for one in acting if one.force.any()]
        for path in draw_construct(geometry, case.name, subtitle, arrows, folder):
            console.print(f"{path}", markup=False, highlight=False)
    console.print(CAUTION, highlight=False)


@app.command()
def verify(quick: Quick = False, out: Out = None) -> None:
    """Solve cases with a known answer and set the answers side by side; exit code 1 if one is off."""
    folder = out or Path("results") / "verification"
    problems = selected(quick)
    outcomes = []
    with progress_bar() as bar:
        task = bar.add_task("verifying", total=len(problems), failed=0)
        for outcome in verified(problems):
            outcomes.append(outcome)
            bar.console.print(f"  {verified_line(outcome)}", markup=False, highlight=False)
            failed = sum(not one.passed for one in outcomes)
            bar.update(task, advance=1, failed=failed)
    write_outcomes(outcomes, folder)
    page = verification_page(folder, in_words(), CAUTION)
    print_verification(outcomes)
    console.print(
        f"Table and page: {folder / VERIFICATION}, {page}\n{CAUTION}", markup=False, highlight=False
    )
    if not all(outcome.passed for outcome in outcomes):
        raise typer.Exit(1)
