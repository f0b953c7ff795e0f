"""The view that turns: surfaces of each construct with the fields of its stages and loads."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from pipeline.output.model import STRESS, Stored, read_stored
from pipeline.output.report.run import ReportedRun
from pipeline.output.scene import HAIR_MM, STEEL
from pipeline.output.shells import (
    STEP_MM,
    TOP,
    Shown,
    gap_frame,
    legend,
    looks,
    shells,
    tops,
)

MOST_BYTES = 11_000_000  # of surfaces and fields, so that the page stays under 20 MB


def solids(run: ReportedRun) -> dict[str, Any]:
    """Surfaces of constructs until the page is full, then as many stages and loads as it has room for.

    Returns
    -------
    dict
        Empty if no fields are stored; else what all constructs share (`step` and `cut` in mm, `top`,
        `steel`, `looks`), `constructs` with `name`, `shells`, `legend` and `gap` each, and `left` with
        the names that found no room; `shows` with stage, load and colour ranges in the order of the
        shells' fields, `stages` with the modulus of each tissue, and `without` with stages and loads
        that found no room.
    """
    cases = {name: read_stored(run.out, name) for name in run.with_fields}
    wanted = _stored(run, list(cases.values()))
    if not cases or not wanted:
        return {}
    ranges = {shown: tops(list(cases.values()), shown) for shown in wanted}
    constructs, left, size = [], [], 0
    for name, case in cases.items():
        own = shells(case, ranges) if size < MOST_BYTES else []
        size += sum(_size(shell, 1) for shell in own)
        if own and size < MOST_BYTES:
            named = {"name": name, "legend": legend(case), "gap": place_of_gap(case)}
            constructs.append(named | {"shells": own})
        else:
            left.append(name)
    count = _fitting([shell for one in constructs for shell in one["shells"]], len(wanted))
    for one in constructs:
        for shell in one["shells"]:
            del shell["fields"][count:]
    return {
        "step": STEP_MM, "cut": -HAIR_MM, "top": TOP, "steel": STEEL, "looks": looks(),
        "constructs": constructs, "left": left,
        "shows": [{"stage": s, "load": p, "tops": ranges[s, p]} for s, p in wanted[:count]],
        "without": [f"{stage} under {load}" for stage, load in wanted[count:]],
        "stages": {one.name: one.material().modulus for one in run.study.stages},
    }  # fmt: skip


def place_of_gap(case: Stored) -> dict[str, list[float]] | None:
    """The gap's frame, or that of its place in whole bone, which has no cells of its own there."""
    found, gap = gap_frame(case), case.summary["gap"]
    if found is not None or gap is None:
        return found
    middle, half = gap["height_mm"], gap["length_mm"] / 2
    x, y, z = case.grid.points.T
    beside = np.abs(z - middle) < max(half, gap["radius_mm"])  # where any mesh has nodes
    (x0, x1), (y0, y1) = ((float(a[beside].min()), float(a[beside].max())) for a in (x, y))
    return {
        "at": [-(x0 + x1) / 2, (y0 + y1) / 2, middle],
        "half": [(x1 - x0) / 2, (y1 - y0) / 2, half],
    }


def _stored(run: ReportedRun, cases: list[Stored]) -> list[Shown]:
    """Stages and loads that any construct has fields of, the study's shown ones first."""
    study = run.study
    every = [(stage.name, load.name) for stage in study.stages for load in study.loads]
    found = [one for one in every if any(case.has(*one) for case in cases)]
    if not found and any(case.values(STRESS, *study.shown) is not None for case in cases):
        return [study.shown]  # an intact bone alone
    return sorted(found, key=lambda one: [a != b for a, b in zip(one, study.shown, strict=True)])


def _fitting(every: list[dict[str, Any]], count: int) -> int:
    """How many stages and loads the page has room for, one at least."""
    fits = (n for n in range(count, 1, -1) if sum(_size(shell, n) for shell in every) < MOST_BYTES)
    return next(fits, 1)


def _size(shell: dict[str, Any], count: int) -> int:
    texts: Iterable[str] = (shell["points"], shell["cells"], *shell["fields"][:count])
    return sum(map(len, texts))
