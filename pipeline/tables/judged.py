"""What a run again is judged by: the names of its two tables, and the words of their verdicts."""

from __future__ import annotations

JUDGED, REPRODUCTION = "claims.csv", "reproduction.csv"
CLAIM_COLUMNS = (
    "sentence", "source", "kind", "variant", "construct", "compared_with", "stage", "load", "quantity",
    "location", "what", "computed", "error", "stated", "allowed", "unit", "result", "reason", "flags",
)  # fmt: skip
HOLDS, FAILS, NOT_JUDGED, NOT_CHOSEN = "holds", "fails", "can not be judged", "not in the subset"
OPEN = "the error of the mesh leaves it open"
"""Among the reasons of a verdict that another mesh may turn."""
INSIDE, OUTSIDE = "inside", "outside"
"""Whether a quantity of ``reproduction.csv`` agrees with the bundle's."""
