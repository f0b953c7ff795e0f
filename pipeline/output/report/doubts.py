"""What is flagged: how many rows of each construct, by what, and where the page says so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.output.report.cells import Entry
from pipeline.output.report.run import ReportedRun

DAGGER = "†"


@dataclass(frozen=True)
class Doubts:
    """Flags of one construct in the shown variant.

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


def doubts_of(run: ReportedRun) -> dict[str, Doubts]:
    """Flags of each construct of the shown variant that has any."""
    rows = Counter(entry["construct"] for entry in run.first)
    flagged = Counter(entry["construct"] for entry in run.first if entry["flags"])
    counted: dict[str, Counter[str]] = {name: Counter() for name in run.constructs}
    for entry in run.first:
        counted[entry["construct"]].update(flags_in([entry]))
    return {
        name: Doubts(name, f"flags-{number}", rows[name], flagged[name], dict(own.most_common()))
        for number, (name, own) in enumerate(counted.items(), start=1)
        if own
    }


def flags_in(entries: Iterable[Entry | None]) -> list[str]:
    """Flags of some rows, each once."""
    said = (flag for entry in entries if entry for flag in entry["flags"].split("; "))
    return list(dict.fromkeys(filter(None, said)))
