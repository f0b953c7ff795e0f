"""Charts of movement as a load grows, with words for who can not see them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.output.graphs import growing
from pipeline.output.growth import READ_AS, Growth, by_curve, growths
from pipeline.output.report.cells import Entry
from pipeline.output.report.charts import Chart
from pipeline.output.report.run import ReportedRun
from pipeline.output.tables import number_in
from pipeline.tables.flagged import MARK

TITLES = {
    "gap_movement_mm": "Movement of the far cortex as load {} grows",
    "gap_rotation_deg": "Rotation of the gap as load {} grows",
}


def curve_charts(run: ReportedRun) -> Iterator[Chart]:
    """One chart for each load under which stops close or open, at the study's shown stage."""
    stage, _ = run.study.shown
    rows = by_curve(run.curves, stage)
    names = [name for name in run.constructs if any(name == one for one, _ in rows)]
    for growth in growths(rows, run.study, names):
        title = TITLES[growth.column].format(growth.load)
        said = (_said(line.name, rows[line.name, growth.load], growth) for line in growth.lines)
        flagged = [
            line.name
            for line in growth.lines
            if any(row["flags"] for row in rows[line.name, growth.load])
        ]
        ends = f" {MARK} ends in a flagged result." if flagged else ""
        thin = "" if len(names) == len(growth.lines) else " The first constructs alone are drawn."
        note = f"Stage {stage}. {READ_AS}{thin}{ends}"
        yield Chart(title, growing(growth, flagged), f"{title}: {'; '.join(said)}.", note)


def _said(name: str, rows: Sequence[Entry], growth: Growth) -> str:
    """How far a construct gets, and where something first bears, each number a cell."""
    unit = growth.x.rpartition(", ")[2]
    ahead = [row for row in rows if (number_in(row["factor"]) or 0.0) > 0]
    if not ahead:
        return f"{name} not held"
    kinks = [row for row in ahead if row["kink"]]
    last = ahead[-1]
    words = f"{name} {last.cell(growth.column).text} {unit} at {last.cell('factor').text} of the load"
    if not kinks:
        return f"{words}, all but straight"
    first = kinks[0]
    where = f"{first.cell(growth.column).text} {unit} and {first.cell('factor').text} of the load"
    return f"{words}, kinks {len(kinks)}, the first at {where}"
