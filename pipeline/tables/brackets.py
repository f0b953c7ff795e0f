"""How far results lie apart between the bounds of an interface that nobody knows."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite
from operator import itemgetter

from geometries.constructs import Construct
from pipeline.storage.files import Cells
from pipeline.tables.flagged import whose
from pipeline.tables.rows import Key, Row

KEY_COLUMNS = (*Key._fields, "unit")
BRACKET_COLUMNS = (
    "construct", *KEY_COLUMNS, "lowest", "lowest_with", "lowest_error", "highest",
    "highest_with", "highest_error", "span", "singular", "flags",
)  # fmt: skip
APART = "; "  # between the bounds that are singular


def bracket_rows(constructs: Iterable[Construct], rows: Iterable[Row]) -> list[Cells]:
    """Lowest and highest sound value of each result over the variants of the study file's constructs.

    A result that fewer than two variants have is left out. Errors are those of the meshes, in the
    unit of the result, where they are known. Bounds whose value is singular are named: it has no
    limit, and with it an end or a span must not be quoted. Flags are those of the two ends.
    """
    names = {
        variant.name: (construct.name, words)
        for construct in constructs
        for variant, words in construct.at_bounds()
        if words
    }
    found: dict[tuple[str, ...], list[tuple[float, str, object, str]]] = {}
    singular: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        if row.construct in names and row.is_ok:
            name, words = names[row.construct]
            end = row.number, words, row.half if isfinite(row.half) else "", row.flags
            which = (name, *row.key, row.unit)
            found.setdefault(which, []).append(end)
            singular.setdefault(which, []).extend([words] if row.is_singular else [])
    table = []
    for key, values in found.items():
        if len(values) > 1:
            low, high = min(values, key=itemgetter(0)), max(values, key=itemgetter(0))
            flags = whose({"lowest": low[-1], "highest": high[-1]})
            ends = (*low[:-1], *high[:-1], high[0] - low[0])
            cells = (*key, *ends, APART.join(singular[key]), flags)
            table.append(dict(zip(BRACKET_COLUMNS, cells, strict=True)))
    return table
