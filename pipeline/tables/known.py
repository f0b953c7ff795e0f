"""Every table of a run beside its results: the columns that it has, and which of them hold numbers."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path

from geometries.errors import StudyError
from pipeline.measures.curves import CURVE_COLUMNS
from pipeline.measures.exploring import COLUMNS_OF_EXPLORED
from pipeline.storage.casebook import CURVES, INDEX, INDEX_COLUMNS
from pipeline.storage.run_folder import each_row
from pipeline.tables.brackets import BRACKET_COLUMNS
from pipeline.tables.comparisons import COMPARISON_COLUMNS
from pipeline.tables.measured import PUBLISHED_COLUMNS
from pipeline.tables.rows import Key
from pipeline.tables.shaft import SHAFT_COLUMNS

SENSITIVITY = (
    "construct", *Key._fields, "unit", "factor", "label", "method", "index", "value", "confidence",
    "at", "q2", "points", "note",
)  # fmt: skip


def _required(columns: Iterable[str]) -> tuple[str, ...]:
    """Columns but flags, which tables of earlier versions have not."""
    return tuple(name for name in columns if name != "flags")


COLUMNS_OF: dict[str, tuple[str, ...]] = {
    INDEX: INDEX_COLUMNS,
    "comparisons.csv": COMPARISON_COLUMNS,
    CURVES: ("variant", "construct", *CURVE_COLUMNS),
    "shaft.csv": ("variant", *SHAFT_COLUMNS),
    "brackets.csv": ("variant", *_required(BRACKET_COLUMNS)),
    "published.csv": ("variant", *PUBLISHED_COLUMNS),
    "design.csv": ("variant", "status", "reason"),
    "sensitivity.csv": SENSITIVITY,
    **{name: _required(columns) for name, columns in COLUMNS_OF_EXPLORED.items()},
}
NUMBERS = frozenset((
    "a_value", "b_value", "difference", "difference_percent", "combined_error", "factor",
    "gap_movement_mm", "gap_axial_movement_mm", "gap_rotation_deg", "stress_MPa", "lowest",
    "lowest_error", "highest", "highest_error", "span", "model", "model_error", "ratio", "value",
    "confidence", "q2", "samples", "uncovered", "a_lower_percent", "a_higher_percent",
    "undecided_percent", "sampling_error_percent", "turned_by_share", "flip_distance",
    "tissue_modulus_mpa", "error", "other_value", "effect_percent", "seconds",
))  # fmt: skip
WORDS = {"sensitivity.csv": ("factor",)}  # which in this table is the key of one


def look_through(folder: Path) -> None:
    """Hold the tables of a run against what a run writes, so that whoever reads them need not.

    Raises
    ------
    StudyError
        If one lacks a column or has a row of another length, or a number in it is none.
    """
    for name, columns in COLUMNS_OF.items():
        path = folder / name
        numbers = [one for one in columns if one in NUMBERS and one not in WORDS.get(name, ())]
        if path.exists():
            _look_through(path, columns, numbers)


def _look_through(path: Path, columns: Collection[str], numbers: Collection[str]) -> None:
    for number, row in enumerate(each_row(path, columns), start=2):
        for name in numbers:
            try:
                float(row[name] or 0)
            except ValueError:
                raise StudyError(
                    f"{path}, line {number}: {name} = {row[name][:40]!r}: allowed is a number; give "
                    "the table as a run wrote it"
                ) from None
