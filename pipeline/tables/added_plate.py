"""What a plate adds to a nail against published ratios: the one gate that needs two constructs."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from pipeline.measures.plausibility import BY_ENERGY, plate_doubts
from pipeline.tables.rows import Key, Row


def flag_added_plates(plated: Mapping[str, Collection[str]], rows: Iterable[Row]) -> list[Row]:
    """Add to the flags of stiffness rows of a nail with a plate where the ratio is not plausible.

    Only under pure loads: those that have a stiffness by energy. A row without a percentage, whose
    nail alone failed or is zero, has no ratio to judge.

    Parameters
    ----------
    plated : mapping of str to collection of str
        Constructs with a plate over the very nail that ``percent_of_nail_only`` compares them with,
        by name; of each its stages without tissue, in which it is like a test on a bench.
    rows : iterable of Row
        Of one variant, related to each other.
    """
    listed = list(rows)
    judged = [row for row in listed if row.construct in plated and row.percent_of_nail_only is not None]
    pure = {_measured(row) for row in judged if row.quantity.endswith(BY_ENERGY)}
    flagged = []
    for row in listed:
        share = row.percent_of_nail_only
        if row.construct in plated and share is not None and _measured(row) in pure:
            is_bench = row.stage in plated[row.construct]
            doubts = plate_doubts(row.quantity, share / 100, is_bench=is_bench)
            row = replace(row, flags="; ".join((*row.doubts, *doubts)))
        flagged.append(row)
    return flagged


def _measured(row: Row) -> tuple[str, Key]:
    """Construct, and what is measured, however it is."""
    return row.construct, row.key._replace(quantity=row.quantity.removesuffix(BY_ENERGY), location="")
