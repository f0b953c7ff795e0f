"""A study: its plan, its cases run side by side, and their table."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path

from geometries.assembly import assemble
from geometries.bone import Defect
from geometries.constructs import IntactConstruct, NailConstruct
from geometries.errors import StudyError
from pipeline.added_plate import flag_added_plates
from pipeline.brackets import BRACKET_COLUMNS, bracket_rows
from pipeline.case import Case, cases, check_held, check_loads, run_case
from pipeline.clock import Clock
from pipeline.comparisons import COMPARISON_COLUMNS, comparison_rows, relate
from pipeline.config import StudyConfig
from pipeline.errors import OutputError
from pipeline.fem.kernels import use_threads
from pipeline.fem.mesher import require_gmsh
from pipeline.measures.dictionary import COLUMNS, QUANTITIES
from pipeline.published import PUBLISHED_COLUMNS, published_rows
from pipeline.record import CHECKS, store_case
from pipeline.store import ROWS, check_writable, discard_case, read_table, write_table

RESULT_COLUMNS = (
    "case", "construct", "interfaces", "site", "gap_mm", "gap_shape", "stage", "load", "quantity",
    "location", "value", "unit", "error", "extrapolated", "mesh", "percent_of_intact",
    "percent_of_nail_only", "undecided", "status", "reason", "flags", *CHECKS,
)  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """How a case ended.

    Parameters
    ----------
    case : Case
        Which.
    failure : str
        A sentence if all of it failed, else empty.
    seconds : float
        How long it took.
    failed_stages : tuple of str
        Tissue stages that could not be solved although others were.
    """

    case: Case
    failure: str
    seconds: float
    failed_stages: tuple[str, ...] = ()


@dataclass(frozen=True)
class Planned:
    """A case of the plan: what a person checks before a run."""

    case: Case
    facts: dict[str, float]
    loose: str


def plan(study: StudyConfig) -> list[Planned]:
    """Assemble every case without meshing.

    Raises
    ------
    StudyError
        All findings of all constructs, a line each.
    """
    planned, findings = [], []
    for case in cases(study):
        try:
            check_loads(case)
            geometry = assemble(case.construct, case.femur, case.defect)
            check_held(case, geometry)
            planned.append(Planned(case, geometry.facts, geometry.loose))
        except StudyError as error:
            findings.append(str(error))
    if findings:
        raise StudyError("\n".join(dict.fromkeys(findings)))
    return planned


def run_study(
    study: StudyConfig, out: Path, workers: int, only: Collection[str] | None = None
) -> Iterator[Outcome]:
    """Run all cases and write the tables; yield each case as it ends.

    They are ``results.csv``, ``comparisons.csv``, ``dictionary.csv`` and, where the study asks for
    them, ``brackets.csv`` and ``published.csv``.

    Parameters
    ----------
    study : StudyConfig
        What to run.
    out : Path
        Folder for the results.
    workers : int
        Cases at a time, each in a process of its own.
    only : collection of str, optional
        Names of the cases to run; all by default.

    Raises
    ------
    StudyError
        If the geometry of a construct is not possible, gmsh is missing or `out` can not be written.
    """
    plan(study)
    require_gmsh()
    check_writable(out)
    outcomes = []
    threads = max(1, (os.cpu_count() or 1) // workers)
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=use_threads, initargs=(threads,)
    ) as pool:
        wanted = [case for case in cases(study) if only is None or case.name in only]
        waiting = {pool.submit(complete_case, case, out): case for case in wanted}
        try:
            for done in as_completed(waiting):
                try:
                    outcome = done.result()
                except OutputError:
                    raise
                except BrokenProcessPool:
                    reason = "its process was killed, perhaps for want of memory; use fewer workers"
                    outcome = Outcome(waiting[done], reason, 0.0)
                except Exception as error:  # a fault of ours in one case must not end the others
                    reason = f"unexpected {type(error).__name__}: {error}; please report it"
                    outcome = Outcome(waiting[done], reason, 0.0)
                outcomes.append(outcome)
                yield outcome
        finally:
            pool.shutdown(cancel_futures=True)
    order = {case.name: position for position, case in enumerate(wanted)}
    outcomes.sort(key=lambda outcome: order[outcome.case.name])
    write_tables(study, outcomes, out)


def write_tables(study: StudyConfig, outcomes: list[Outcome], out: Path) -> None:
    """Write the tables of a study whose cases have ended; none of an earlier run stays."""
    table = result_rows(outcomes, out)
    write_compared(table, [outcome.case for outcome in outcomes], out)
    brackets = bracket_rows(study.constructs, table)
    _write_if_any(out / "brackets.csv", brackets, BRACKET_COLUMNS)
    beside = published_rows(study.published, table)
    _write_if_any(out / "published.csv", beside, PUBLISHED_COLUMNS)
    entries = QUANTITIES | COLUMNS
    dictionary = [{"quantity": name, **asdict(entry)} for name, entry in entries.items()]
    write_table(out / "dictionary.csv", dictionary, ("quantity", "unit", "locations", "definition"))


def _write_if_any(path: Path, rows: list[dict[str, object]], columns: tuple[str, ...]) -> None:
    """Write a table that not every study has, or remove that of an earlier run."""
    if rows:
        write_table(path, rows, columns)
    else:
        path.unlink(missing_ok=True)


def complete_case(case: Case, out: Path) -> Outcome:
    """Run a case and store it; a case that can not be run becomes a sentence."""
    discard_case(out, case.name)
    clock = Clock()
    try:
        result = run_case(case, clock)
    except OutputError:
        raise
    except StudyError as error:
        return Outcome(case, " ".join(str(error).split("\n")), 0.0)
    store_case(case, result, clock, out)
    return Outcome(case, "", sum(clock.seconds.values()), tuple(result.failures))


def result_rows(outcomes: list[Outcome], out: Path) -> list[dict[str, object]]:
    """Rows of the study's table, with each value also as percent of intact and of the nail alone."""
    table: list[dict[str, object]] = []
    for outcome in outcomes:
        case = outcome.case
        common: dict[str, object] = {
            "case": case.digest[:12],
            "construct": case.name,
            "interfaces": case.construct.interfaces,
            "site": case.own_defect.site if case.has_site else "",
            "gap_mm": case.own_defect.gap_mm if case.has_site else "",
            "gap_shape": case.own_defect.shape if case.has_site else "",
        }
        if outcome.failure:
            table.append({**common, "status": "failed", "reason": outcome.failure})
            continue
        stored = read_table(out / "cases" / case.name / ROWS)
        table += [{**common, **row, "value": _number(row["value"])} for row in stored]
    listed = [outcome.case for outcome in outcomes]
    compared = references(listed)
    relate(table, compared)
    flag_added_plates(listed, compared["percent_of_nail_only"], table)
    return table


