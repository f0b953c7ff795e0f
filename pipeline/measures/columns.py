"""The data dictionary of what tables hold besides quantities."""

from __future__ import annotations

from pipeline.measures.dictionary import BY_SIZE, HIGHEST, Quantity

ESTIMATED, CLASSED = "estimated on one mesh", "of its class"
EXACT, UNKNOWN = "none but round-off", "not known from one mesh"
"""What the error of a value on one mesh is known from."""
REDUCED = "reduced model"
"""What opens the words on an error of a value that a reduced model gave."""
ROUND_OFF = "round-off"  # said of what is nil beside all of its kind
_TABLE = "results.csv"
_PAIRS = "comparisons.csv"
COLUMNS: dict[str, Quantity] = {
    "error": Quantity(
        "%", _TABLE,
        "How far the mesh may be wrong, half of the width of a bar round the value, percent of it; "
        "empty where nobody knows. The column mesh says what it is known from.",
    ),
    "mesh": Quantity(
        "", _TABLE,
        f"{ESTIMATED}: from what this load leaves over on a finer space, for stiffness and movement. "
        f"{CLASSED}: a share that held for results like it, and says little of this one. {EXACT}: "
        f"sums of nodal forces, and volumes. {UNKNOWN}: places, residuals, screws between plate and "
        f"bone. {ROUND_OFF}: nil. three meshes: their grid-convergence index, and how values go on. "
        "borrowed: the largest of like results of constructs that ran on three meshes. "
        f"{REDUCED}: the row was evaluated through one, whose own error is told and added to that of "
        "the mesh, as the variant that is named has it.",
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
