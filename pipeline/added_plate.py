"""What a plate adds to a nail against published ratios: the one gate that needs two constructs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from geometries.constructs import Construct, NailConstruct, NailPlateConstruct
from pipeline.case import Case
from pipeline.measures.plausibility import BY_ENERGY, plate_doubts

Row = dict[str, object]


def flag_added_plates(cases: Sequence[Case], alone: Mapping[str, str], table: Sequence[Row]) -> None:
    """Add to the flags of stiffness rows of a nail with a plate where the ratio is not plausible.

    Only beside the same nail alone, and only under pure loads: those that have a stiffness by energy.

    Parameters
    ----------
    cases : sequence of Case
        All of the study.
    alone : mapping of str to str
        The nail that ``percent_of_nail_only`` compares each construct with, by name.
    table : sequence of dict
        Rows of all of them, with that column; flags are added in place.
    """
    constructs = {case.name: case.construct for case in cases}
    plated = {
        case.name: case
        for case in cases
        if _is_added(case.construct, constructs.get(alone.get(case.name, "")))
    }
    rows = [row for row in table if row["construct"] in plated and "percent_of_nail_only" in row]
    pure = {_key(row) for row in rows if str(row["quantity"]).endswith(BY_ENERGY)}
    for row in rows:
        if _key(row) in pure:
            case = plated[str(row["construct"])]
            empty = {stage.name for stage in case.stages if not stage.material().modulus}
            ratio = float(str(row["percent_of_nail_only"])) / 100
            doubts = plate_doubts(str(row["quantity"]), ratio, is_bench=row["stage"] in empty)
            row["flags"] = "; ".join(filter(None, (str(row["flags"]), *doubts)))


def _is_added(construct: Construct, alone: Construct | None) -> bool:
    return (
        isinstance(construct, NailPlateConstruct)
        and isinstance(alone, NailConstruct)
        and alone.nail == construct.nail
    )


def _key(row: Row) -> tuple[object, ...]:
    """Construct, stage, load and what is measured, however it is."""
    quantity = str(row["quantity"]).removesuffix(BY_ENERGY)
    return row["construct"], row["stage"], row["load"], quantity
