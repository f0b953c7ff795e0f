"""A study on three mesh levels, and from them how wrong each of its results may be."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from math import isfinite
from pathlib import Path

from pipeline.fem.meshing.sizes import Level
from pipeline.run.collect import relate_variants, write_beside, write_compared
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Forecast, plan
from pipeline.run.study import Running, run_study
from pipeline.storage.casebook import read_summary
from pipeline.storage.files import read_table
from pipeline.study.config import StudyConfig
from pipeline.tables.borrowed import Known, Row, Sample
from pipeline.tables.comparisons import Key, key_of, label_of
from pipeline.tables.convergence import Estimate, estimate

LEVELS: tuple[Level, ...] = ("fine", "default", "coarse")
NOTHING = 1e-7  # of the largest value of its kind: what is less should be zero and is round-off
WORDS = {
    "exact": "exact",
    "oscillatory": "oscillatory",
    "singular": "singular, do not quote",
    "unsettled": "order not observed",
}


def at_level(study: StudyConfig, level: Level) -> StudyConfig:
    """The same study on another mesh level."""
    return study.model_copy(update={"mesh": study.mesh.model_copy(update={"level": level})})


def level_folders(study: StudyConfig, out: Path) -> dict[Level, Path]:
    """Folder of each level's results: the study's own in `out`, the others below it."""
    own = study.mesh.level
    return {level: out if level == own else out / "levels" / level for level in LEVELS}


def other_levels(study: StudyConfig, sample: Collection[str]) -> tuple[Forecast, Forecast]:
    """What a sample takes on the two levels that are not the study's own."""
    one, other = (
        plan(at_level(study, level)).only(sample).forecast
        for level in LEVELS
        if level != study.mesh.level
    )
    return one, other


def run_levels(
    study: StudyConfig, out: Path, running: Running, sample: Collection[str]
) -> Iterator[tuple[Level, Outcome]]:
    """Run all cases on the study's own level; those of a sample on the others too, for the errors.

    Parameters
    ----------
    study : StudyConfig
        What to run.
    out : Path
        Folder for the results; those of the other levels come below it.
    running : Running
        How.
    sample : collection of str
        Labels of the cases to run on all three levels; if it is empty, no error is known.

    Yields
    ------
    tuple of (str, Outcome)
        Each case as it ends, with its level.
    """
    for level, folder in level_folders(study, out).items():
        if level != study.mesh.level and not sample:
            continue
        only = None if level == study.mesh.level else sample
        for outcome in run_study(at_level(study, level), folder, running, only):
            yield level, outcome
    if sample:
        write_errors(study, out, sample)


def write_errors(study: StudyConfig, out: Path, sample: Collection[str]) -> None:
    """Fill the columns ``error``, ``extrapolated`` and ``mesh`` from runs on all three levels.

    The error is the grid-convergence index, percent of the value on the study's own level. A result
    that is not sound on every level stays without one. Constructs outside the sample borrow theirs.

    Parameters
    ----------
    study : StudyConfig
        What was run.
    out : Path
        Its folder; the other levels' lie below it.
    sample : collection of str
        Labels of the cases that ran on all levels; the others ran on the study's own.
    """
    planned = plan(study)
    listed = [item.case for item in planned.items]
    known = Sample({case.label: case.construct.kind for case in listed})
    table = read_table(out / "results.csv")
    sound = _without_round_off(table)
    for row, judged in _judged(study, out, sound):
        share = judged.errors[LEVELS.index(study.mesh.level)]
        row["error"] = f"{100 * share:.3g}" if isfinite(share) else ""
        row["extrapolated"] = f"{judged.extrapolated:.7g}" if isfinite(judged.extrapolated) else ""
        row["mesh"] = _words(judged)
        known.add(row, Known(label_of(row), share, judged.verdict == "singular"))
    for row in sound:
        if label_of(row) not in sample and row["status"] == "ok":
            known.lend(row)
    related: list[dict[str, object]] = [dict(row) for row in table]
    relate_variants(related, listed)
    write_compared(related, listed, out)
    write_beside(study, planned, related, out)


def _without_round_off(table: list[Row]) -> list[Row]:
    """Rows that are more than round-off of the largest value of their kind; the others are marked."""
    largest: dict[tuple[str, str], float] = {}
    for row in table:
        if row["value"]:
            key = label_of(row), row["quantity"]
            largest[key] = max(largest.get(key, 0.0), abs(float(row["value"])))
    sound = []
    for row in table:
        if (
            row["value"]
            and abs(float(row["value"])) <= NOTHING * largest[label_of(row), row["quantity"]]
        ):
            row["mesh"] = "round-off"
        else:
            sound.append(row)
    return sound


def _judged(study: StudyConfig, out: Path, table: list[Row]) -> Iterator[tuple[Row, Estimate]]:
    """Rows that are sound on all three levels, each with what these say."""
    folders = level_folders(study, out)
    tables = {level: _sound(folder) for level, folder in folders.items()}
    sizes: dict[str, tuple[float, float, float]] = {}
    for row in table:
        fine, middle, coarse = (tables[level].get(_key(row)) for level in LEVELS)
        if fine is None or middle is None or coarse is None:
            continue
        name = label_of(row)
        if name not in sizes:
            fine_h, middle_h, coarse_h = (_size(folders[level], row) for level in LEVELS)
            sizes[name] = (fine_h, middle_h, coarse_h)
        yield row, estimate((fine, middle, coarse), sizes[name])


def _words(judged: Estimate) -> str:
    return WORDS.get(judged.verdict, f"converging, order {judged.order:.2g}")


def _size(folder: Path, row: Row) -> float:
    """Cell size of the mesh of a row's case, relative to the cube root of its volume."""
    record = read_summary(folder, row["construct"], row["variant"])
    return float(record["facts"]["cells"]) ** (-1 / 3)


def _sound(folder: Path) -> dict[Key, float]:
    rows = read_table(folder / "results.csv")
    return {_key(row): float(row["value"]) for row in rows if row["status"] == "ok" and row["value"]}


def _key(row: Row) -> Key:
    return (label_of(row), *key_of(row))
