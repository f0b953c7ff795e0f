"""What the terminal shows of a study: its plan, its loads, its results."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.table import Table

from geometries.defect import gap_centre
from pipeline.loading.statics import actions, section_load
from pipeline.output.beside import BESIDE_HEADINGS, beside
from pipeline.output.tables import HEADINGS, short_table
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan, Planned
from pipeline.study.config import StudyConfig
from pipeline.verification.suite import Verified

REASONS_SHOWN = 8
console = Console(width=None if sys.stdout.isatty() else 132)


def print_plan(config: StudyConfig, planned: Plan) -> None:
    """Print constructs, loads and what the run will solve; of a design its first variant whole."""
    table = Table(title=config.title, title_justify="left", header_style="bold")
    for heading in ("construct", "interfaces", "site", "gap mm", "to know before the run"):
        table.add_column(heading)
    for item in planned.first:
        case = item.case
        defect = case.own_defect
        where = (defect.site, f"{defect.gap_mm:g}") if case.has_site else ("", "")
        table.add_row(case.name, case.construct.interfaces, *where, _known(item))
    console.print(table)
    for item in planned.first:
        if item.loose:
            console.print(f"{item.case.name}: {item.loose}", markup=False, highlight=False)
    _print_loads(config)
    if planned.has_design:
        _print_design(planned)
    _print_forecast(config, planned)


def _print_forecast(config: StudyConfig, planned: Plan) -> None:
    """How much there is to do, and about what that takes."""
    cost = planned.forecast
    console.print(
        f"{len(planned.distinct)} cases on {len(planned.meshes)} meshes at level {config.mesh.level}, "
        f"{planned.solutions} solutions, {len(config.loads)} loads by superposition.\n"
        f"About {duration(cost.hours)} for one worker, {cost.memory_gb:.1f} GB of memory each; all "
        f"fields take {cost.fields_gb:.2g} GB (--keep-fields). Rough: machines differ by factors.",
        highlight=False,
    )


def duration(hours: float) -> str:
    """Hours as words."""
    return f"{hours:.1f} h" if hours >= 1 else f"{max(1, round(60 * hours))} min"


def _known(item: Planned) -> str:
    """Facts of a construct's geometry as words."""
    return ", ".join(
        f"{name.removesuffix('_mm').replace('_', ' ')} {value:.3g}"
        f"{' mm' if name.endswith('_mm') else ''}"
        for name, value in item.facts.items()
        if name != "gap_centre_mm"
    )


def _print_design(planned: Plan) -> None:
    """How many points a design has, what it varies, and which can not be built."""
    names = list(planned.variants[0].point)
    console.print(
        f"A design of {len(planned.variants)} variants over {', '.join(names)}; the constructs above "
        f"are those of {planned.items[0].case.variant}.",
        markup=False, highlight=False,
    )  # fmt: skip
    refused = planned.refused
    for variant in refused[:REASONS_SHOWN]:
        where = ", ".join(f"{key} = {value}" for key, value in variant.point.items())
        console.print(f"{variant.name} can not be built ({where}): {variant.reason}",
                      markup=False, highlight=False)  # fmt: skip
    if len(refused) > REASONS_SHOWN:
        console.print(f"... and {len(refused) - REASONS_SHOWN} more; design.csv lists all.")


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


def print_results(config: StudyConfig, folder: Path, variant: str = "") -> None:
    """Print the main results of a variant, what failed, and published measurements beside them."""
    stage, load = config.shown
    title = f"Stage {stage}, load {load}" + (f", variant {variant}" if variant else "")
    table = Table(title=title, title_justify="left", header_style="bold")
    for position, heading in enumerate(HEADINGS):
        table.add_column(heading, justify="left" if position == 0 else "right", overflow="fold")
    short = short_table(folder, stage, load)
    for name, cells in short.lines:
        table.add_row(name, *(cell.text for cell in cells))
    console.print(table)
    for line in short.legend:
        console.print(line, markup=False, highlight=False)
    failed = short.failures
    for name, reason in list(failed.items())[:REASONS_SHOWN]:
        console.print(f"{name} failed: {reason}", markup=False, highlight=False)
    if len(failed) > REASONS_SHOWN:
        console.print(f"... and {len(failed) - REASONS_SHOWN} more; results.csv lists all.")
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


def verdict(outcomes: Sequence[Outcome]) -> str:
    """Say how many cases failed, wholly or in some of their stages; empty if none did."""
    failed = sum(bool(outcome.failure) for outcome in outcomes)
    partly = sum(bool(outcome.failed_stages) for outcome in outcomes)
    words = f"{failed or partly} of {len(outcomes)} cases failed"
    if partly:
        words += f" and {partly} more in some stages" if failed else " in some stages"
    return f"{words}; results.csv says why." if failed or partly else ""


def ended(outcome: Outcome) -> str:
    """One line for a case as it ends."""
    if outcome.reused:
        return f"{outcome.case.label}: finished before"
    lost = f", failed at {', '.join(outcome.failed_stages)}" if outcome.failed_stages else ""
    return f"{outcome.case.label}: {outcome.failure or f'{outcome.seconds:.0f} s{lost}'}"


def progress_bar() -> Progress:
    """Make the bar that a long command shows."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[failed]} failed"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    return Progress(*columns, console=console)


def verified_line(outcome: Verified) -> str:
    """One line for a verification case as it ends."""
    result = "passed" if outcome.passed else "FAILED"
    return f"{outcome.problem.name}: {result}, {outcome.seconds:.0f} s"


def print_verification(outcomes: Sequence[Verified]) -> None:
    """Print every number of the verification cases beside what it should be."""
    table = Table(title="Verification", title_justify="left", header_style="bold")
    for heading in ("case", "quantity", "computed", "expected", "unit", "error", "allowed", "result"):
        is_number = heading in ("computed", "expected", "error", "allowed")
        table.add_column(heading, justify="right" if is_number else "left")
    for outcome in outcomes:
        for check in outcome.checks:
            table.add_row(
                outcome.problem.name, check.quantity, f"{check.computed:.5g}", f"{check.expected:.5g}",
                check.unit, *check.in_words, "passed" if check.passed else "FAILED",
            )  # fmt: skip
        if outcome.failure:
            table.add_row(outcome.problem.name, outcome.failure, *[""] * 5, "FAILED")
    console.print(table)
    passed = sum(outcome.passed for outcome in outcomes)
    console.print(f"{passed} of {len(outcomes)} cases passed.", highlight=False)
