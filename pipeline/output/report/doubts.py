"""What is flagged: how many rows of each construct, by what, and where the page says so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pipeline.output.report.cells import Entry
from pipeline.tables.groups import grouped

DAGGER = "†"


@dataclass(frozen=True)
class Doubts:
    """Flags of one construct.

    Parameters
    ----------
    name, anchor : str
        The construct, and the id of what the page says of it.
    rows, flagged : int
        How many rows it has, and how many of them are flagged.
    flags : dict of str to int
        How many rows carry which flag, the most frequent first.
    """

    name: str
    anchor: str
    rows: int
    flagged: int
    flags: dict[str, int]


def doubts_in(entries: Sequence[Entry], names: Sequence[str], anchor: str) -> dict[str, Doubts]:
    """Flags of each construct that has any; ids are an anchor and the construct's number."""
    found, held = {}, grouped(entries, lambda one: one["construct"])
    for number, name in enumerate(names, start=1):
        own = held.get(name, [])
        flags = Counter(flag for entry in own for flag in flags_in([entry]))
        if flags:
            flagged = sum(bool(entry["flags"]) for entry in own)
            place = f"{anchor}-{number}"
            found[name] = Doubts(name, place, len(own), flagged, dict(flags.most_common()))
    return found


def flags_in(entries: Iterable[Entry | None]) -> list[str]:
    """Flags of some rows, each once."""
    said = (flag for entry in entries if entry for flag in entry["flags"].split("; "))
    return list(dict.fromkeys(filter(None, said)))
