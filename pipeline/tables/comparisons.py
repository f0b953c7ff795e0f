"""Which differences between constructs are larger than what their meshes may be wrong by."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from math import isfinite
from operator import attrgetter
from typing import Any

from pipeline.measures.dictionary import BY_SIZE, HEADLINE, PEAK, QUANTITIES
from pipeline.measures.noise import kind_of
from pipeline.storage.files import Cells
from pipeline.tables.flagged import whose
from pipeline.tables.groups import grouped
from pipeline.tables.lookup import highest
from pipeline.tables.rows import INTACT_STAGE, Key, Row

GAP_COLUMNS = ("site", "gap_mm", "gap_shape")
COMPARISON_COLUMNS = (
    "variant", "a", "b", *GAP_COLUMNS, *Key._fields, "unit", "a_value", "b_value", "difference",
    "difference_percent", "combined_error", "verdict", "compared_by", "flags",
)  # fmt: skip
LEAST_BASE = 1e-3  # of the largest of its kind, from which a value may be the base of a percentage
UNDECIDED, UNKNOWN = "undecided", "unknown error"


def verdict(difference: float, combined: float) -> str:
    """What may be said of b - a: only what exceeds the sum of both errors is a difference."""
    if not isfinite(combined):
        return UNKNOWN
    if abs(difference) <= combined:
        return UNDECIDED
    return "a lower" if difference > 0 else "a higher"


def relate(rows: Sequence[Row], references: Mapping[str, Mapping[str, str]]) -> list[Row]:
    """Fill the columns of percentages, and name in ``undecided`` those that the errors leave open.

    The rows are of one variant; `references` says for each column what each construct is compared with.
    """
    sound = {(row.construct, row.key): row for row in _not_nil(rows)}
    return [_related(row, references, sound) for row in rows]


def _not_nil(rows: Sequence[Row]) -> Iterator[Row]:
    """Sound rows that others may be a percentage of.

    What symmetry makes all but nil against the largest value of its kind, under the same load, is the
    mesh's lack of symmetry, and nothing is a percentage of that.
    """
    found = [(row, _load_and_kind(row)) for row in rows if row.is_ok]
    largest: dict[tuple[str, ...], float] = {}
    for row, key in found:
        largest[key] = max(largest.get(key, 0.0), abs(row.number))
    for row, key in found:
        if row.number and (not key[-1] or abs(row.number) >= LEAST_BASE * largest[key]):
            yield row


def _load_and_kind(row: Row) -> tuple[str, ...]:
    """Whose, where and of what kind a value is."""
    kind = kind_of(row.quantity) if row.quantity in QUANTITIES else ""
    return row.construct, row.stage, row.load, kind


def _related(
    row: Row, references: Mapping[str, Mapping[str, str]], sound: Mapping[tuple[str, Key], Row]
) -> Row:
    shares: dict[str, Any] = {}
    doubts = []
    for column, reference in references.items():
        base = _base(row, reference.get(row.construct), sound)
        if base is None:
            continue
        shares[column] = 100 * row.number / base.number
        if base is not row:
            said = verdict(row.number - base.number, row.half + base.half)
            doubts += {UNDECIDED: [column], UNKNOWN: [f"{column} ({UNKNOWN})"]}.get(said, [])
    if not shares:
        return row
    return replace(row, undecided="; ".join(doubts), **shares)


def _base(row: Row, name: str | None, sound: Mapping[tuple[str, Key], Row]) -> Row | None:
    """The value that a row is a percentage of; the intact femur has but one stage."""
    if name is None or not row.is_ok:
        return None
    stages = (row.stage, INTACT_STAGE)
    found = (sound.get((name, row.key._replace(stage=stage))) for stage in stages)
    return next((base for base in found if base is not None), None)


def comparison_rows(rows: Iterable[Row], groups: Mapping[str, Hashable]) -> Iterator[Cells]:
    """Compare the headline quantities of each two constructs of a group, without any order of merit.

    The rows are of one variant; `groups` says what constructs must share to be compared: their gap.
    """
    found: dict[str, dict[Key, Row]] = {}
    for row in headline_rows(rows):
        if row.construct in groups:
            found.setdefault(row.construct, {})[row.key] = row
    for a, b in combinations(found, 2):
        if groups[a] == groups[b]:
            shared = (key for key in found[a] if key in found[b])
            yield from (_compared(found[a][key], found[b][key]) for key in shared)


def headline_rows(rows: Iterable[Row], wanted: Collection[str] = HEADLINE) -> list[Row]:
    """Sound rows of some quantities, and the highest stress of any implant besides."""
    listed = [row for row in rows if row.is_ok and row.quantity in wanted]
    peaks = [row for row in listed if row.quantity == PEAK]
    parts = grouped(peaks, attrgetter("variant", "construct", "stage", "load"))
    return [*listed, *map(highest, parts.values())]


def _compared(a: Row, b: Row) -> Cells:
    difference, combined = b.size - a.size, a.half + b.half
    how = "size" if a.quantity in BY_SIZE else "value"
    unlike = ", of unlike sign" if a.number * b.number < 0 else ""
    cells = a.cells()
    return {
        **{column: cells[column] for column in ("variant", *GAP_COLUMNS, *Key._fields, "unit")},
        "a": a.construct,
        "b": b.construct,
        "a_value": a.number,
        "b_value": b.number,
        "difference": difference,
        "difference_percent": 100 * difference / abs(a.size) if a.size else "",
        "combined_error": combined if isfinite(combined) else "",
        "verdict": verdict(difference, combined),
        "compared_by": how + unlike,
        "flags": whose({"a": a.flags, "b": b.flags}),
    }
