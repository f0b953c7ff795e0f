"""A study on three mesh levels, and from them how wrong each of its results may be."""

from __future__ import annotations

from math import isfinite
from pathlib import Path

from pipeline.case import cases
from pipeline.comparisons import relate
from pipeline.config import StudyConfig
from pipeline.convergence import Estimate, estimate
from pipeline.fem.sizes import Level
from pipeline.store import read_summary, read_table
from pipeline.study import references, write_compared

LEVELS: tuple[Level, ...] = ("fine", "default", "coarse")
SAME = ("construct", "stage", "load", "quantity", "location")
WORDS = {
    "exact": "exact",
    "oscillatory": "oscillatory",
    "singular": "singular, do not quote",
}
Row = dict[str, str]


def at_level(study: StudyConfig, level: Level) -> StudyConfig:
    """The same study on another mesh level."""
    return study.model_copy(update={"mesh": study.mesh.model_copy(update={"level": level})})


def level_folders(study: StudyConfig, out: Path) -> dict[Level, Path]:
    """Folder of each level's results: the study's own in `out`, the others below it."""
    own = study.mesh.level
    return {level: out if level == own else out / "levels" / level for level in LEVELS}


def write_errors(study: StudyConfig, out: Path) -> None:
    """Fill the columns ``error``, ``extrapolated`` and ``mesh`` from runs on all three levels.

    The error is the grid-convergence index, percent of the value on the study's own level. A result
    that is not sound on every level stays without one.

    Parameters
    ----------
    study : StudyConfig
        What was run.
    out : Path
        Its folder; the other levels' lie below it.
    """
    folders = level_folders(study, out)
    tables = {level: _sound(folder) for level, folder in folders.items()}
    own = LEVELS.index(study.mesh.level)
    sizes: dict[str, tuple[float, float, float]] = {}
    rows = read_table(out / "results.csv")
    for row in rows:
        found = [tables[level].get(_key(row)) for level in LEVELS]
        fine, middle, coarse = found
        if fine is None or middle is None or coarse is None:
            continue
        name = row["construct"]
        if name not in sizes:
            fine_h, middle_h, coarse_h = (_size(folders[level], name) for level in LEVELS)
            sizes[name] = (fine_h, middle_h, coarse_h)
        judged = estimate((fine, middle, coarse), sizes[name])
        share = judged.errors[own]
        row["error"] = f"{100 * share:.3g}" if isfinite(share) else ""
        row["extrapolated"] = f"{judged.extrapolated:.7g}" if isfinite(judged.extrapolated) else ""
        row["mesh"] = _words(judged)
    listed = cases(study)
    table: list[dict[str, object]] = [dict(row) for row in rows]
    relate(table, references(listed))
    write_compared(table, listed, out)


def _words(judged: Estimate) -> str:
    return WORDS.get(judged.verdict, f"converging, order {judged.order:.2g}")


def _size(folder: Path, name: str) -> float:
    """Cell size of a case's mesh, relative to the cube root of its volume."""
    return float(read_summary(folder, name)["facts"]["cells"]) ** (-1 / 3)


def _sound(folder: Path) -> dict[tuple[str, ...], float]:
    rows = read_table(folder / "results.csv")
    return {_key(row): float(row["value"]) for row in rows if row["status"] == "ok" and row["value"]}


def _key(row: Row) -> tuple[str, ...]:
    return tuple(row[column] for column in SAME)
