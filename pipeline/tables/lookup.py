"""One result of a study, looked up in its table, or the sentence why it is not there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Protocol

from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.tables.comparisons import INTACT_STAGE, Row, error_of, number


class Asked(Protocol):
    """What is looked up: a quantity at a location, or at the only one it has, for a stage and load."""

    @property
    def quantity(self) -> str:
        """Quantity of the dictionary."""

    @property
    def location(self) -> str | None:
        """Where it is read."""

    @property
    def stage(self) -> str:
        """Tissue stage."""

    @property
    def load(self) -> str:
        """Load."""


@dataclass(frozen=True)
class Reading:
    """A result, or why there is none; how far its mesh errs, infinite if unknown; and its doubts."""

    value: float | None
    reason: str = ""
    flags: str = ""
    error: float = inf


def look_up(asked: Asked, construct: str, table: Sequence[Row]) -> Reading:
    """One construct's result.

    Parameters
    ----------
    asked : Asked
        Which. The stress that is compared has a location ``highest`` besides: that of any implant.
    construct : str
        Whose.
    table : sequence of mapping
        Rows of ``results.csv``, of one variant if the study has several.
    """
    stages = ("", asked.stage, INTACT_STAGE)  # none where a whole case failed
    own = [row for row in table if row["construct"] == construct]
    of_load = [
        row
        for row in own
        if (row.get("stage") or "") in stages and (row.get("load") or asked.load) == asked.load
    ]
    failed = [str(row["reason"]) for row in of_load if row["status"] != "ok"]
    if failed:
        return Reading(None, f"{construct} failed: {failed[0]}")
    found = [row for row in of_load if row["quantity"] == asked.quantity]
    wanted = _at(asked, found)
    if wanted:
        row = max(wanted, key=number)
        return Reading(number(row), flags=str(row.get("flags") or ""), error=error_of(row))
    places = ", ".join(dict.fromkeys(str(row["location"]) for row in found)) or "nowhere"
    return Reading(
        None,
        f"{construct} has {asked.quantity} under {asked.load} at: {places}; correct the location, "
        "quantity or load",
    )


def _at(asked: Asked, found: list[Row]) -> list[Row]:
    """The row at the location that is asked for; all of which the highest is meant."""
    if asked.quantity == PEAK and asked.location == HIGHEST:
        return found
    if asked.location is None:
        return found if len(found) == 1 else []
    return [row for row in found if row["location"] == asked.location][:1]
