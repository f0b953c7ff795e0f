"""The data dictionary of what tables hold besides quantities."""

from __future__ import annotations

from pipeline.measures.dictionary import BY_SIZE, HIGHEST, Quantity

_TABLE = "results.csv"
_PAIRS = "comparisons.csv"
COLUMNS: dict[str, Quantity] = {
    "error": Quantity(
        "%", _TABLE,
        "Grid-convergence index of the value from three meshes, percent of it. Where the column mesh "
        "says estimated, it is the largest of like values of other constructs, and may be too small "
        "for a value that happens to be nearly zero.",
    ),
    "extrapolated": Quantity(
        "as value", _TABLE, "Value at zero mesh size by Richardson's extrapolation of three meshes.",
    ),
    "undecided": Quantity(
        "", _TABLE,
        "Percentages of the row that may as well be 100: the two values differ by no more than their "
        "errors in sum. One with an unknown error is named too.",
    ),
    "difference": Quantity(
        "as value", _PAIRS,
        f"b less a; of their sizes, without sign, in {' and '.join(BY_SIZE)}, where the sign says "
        "which way and a reader asks how much. compared_by says so, and where the signs are unlike.",
    ),
    "combined_error": Quantity(
        "as value", _PAIRS,
        "Sum of both absolute errors. Conservative: errors of like meshes partly cancel. The error of "
        f"the highest stress of any implant (location {HIGHEST}) holds for every part, and is unknown "
        "if that of one part is.",
    ),
    "verdict": Quantity(
        "", _PAIRS,
        "a lower or a higher if the difference exceeds the combined error, else undecided; unknown "
        "error if that of either is not known. It ranks nothing: lower is not said to be better.",
    ),
}  # fmt: skip
"""Columns of the tables that are no quantity."""
