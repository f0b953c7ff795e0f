"""The mark of a flagged value and what it means: one sign and one footnote, wherever values stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pipeline.tables.rows import Row

MARK = "†"
FOOTNOTE = (
    f"{MARK} flagged: beyond the range in which the model means anything, or not plausible; "
    "results.csv says why under flags."
)


@dataclass(frozen=True)
class FlagReason:
    """Why values of a construct at a tissue stage under a load are flagged: all flags of theirs."""

    construct: str
    stage: str
    load: str
    flags: str

    @property
    def text(self) -> str:
        """Mark, place and flags in a line."""
        return f"{MARK} {self.construct}, {self.stage}, {self.load}: {self.flags}"


def mark_of(flags: str) -> str:
    """The mark where there are flags, else nothing."""
    return MARK if flags else ""


def whose(flags: Mapping[str, str]) -> str:
    """Flags of several values that stand in one row, each with what the value is called before it."""
    return "; ".join(f"{name}: {said}" for name, said in flags.items() if said)


def footnotes(is_flagged: bool) -> list[str]:
    """The footnote where something carries the mark, else nothing."""
    return [FOOTNOTE] if is_flagged else []


def flag_reasons(rows: Iterable[Row]) -> list[FlagReason]:
    """Why rows are flagged, by construct, stage and load in the order of the rows."""
    found: dict[tuple[str, str, str], dict[str, None]] = {}
    for row in rows:
        if row.flags:
            place = (row.construct, row.stage, row.load)
            found.setdefault(place, {}).update(dict.fromkeys(row.doubts))
    return [FlagReason(*place, "; ".join(doubts)) for place, doubts in found.items()]
