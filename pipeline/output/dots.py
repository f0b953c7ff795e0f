"""Charts for print: a row for each construct, a mark for each tissue stage, from ``results.csv``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from pipeline.measures.dictionary import PEAK
from pipeline.output.charts import GRID, in_words, plain
from pipeline.output.panels import foot
from pipeline.output.scene import INK
from pipeline.output.tables import COLUMNS, Column, pick
from pipeline.storage.caution import CAUTION_SHORT
from pipeline.tables.flagged import MARK, footnotes
from pipeline.tables.lookup import Results
from pipeline.tables.rows import INTACT_STAGE, Row

# Hues that colour-blind readers tell apart: Okabe & Ito 2008, as in Wong 2011 Nat Methods 8:441 (from
# memory), without the yellow, which is pale on paper.
HUES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00")
MARKS = ("o", "s", "^", "D", "v", "P", "X")  # so that stages differ without any colour too
WIDTH_IN = 7.0  # across both columns of a page
ROW_IN, STAGE_IN, ROUND_IN = 0.16, 0.09, 1.45  # height of a row, of each stage in it, of all else
WIDE = 2  # up to so many panels side by side, a name and its unit stand in one line
ROWS = 30  # constructs on a page
SPREAD = 0.7  # share of a row's height over which its stages stand
TEXT, SMALL = 8.0, 7.0  # points


@dataclass(frozen=True)
class DotChart:
    """A figure: name of its file, quantities of the short table, a panel each, and its caption.

    Of the caption ``{load}`` stands where the load's name belongs.
    """

    name: str
    quantities: tuple[str, ...]
    about: str

    @property
    def columns(self) -> tuple[Column, ...]:
        """Columns of the short table, which say where each quantity is read."""
        return tuple(column for column in COLUMNS if column.quantity in self.quantities)


CHARTS = (
    DotChart("gap-movement", ("gap_axial_movement", "gap_shear_movement"),
          "Movement of the gap at the far cortex under load {load}; negative closes it."),
    DotChart("stiffness", ("load_point_stiffness", "axial_stiffness", "torsional_stiffness",
                           "bending_stiffness"),
          "Stiffness at the point of the load, and between the reference sections under pure loads; "
          "each of the first load that has it."),
    DotChart("implant-stress", (PEAK,),
          "Von Mises stress that the most loaded implant exceeds in 5 mm³ under load {load}."),
)  # fmt: skip
Values = Mapping[str, Mapping[str, Row]]  # of a stage, of a construct


def draw_chart(
    chart: DotChart, rows: Sequence[Row], stages: Sequence[str], load: str
) -> Iterator[Figure]:
    """Draw one page for every thirty constructs; none where nothing was computed.

    Parameters
    ----------
    chart : DotChart
        What to show.
    rows : sequence of Row
        Results of one variant.
    stages : sequence of str
        Tissue stages in the order of the study; that of the intact bone comes last by itself.
    load : str
        Load of whatever is no stiffness.

    Yields
    ------
    Figure
        With constructs in the order of the study. Singular values are left out, flagged ones marked;
        footnote and caution stand below.
    """
    order = [*stages, INTACT_STAGE]
    found = ((column, _values(column, rows, order, load)) for column in chart.columns)
    panels = [(column, values) for column, values in found if values]
    known = {name for _, values in panels for own in values.values() for name in own}
    names = [name for name in dict.fromkeys(row.construct for row in rows) if name in known]
    shown = [stage for stage in order if any(stage in values for _, values in panels)]
    for start in range(0, len(names), ROWS):
        yield _page(panels, names[start : start + ROWS], shown)


def left_out(chart: DotChart, rows: Sequence[Row], load: str) -> list[str]:
    """What a chart has no mark for although it was asked: what failed, and singular values."""
    failed = (
        " at ".join(filter(None, (row.construct, row.stage))) + " (failed)"
        for row in rows
        if not row.is_ok
    )
    singular = (
        f"{column.quantity} of {row.construct} at {row.stage} (singular)"
        for column in chart.columns
        for stage in dict.fromkeys(row.stage for row in rows)
        for row in _picked(column, rows, stage, load).values()
        if row.is_singular
    )
    return [*dict.fromkeys((*failed, *singular))]


def flagged(chart: DotChart, rows: Sequence[Row], load: str) -> list[tuple[str, str]]:
    """Construct and stage of each value that a chart marks as flagged."""
    picked = (
        row
        for column in chart.columns
        for stage in dict.fromkeys(row.stage for row in rows)
        for row in _picked(column, rows, stage, load).values()
    )
    found = ((row.construct, row.stage) for row in picked if row.flags and not row.is_singular)
    return [*dict.fromkeys(found)]


def _picked(column: Column, rows: Sequence[Row], stage: str, load: str) -> dict[str, Row]:
    """The row of each construct that has this very stage."""
    return pick(column, Results([row for row in rows if row.stage == stage]), stage, load)


def _values(column: Column, rows: Sequence[Row], stages: Sequence[str], load: str) -> Values:
    """Rows of a column that have a limit, by stage and construct."""
    found = {}
    for stage in stages:
        picked = _picked(column, rows, stage, load)
        if sound := {name: row for name, row in picked.items() if not row.is_singular}:
            found[stage] = sound
    return found


def _page(
    panels: Sequence[tuple[Column, Values]], names: Sequence[str], stages: Sequence[str]
) -> Figure:
    height = ROUND_IN + len(names) * (ROW_IN + STAGE_IN * len(stages))
    figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
    looks = {stage: _look(stage, place) for place, stage in enumerate(stages)}
    between = "\n" if len(panels) > WIDE else " "
    for place, (column, values) in enumerate(panels):
        axes = figure.add_subplot(1, len(panels), place + 1)
        _draw(axes, values, names, looks)
        unit = next(iter(next(iter(values.values())).values())).unit
        words = f"{in_words(column.quantity)},{between}{unit}"
        axes.set_xlabel(words, fontsize=TEXT, color=INK)
        axes.set_yticks(range(len(names)), names if place == 0 else [""] * len(names), fontsize=TEXT)
    handles = [Line2D([], [], ls="", label=stage, **look) for stage, look in looks.items()]
    figure.legend(handles=handles, loc="outside upper left", ncols=6, frameon=False, fontsize=TEXT)
    found = [values for _, of_stages in panels for values in of_stages.values()]
    is_flagged = any(own[name].flags for own in found for name in names if name in own)
    foot(figure, *footnotes(is_flagged), CAUTION_SHORT)
    return figure


def _look(stage: str, place: int) -> dict[str, Any]:
    """Hue and mark of a stage; the intact bone is a bar in ink."""
    if stage == INTACT_STAGE:
        return {"marker": "|", "color": INK, "markersize": 8, "markeredgewidth": 1.6}
    hue, mark = HUES[place % len(HUES)], MARKS[place % len(MARKS)]
    return {"marker": mark, "color": hue, "markersize": 4.5, "markeredgewidth": 0.0}


def _draw(
    axes: Axes, values: Values, names: Sequence[str], looks: Mapping[str, Mapping[str, Any]]
) -> None:
    """Marks of all constructs, each stage in a lane of its own, with errors where they are known."""
    lanes = [stage for stage in looks if stage != INTACT_STAGE]
    for stage, look in looks.items():
        lane = lanes.index(stage) - (len(lanes) - 1) / 2 if stage in lanes else 0.0
        shift = lane * SPREAD / max(len(lanes), 1)
        for name, row in values.get(stage, {}).items():
            if name in names:
                half = row.half if isfinite(row.half) else None
                axes.errorbar(
                    row.number, names.index(name) + shift, xerr=half, ecolor=INK, elinewidth=0.7,
                    ls="", zorder=3, **look,
                )  # fmt: skip
                if row.flags:
                    axes.annotate(
                        MARK, (row.number, names.index(name) + shift), (3, 0), fontsize=SMALL,
                        textcoords="offset points", color=INK, va="bottom", zorder=4,
                    )  # fmt: skip
    _frame(axes, len(names))


def _frame(axes: Axes, rows: int) -> None:
    """Bands behind the rows, a line at zero, and one axis below."""
    axes.axvline(0, color=INK, lw=0.8, zorder=2)
    axes.set_ylim(rows - 0.5, -0.5)
    for place in range(0, rows, 2):
        axes.axhspan(place - 0.5, place + 0.5, color="#f6f6f6", lw=0, zorder=0)
    axes.grid(axis="x", color=GRID, lw=0.6, zorder=1)
    plain(axes, SMALL)
    axes.tick_params(axis="y", length=0, labelcolor=INK)
    axes.spines["left"].set_visible(False)
    axes.locator_params(axis="x", nbins=5)
