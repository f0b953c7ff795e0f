"""One factor at a time: how far each moves a result from that of the study as written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from pipeline.study.factors import Factor
from pipeline.sweeps.variants import Point

INDICES = ("low", "high", "swing")
Change = tuple[object, float]  # a factor's value, and the result's change, percent


def tornado(
    factors: Iterable[Factor], points: Sequence[Point], values: NDArray[np.float64]
) -> Iterator[dict[str, object]]:
    """Low, high and swing of a result for each factor, in percent of the study as written.

    The values (n,) are of the result at the points of the design, NaN where a point has none. The
    lowest and the highest value of a factor are its first and last where they are words; a single other
    value is the high one unless it is less than that of the study.
    """
    base = next((v for p, v in zip(points, values, strict=True) if not p.moved), np.nan)
    for factor in factors:
        common = {"factor": factor.key, "label": factor.name, "method": "one_at_a_time"}
        own = [(p, v) for p, v in zip(points, values, strict=True) if factor.key in p.moved]
        reason = _reason(base, [p.name for p, v in own if not isfinite(v)])
        if reason or not own:
            note = reason or "the factor has no other value than the study"
            for index in INDICES:
                yield {**common, "index": index, "value": "", "at": "", "note": note}
            continue
        changes: list[Change] = [(p.moved[factor.key], 100 * (float(v) / base - 1)) for p, v in own]
        low, high = _ends(changes, factor, points[0].values[factor.key])
        sizes = [0.0, *(change for _, change in changes)]
        swing = ("", max(sizes) - min(sizes))
        for index, (at, change) in zip(INDICES, (low, high, swing), strict=True):
            yield {**common, "index": index, "value": change, "at": at, "note": ""}


def _reason(base: float, missing: Sequence[str]) -> str:
    """Why there is no change in percent."""
    if not isfinite(base):
        return "the study as written has no result"
    if base == 0:
        return "the study as written has 0, of which nothing is a percentage"
    return f"{', '.join(missing)} without result" if missing else ""


def _ends(changes: list[Change], factor: Factor, written: object) -> tuple[Change, Change]:
    """Change at the lowest and at the highest value; the study's own stands in for a missing one."""
    if factor.is_numeric:
        changes = sorted(changes, key=lambda change: float(str(change[0])))
    if len(changes) > 1:
        return changes[0], changes[-1]
    own: Change = ("" if written is None else written, 0.0)
    only = changes[0]
    is_below = factor.is_numeric and written is not None and float(str(only[0])) < float(str(written))
    return (only, own) if is_below else (own, only)