def write_compared(table: list[dict[str, object]], listed: Sequence[Case], out: Path) -> None:
    """Write the rows of some cases, and what may be said of the differences between them."""
    groups = {case.name: case.own_defect if case.has_site else None for case in listed}
    write_table(out / "results.csv", table, RESULT_COLUMNS)
    write_table(out / "comparisons.csv", comparison_rows(table, groups), COMPARISON_COLUMNS)


def references(listed: Sequence[Case]) -> dict[str, dict[str, str]]:
    """What each construct is compared with, for each column of percentages.

    They are the first intact femur at its gap, whatever the gap's shape, and the first nail there
    that is whole.
    """
    own = {case.name: case.own_defect for case in listed if case.has_site}
    plain = {name: defect.plain for name, defect in own.items()}
    intact = [case.name for case in listed if isinstance(case.construct, IntactConstruct)]
    whole = [
        case.name
        for case in listed
        if isinstance(case.construct, NailConstruct) and case.construct.nail.break_mm is None
    ]
    return {"percent_of_intact": _first(intact, plain), "percent_of_nail_only": _first(whole, own)}


def _first(names: Sequence[str], gaps: Mapping[str, Defect]) -> dict[str, str]:
    """For each construct, the first of some that has the same gap."""
    first = {gaps[name]: name for name in reversed(names)}
    return {name: first[gap] for name, gap in gaps.items() if gap in first}


def _number(text: str) -> float | str:
    """A value; empty in the row of a stage that could not be solved."""
    return float(text) if text else ""
