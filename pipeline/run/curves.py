"""``curves.csv`` of a run: curves of its cases, with the flags of the results that they end with."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipeline.measures.curves import CURVE_COLUMNS
from pipeline.measures.dictionary import PEAK
from pipeline.run.jobs import Outcome
from pipeline.storage.casebook import CURVES, folder_of
from pipeline.storage.files import Cells, Texts, growing_table
from pipeline.storage.run_folder import each_row
from pipeline.tables.flagged import flag_reasons
from pipeline.tables.rows import Row

RUN_CURVE_COLUMNS = ("variant", "construct", "interfaces", *CURVE_COLUMNS, "flags")
ENDS = ("gap_movement", "gap_axial_movement", "gap_rotation", PEAK)
"""Results that a curve ends with under the whole load."""
CurveEnds = dict[tuple[str, ...], str]
"""Flags by variant, construct, stage and load."""


def curve_ends(own: Iterable[Row]) -> CurveEnds:
    """Flags of the results that the curves of a variant end with."""
    shown = [row for row in own if row.quantity in ENDS]
    variant = shown[0].variant if shown else ""
    return {(variant, one.construct, one.stage, one.load): one.flags for one in flag_reasons(shown)}


def write_curves(outcomes: Iterable[Outcome], out: Path, ends: CurveEnds | None = None) -> None:
    """Write the curves of all cases in one table."""
    with growing_table(out / CURVES, RUN_CURVE_COLUMNS, may_be_empty=False) as add:
        for outcome in outcomes:
            case = outcome.case
            stored = folder_of(out, case.address) / CURVES
            if not outcome.failure and stored.exists():
                which: Cells = {
                    "variant": case.variant,
                    "construct": case.name,
                    "interfaces": case.construct.interfaces,
                }
                who = (case.variant, case.name)
                add(
                    which | row | {"flags": _flags(who, row, ends or {})}
                    for row in each_row(stored, CURVE_COLUMNS)
                )


def _flags(who: tuple[str, str], row: Texts, ends: CurveEnds) -> str:
    """Flags of a point of a curve: under a part of the load nobody has looked for any."""
    is_whole = float(row["factor"]) == 1
    return ends.get((*who, row["stage"], row["load"]), "") if is_whole else ""
