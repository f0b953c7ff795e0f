"""Which differences between constructs are larger than what their meshes may be wrong by."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from itertools import combinations
from math import inf, isfinite

from pipeline.measures.dictionary import BY_SIZE, HEADLINE, HIGHEST, PEAK

KEY_COLUMNS = ("stage", "load", "quantity", "location")
GAP_COLUMNS = ("site", "gap_mm", "gap_shape")
COMPARISON_COLUMNS = (
    "variant", "a", "b", *GAP_COLUMNS, *KEY_COLUMNS, "unit", "a_value", "b_value", "difference",
    "difference_percent", "combined_error", "verdict", "compared_by", "flags",
)  # fmt: skip
INTACT_STAGE = "intact"
UNDECIDED, UNKNOWN = "undecided", "unknown error"
Row = Mapping[str, object]
Key = tuple[object, ...]


def number(row: Row) -> float:
    """Value of a row."""
    return float(str(row["value"]))


def error_of(row: Row) -> float:
    """Error of a row's value in its own unit; infinite where none is known."""
    share = str(row.get("error", ""))
    return abs(number(row)) * float(share) / 100 if share else inf


def size_of(row: Row) -> float:
    """What of a row's value is compared: its size where the sign only says which way."""
    return abs(number(row)) if row["quantity"] in BY_SIZE else number(row)


def key_of(row: Row) -> Key:
    """What the rows of two constructs must share to be compared."""
    return tuple(row.get(column) for column in KEY_COLUMNS)


def verdict(difference: float, combined: float) -> str:
    """What may be said of b - a: only what exceeds the sum of both errors is a difference."""
    if not isfinite(combined):
        return UNKNOWN
    if abs(difference) <= combined:
        return UNDECIDED
    return "a lower" if difference > 0 else "a higher"


def label_of(row: Row) -> str:
    """Variant and construct of a row, as one word."""
    variant = row.get("variant", "")
    return f"{variant}-{row['construct']}" if variant else str(row["construct"])


def relate(table: list[dict[str, object]], references: Mapping[str, Mapping[str, str]]) -> None:
    """Fill the columns of percentages, and name in ``undecided`` those that the errors leave open.

    Parameters
    ----------
    table : list of dict
        Rows of the study's table; they are changed.
    references : mapping of str to mapping of str to str
        For each column of percentages, what each construct is compared with.
    """
    sound = {(row["construct"], *key_of(row)): row for row in table if row["status"] == "ok"}
    for row in table:
        doubts = []
        for column, reference in references.items():
            base = _base(row, reference, sound)
            if base is None:
                continue
            row[column] = 100 * number(row) / number(base)
            if base is not row:
                said = verdict(number(row) - number(base), error_of(row) + error_of(base))
                doubts += {UNDECIDED: [column], UNKNOWN: [f"{column} ({UNKNOWN})"]}.get(said, [])
        row["undecided"] = "; ".join(doubts)


def _base(row: Row, reference: Mapping[str, str], sound: Mapping[Key, Row]) -> Row | None:
    """The value that a row is a percentage of; the intact femur has but one stage."""
    name = reference.get(str(row["construct"]))
    if name is None or row["status"] != "ok":
        return None
    found = (sound.get((name, *key_of({**row, "stage": one}))) for one in (row["stage"], INTACT_STAGE))
    return next((base for base in found if base is not None and number(base)), None)


def comparison_rows(
    table: Iterable[Row], groups: Mapping[str, Hashable]
) -> Iterator[dict[str, object]]:
    """Compare the headline quantities of each two constructs of a group, without any order of merit.

    Parameters
    ----------
    table : iterable of mapping
        Rows of the study's table.
    groups : mapping of str to hashable
        What constructs must share to be compared: their gap.
    """
    found: dict[str, dict[Key, Row]] = {}
    for row in headline_rows(table):
        if row["construct"] in groups:
            found.setdefault(str(row["construct"]), {})[key_of(row)] = row
    for a, b in combinations(found, 2):
        if groups[a] == groups[b]:
            shared = (key for key in found[a] if key in found[b])
            yield from (_compared(found[a][key], found[b][key]) for key in shared)


def headline_rows(table: Iterable[Row]) -> list[Row]:
    """Sound rows of the headline quantities, and the highest stress of any implant besides."""
    rows = [row for row in table if row["status"] == "ok" and row["quantity"] in HEADLINE]
    parts: dict[Key, list[Row]] = {}
    for row in rows:
        if row["quantity"] == PEAK:
            parts.setdefault((row["construct"], *key_of({**row, "location": HIGHEST})), []).append(row)
    return [*rows, *map(_highest, parts.values())]


def _highest(parts: list[Row]) -> Row:
    """Row of the part of highest value, with an error that holds for the highest of any part.

    That lies between the largest lower and the largest upper bound; an unknown error bounds nothing.
    """
    top = max(parts, key=number)
    value = number(top)
    upper = max(number(part) + error_of(part) for part in parts)
    lower = max(number(part) - error_of(part) for part in parts)
    error = max(upper - value, value - lower)
    share = f"{100 * error / value:.3g}" if value and isfinite(error) else ""
    return {**top, "location": HIGHEST, "part": top["location"], "error": share}


def _compared(a: Row, b: Row) -> dict[str, object]:
    values = number(a), number(b)
    first, second = size_of(a), size_of(b)
    difference, combined = second - first, error_of(a) + error_of(b)
    how = "size" if a["quantity"] in BY_SIZE else "value"
    unlike = ", of unlike sign" if values[0] * values[1] < 0 else ""
    flags = [f"{name}: {row['flags']}" for name, row in (("a", a), ("b", b)) if row.get("flags")]
    return {
        **{column: a.get(column, "") for column in ("variant", *GAP_COLUMNS, *KEY_COLUMNS, "unit")},
        "a": a["construct"],
        "b": b["construct"],
        "a_value": values[0],
        "b_value": values[1],
        "difference": difference,
        "difference_percent": 100 * difference / abs(first) if first else "",
        "combined_error": combined if isfinite(combined) else "",
        "verdict": verdict(difference, combined),
        "compared_by": how + unlike,
        "flags": "; ".join(flags),
    }
