"""One result of a study, looked up among its rows, or the sentence why it is not there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isfinite
from typing import Protocol

from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.tables.rows import INTACT_STAGE, Row


class Wanted(Protocol):
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


@dataclass(frozen=True, eq=False)
class Results:
    """Results of one variant, in the order of the table, by what is asked of them."""

    rows: Sequence[Row]

    @cached_property
    def constructs(self) -> list[str]:
        """Names of its constructs in the order of the table."""
        return list(dict.fromkeys(row.construct for row in self.rows))

    def find(
        self, construct: str, quantity: str, location: str | None, stage: str, load: str | None
    ) -> Row | None:
        """One construct's sound result.

        Parameters
        ----------
        construct, quantity, stage : str
            Whose and which. Where there is no gap there is but one stage.
        location : str or None
            Where it is read; None is its only place. The stress that is compared has a location
            ``highest`` besides: that of any implant.
        load : str or None
            Under which load; None is the first that has it.
        """
        own = [
            row
            for row in self._sound.get((construct, quantity), ())
            if row.stage in (stage, INTACT_STAGE) and load in (None, row.load)
        ]
        if location is None:
            return own[0] if len(own) == 1 else None
        if quantity == PEAK and location == HIGHEST:
            under = [row for row in own if row.load == own[0].load]
            return highest(under) if under else None
        return next((row for row in own if row.location == location), None)

    @cached_property
    def _sound(self) -> dict[tuple[str, str], list[Row]]:
        found: dict[tuple[str, str], list[Row]] = {}
        for row in self.rows:
            if row.is_ok:
                found.setdefault((row.construct, row.quantity), []).append(row)
        return found

    def look_up(self, asked: Wanted, construct: str) -> Reading:
        """One construct's result, or why there is none."""
        stages = ("", asked.stage, INTACT_STAGE)  # none where a whole case failed
        of_load = [
            row
            for row in self.rows
            if row.construct == construct and row.stage in stages and row.load in ("", asked.load)
        ]
        failed = [row.reason for row in of_load if not row.is_ok]
        if failed:
            return Reading(None, f"{construct} failed: {failed[0]}")
        row = self.find(construct, asked.quantity, asked.location, asked.stage, asked.load)
        if row is not None:
            return Reading(row.number, flags=row.flags, error=row.half)
        there = dict.fromkeys(one.location for one in of_load if one.quantity == asked.quantity)
        return Reading(
            None,
            f"{construct} has {asked.quantity} under {asked.load} at: {', '.join(there) or 'nowhere'}; "
            "correct the location, quantity or load",
        )


def ratio_error(own: Reading, other: Reading) -> float:
    """How far the errors of two results in sum leave their ratio open; infinite if one is not known."""
    if not own.value or not other.value:
        return inf
    share = abs(own.error / own.value) + abs(other.error / other.value)
    return abs(own.value / other.value) * share


def highest(parts: Iterable[Row]) -> Row:
    """Row of the part of highest value, with an error that holds for the highest of any part.

    That lies between the largest lower and the largest upper bound; an unknown error bounds nothing. A
    part whose stress is nil beside the others' is none of them.
    """
    listed = list(parts)
    parts = [part for part in listed if part.number] or listed
    top = max(parts, key=lambda part: part.number)
    upper = max(part.number + part.half for part in parts)
    lower = max(part.number - part.half for part in parts)
    error = max(upper - top.number, top.number - lower)
    is_known = bool(top.number) and isfinite(error)
    share = float(f"{100 * error / top.number:.3g}") if is_known else None
    return replace(top, location=HIGHEST, part=top.location, error=share)
