"""The view that turns: surfaces of each construct, and the library that draws them, in the page."""

from __future__ import annotations

from typing import Any

from pipeline.output.report.run import ReportedRun
from pipeline.output.scene import STEEL
from pipeline.output.shells import STEP_MM, read_ranges, read_shells
from pipeline.storage.casebook import why_lost

MOST_BYTES = 9_000_000  # of surfaces, so that the page stays under 20 MB with its libraries


def solids(run: ReportedRun) -> dict[str, Any]:
    """Surfaces of constructs until the page is full, and the ranges of their colours.

    Returns
    -------
    dict
        Empty if no fields are stored; else `step` (mm), `steel` (a colour), `ranges` and `constructs`
        with `name`, `shells` and height of
        the `gap` (mm) each, and `left` with the names that found no room.
    """
    stage, load = run.study.shown
    names = [name for name in run.with_fields if not why_lost(run.records[name], stage, load)]
    if not names:
        return {}
    constructs, left, size = [], [], 0
    for name in names:
        shells = read_shells(run.out, name, stage, load) if size < MOST_BYTES else []
        size += sum(len(text) for shell in shells for text in shell.values() if isinstance(text, str))
        if shells and size < MOST_BYTES:
            gap = run.records[name].get("gap") or {}
            constructs.append({"name": name, "shells": shells, "gap": gap.get("height_mm")})
        else:
            left.append(name)
    return {
        "step": STEP_MM, "steel": STEEL, "constructs": constructs, "left": left,
        "ranges": read_ranges(run.out, names, stage, load),
    }  # fmt: skip


def script() -> str:
    """The JavaScript that draws the view; nothing of it is loaded from elsewhere."""
    from plotly.offline import get_plotlyjs  # slow to import

    return str(get_plotlyjs())
