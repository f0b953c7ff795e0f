"""How far results lie apart between the bounds of an interface that nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isfinite
from operator import itemgetter

from geometries.constructs import Construct
from pipeline.tables.comparisons import error_of

KEY_COLUMNS = ("stage", "load", "quantity", "location", "unit")
BRACKET_COLUMNS = (
    "construct", *KEY_COLUMNS, "lowest", "lowest_with", "lowest_error", "highest",
    "highest_with", "highest_error", "span",
)  # fmt: skip


def bracket_rows(
    constructs: Iterable[Construct], table: Iterable[Mapping[str, object]]
) -> list[dict[str, object]]:
    """Lowest and highest sound value of each result over the variants of a construct.

    A result that fewer than two variants have is left out. Errors are those of the meshes, in the
    unit of the result, where they are known.

    Parameters
    ----------
    constructs : iterable of Construct
        Those of the study file.
    table : iterable of mapping
        Rows of all their variants.
    """
    names = {
        variant.name: (construct.name, words)
        for construct in constructs
        for variant, words in construct.at_bounds()
        if words
    }
    found: dict[tuple[object, ...], list[tuple[float, str, object]]] = {}
    for row in table:
        if row["construct"] in names and row["status"] == "ok":
            name, words = names[str(row["construct"])]
            key = (name, *(row[column] for column in KEY_COLUMNS))
            error = error_of(row)
            end = float(str(row["value"])), words, error if isfinite(error) else ""
            found.setdefault(key, []).append(end)
    rows = []
    for key, values in found.items():
        if len(values) > 1:
            low, high = min(values, key=itemgetter(0)), max(values, key=itemgetter(0))
            cells = (*key, *low, *high, high[0] - low[0])
            rows.append(dict(zip(BRACKET_COLUMNS, cells, strict=True)))
    return rows
