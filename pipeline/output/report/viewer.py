"""The view that turns: surfaces of each construct with the fields of its stages and loads."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from pipeline.output.model import STRESS, Stored, read_stored
from pipeline.output.report.following import (
    Field,
    Live,
    cells_of,
    shown_of,
    without_colours,
)
from pipeline.output.report.run import ReportedRun
from pipeline.output.scene import HAIR_MM, STEEL
from pipeline.output.shells import (
    NEAR,
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
MOST_WITH_MODELS = 15_000_000  # of these and of reduced models; tables and pictures take four


def solids(run: ReportedRun, live: Live | None) -> dict[str, Any]:
    """Surfaces of constructs until the page is full, then colours, stages and loads that find room.

    Parameters
    ----------
    run : ReportedRun
        The run.
    live : dict or None
        What its reduced models tell the page, if it has any: colours follow them.

    Returns
    -------
    dict
        Empty if no fields are stored; else what all constructs share (`step` and `cut` in mm, `top`,
        `steel`, `looks`), `constructs` with `name`, `shells`, `fields` that follow, `legend` and `gap`
        each, and with the names that found no room `left`, or `uncoloured` if their colours did not;
        `shows` with stage, load and colour ranges in the order of the shells' fields, `stages` with the
        modulus of each tissue, and `without` with stages and loads that found no room.
    """
    cases = {name: read_stored(run.out, name) for name in run.with_fields}
    wanted = _stored(run, list(cases.values()))
    if not cases or not wanted:
        return {}
    ranges = {shown: tops(list(cases.values()), shown) for shown in wanted}
    constructs: list[dict[str, Any]] = []
    left, size, followed = [], 0, cells_of(live)
    room = min(MOST_BYTES, MOST_WITH_MODELS - len(json.dumps(without_colours(live))))
    for name, case in cases.items():
        own = shells(case, ranges, followed.get(name, {})) if size < room else []
        size += sum(_size(shell, 1) for shell in own)
        if own and size < room:
            named = {"name": name, "legend": legend(case), "gap": gap_frame(case)}
            constructs.append(named | {"shells": own, "fields": {}})
        else:
            left.append(name)
    uncoloured = list(_without_colours(constructs, live, room))
    count = _fitting(constructs, len(wanted), room)
    for one in constructs:
        for shell in one["shells"]:
            del shell["fields"][count:]
    return {
        "step": STEP_MM, "cut": -HAIR_MM, "top": TOP, "steel": STEEL, "looks": looks(),
        "constructs": constructs, "left": left, "uncoloured": uncoloured,
        "shows": [{"stage": s, "load": p, "tops": ranges[s, p]} for s, p in wanted[:count]],
        "without": [f"{stage} under {load}" for stage, load in wanted[count:]],
        "stages": {one.name: one.material().modulus for one in run.study.stages},
    }  # fmt: skip


def _stored(run: ReportedRun, cases: list[Stored]) -> list[Shown]:
    """Stages and loads that any construct has fields of, the study's shown ones first."""
    study = run.study
    every = [(stage.name, load.name) for stage in study.stages for load in study.loads]
    found = [one for one in every if any(case.has(*one) for case in cases)]
    if not found and any(case.values(STRESS, *study.shown) is not None for case in cases):
        return [study.shown]  # an intact bone alone
    return sorted(found, key=lambda one: [a != b for a, b in zip(one, study.shown, strict=True)])


def _without_colours(
    constructs: Sequence[dict[str, Any]], live: Live | None, room: int
) -> Iterator[str]:
    """Give constructs the colours that follow until the page is full; names of those without room."""
    for one in constructs:
        fields = shown_of(live, one["name"], one["shells"])
        if _taken(constructs, 1) + _size_of_fields(fields) < room:
            one["fields"] = fields
            continue
        for shell in one["shells"]:
            shell[NEAR] = ""
        yield one["name"]


def _fitting(constructs: Sequence[Mapping[str, Any]], count: int, room: int) -> int:
    """How many stages and loads the page has room for, one at least."""
    return next((n for n in range(count, 1, -1) if _taken(constructs, n) < room), 1)


def _taken(constructs: Sequence[Mapping[str, Any]], count: int) -> int:
    """Bytes of surfaces with the fields of so many stages and loads, and of colours that follow."""
    return sum(
        _size_of_fields(one["fields"]) + sum(_size(shell, count) for shell in one["shells"])
        for one in constructs
    )


def _size_of_fields(fields: Mapping[str, Field]) -> int:
    return sum(len(text) for one in fields.values() for text in one.values())


def _size(shell: dict[str, Any], count: int) -> int:
    texts: Iterable[str] = (shell["points"], shell["cells"], shell[NEAR], *shell["fields"][:count])
    return sum(map(len, texts))
