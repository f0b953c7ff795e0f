"""What a plate adds to a nail against published ratios: the one gate that needs two constructs."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from pipeline.measures.plausibility import BY_ENERGY, plate_doubts

Row = dict[str, object]


def flag_added_plates(plated: Mapping[str, Collection[str]], table: Sequence[Row]) -> None:
    """Add to the flags of stiffness rows of a nail with a plate where the ratio is not plausible.

    Only under pure loads: those that have a stiffness by energy.

    Parameters
    ----------
    plated : mapping of str to collection of str
        Constructs with a plate over the very nail that ``percent_of_nail_only`` compares them with,
        by name; of each its stages without tissue, in which it is like a test on a bench.
    table : sequence of dict
        Rows of all constructs; flags are added in place.
    """
    rows = [row for row in table if row["construct"] in plated and "percent_of_nail_only" in row]
    pure = {_key(row) for row in rows if str(row["quantity"]).endswith(BY_ENERGY)}
    for row in rows:
        if _key(row) in pure:
            is_bench = row["stage"] in plated[str(row["construct"])]
            ratio = float(str(row["percent_of_nail_only"])) / 100
            doubts = plate_doubts(str(row["quantity"]), ratio, is_bench=is_bench)
            row["flags"] = "; ".join(filter(None, (str(row["flags"]), *doubts)))


def _key(row: Row) -> tuple[object, ...]:
    """Construct, stage, load and what is measured, however it is."""
    quantity = str(row["quantity"]).removesuffix(BY_ENERGY)
    return row["construct"], row["stage"], row["load"], quantity
