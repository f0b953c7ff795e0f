"""Published measurements set beside the results of a study."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import isfinite

from pipeline.storage.files import Cells
from pipeline.study.published import Published
from pipeline.tables.lookup import Reading, Results, ratio_error
from pipeline.tables.rows import Row

PUBLISHED_COLUMNS = (
    "name", "what", "model", "model_error", "measured", "spread", "ratio", "unit", "standing", "reason",
    "flags", "source", "differs",
)  # fmt: skip


def published_rows(entries: Iterable[Published], rows: Sequence[Row]) -> list[Cells]:
    """Set each published measurement of the study file beside the results of one variant.

    Rows have the cells of ``PUBLISHED_COLUMNS``; without a sound result the model's is empty and the
    reason says why. Nothing is passed or failed.
    """
    results = Results(rows)
    return [_row(entry, _model(entry, results)) for entry in entries]


def _row(entry: Published, model: Reading) -> Cells:
    measured = entry.measured
    return {
        "name": entry.name,
        "what": entry.what,
        "model": "" if model.value is None else model.value,
        "model_error": model.error if isfinite(model.error) else "",
        "measured": entry.direction if measured is None else measured,
        "spread": "" if entry.spread is None else entry.spread,
        "ratio": model.value / measured if model.value is not None and measured else "",
        "unit": entry.unit,
        "standing": "" if model.value is None else _standing(entry, model.value),
        "reason": model.reason,
        "flags": model.flags,
        "source": entry.source,
        "differs": entry.differs,
    }


def _standing(entry: Published, value: float) -> str:
    """Where a result lies beside what was measured."""
    if entry.measured is None:
        same = (abs(value) > 1) == (entry.direction == "more")
        return f"{'same' if same else 'opposite'} direction"
    if entry.spread is None:
        return "no spread published"
    inside = abs(value - entry.measured) <= entry.spread
    return f"{'inside' if inside else 'outside'} the spread"


def _model(entry: Published, results: Results) -> Reading:
    """The study's own result in the form of the measurement."""
    own = results.look_up(entry, entry.of)
    if entry.against is None or own.value is None:
        return own
    other = results.look_up(entry, entry.against)
    if other.value is None:
        return other
    if other.value == 0:
        return Reading(None, f"{entry.against} has 0, which nothing can be divided by")
    ratio = own.value / other.value
    value = ratio if entry.form == "ratio" else 100 * (ratio - 1)
    error = ratio_error(own, other) * (1 if entry.form == "ratio" else 100)
    doubts = [flag for text in (own.flags, other.flags) for flag in text.split("; ") if flag]
    return Reading(value, flags="; ".join(dict.fromkeys(doubts)), error=error)
