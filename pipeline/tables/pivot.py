"""One result of each construct at each tissue stage."""

from __future__ import annotations

from collections.abc import Sequence

from geometries.errors import StudyError
from pipeline.measures.dictionary import known_quantity
from pipeline.tables.rows import INTACT_STAGE, Row

Place = tuple[str, str]


def by_construct_and_stage(
    rows: Sequence[Row], quantity: str, location: str, load: str
) -> dict[Place, Row]:
    """Rows of one result by construct and stage, failed and singular ones too.

    Raises
    ------
    StudyError
        If there is no such quantity, or no construct has it there; it says what there is.
    """
    try:
        of_quantity = [row for row in rows if row.quantity == known_quantity(quantity)]
    except ValueError as error:
        raise StudyError(f"quantity = {quantity!r}: {error}") from None
    found = [row for row in of_quantity if (row.location, row.load) == (location, load)]
    if not found:
        there = ", ".join(dict.fromkeys(f"{row.location} under {row.load}" for row in of_quantity))
        raise StudyError(
            f"{quantity} at {location!r} under {load!r}: no construct has it; allowed "
            f"{there or 'nothing, since no construct has this quantity'}: choose among these"
        )
    return {(row.construct, row.stage): row for row in found}


def in_order(places: Sequence[Place], stages: Sequence[str]) -> tuple[list[str], list[str]]:
    """Constructs as they come, and stages in the order of the study; that of whole bone is the last."""
    there = {stage for _, stage in places}
    names = dict.fromkeys(name for name, _ in places)
    return list(names), [stage for stage in (*stages, INTACT_STAGE) if stage in there]
