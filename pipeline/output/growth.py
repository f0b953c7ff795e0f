"""Movement as a load grows: what of a run's curves is drawn, in the page and in print."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, copysign, hypot
from operator import itemgetter
from typing import Any, Protocol

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.output.charts import plane
from pipeline.output.panels import MUTED, foot
from pipeline.output.tables import number_in
from pipeline.storage.caution import CAUTION_SHORT
from pipeline.study.config import StudyConfig
from pipeline.tables.flagged import MARK, footnotes
from pipeline.tables.groups import grouped

MOVED = ("gap_movement", "gap_rotation")  # results at the end of a curve, whose flags are its
MOST_LINES = 10  # constructs in one chart
DASHES: tuple[Any, ...] = ("-", (0, (5, 2)))  # for a second round of hues
WIDTH_IN, HEIGHT_IN, KEY_IN = 7.0, 2.9, 0.25  # of a row of panels in print
IN_A_ROW = 2
TEXT = 8.0  # points
READ_AS = (
    "A flat start is free play: the bone ends move and nothing bears yet. Open circles: a stop closes "
    "or opens. Below zero the load is turned round."
)


class Told(Protocol):
    """A row of ``curves.csv``."""

    def __getitem__(self, column: str, /) -> str:
        """Text of one of its cells."""


@dataclass(frozen=True)
class Course:
    """One construct's answer: places across and up, and which of them are kinks.

    Across is movement with the sense of the load, since its size alone would fold the curve at zero.
    """

    name: str
    across: Sequence[float]
    up: Sequence[float]
    kinks: Sequence[int]


@dataclass(frozen=True)
class Growth:
    """A chart of one load.

    Parameters
    ----------
    load, column : str
        The load, and the column of ``curves.csv`` that is drawn.
    x, y : str
        What the axes show, with units.
    lines : tuple of Course
        A line for each construct.
    """

    load: str
    column: str
    x: str
    y: str
    lines: tuple[Course, ...]


def growths(
    rows: Mapping[tuple[str, str], Sequence[Told]], study: StudyConfig, names: Sequence[str]
) -> Iterator[Growth]:
    """Charts of the loads under which a stop closes or opens; others are straight lines.

    Parameters
    ----------
    rows : mapping
        Rows of one stage by construct and load, by rising factor.
    study : StudyConfig
        What was run.
    names : sequence of str
        Constructs in their order; the first ten are drawn.
    """
    for load in study.loads:
        column, x = "gap_movement_mm", "movement of the far cortex, mm"
        if load.kind == "torsion":
            column, x = "gap_rotation_deg", "rotation of the gap, deg"
        y, size = _sized(load)
        own = ((name, rows.get((name, load.name), ())) for name in names[:MOST_LINES])
        lines = tuple(_line(name, found, column, size) for name, found in own if found)
        if any(line.kinks for line in lines):
            yield Growth(load.name, column, x, y, lines)


def by_curve(rows: Sequence[Any], stage: str) -> dict[tuple[str, str], list[Any]]:
    """Rows of one stage by construct and load."""
    own = (row for row in rows if row["stage"] == stage)
    return grouped(own, itemgetter("construct", "load"))


def _sized(load: Any) -> tuple[str, float]:
    """What grows, with its unit, and the whole of it; of a load without one size a share."""
    if load.kind in ("torsion", "bending"):
        return f"{'torque' if load.kind == 'torsion' else 'bending moment'}, N·m", abs(load.moment_nm)
    if load.kind == "hip_force":
        return "force, N", load.force_n
    if load.kind == "end_force":
        return "force, N", hypot(load.medial_n, load.anterior_n, load.proximal_n)
    return "share of the load, %", 100.0


def _line(name: str, rows: Sequence[Told], column: str, size: float) -> Course:
    found = [(number_in(row["factor"]), number_in(row[column]), row["kink"]) for row in rows]
    known = [(at, moved, kink) for at, moved, kink in found if at is not None and moved is not None]
    return Course(
        name,
        [copysign(moved, at) if at else moved for at, moved, _ in known],
        [at * size for at, _, _ in known],
        [place for place, (_, _, kink) in enumerate(known) if kink],
    )


def draw(
    axes: Axes, growth: Growth, hues: Sequence[str], flagged: Collection[tuple[str, str]] = ()
) -> None:
    """Draw the lines of a chart, its kinks and its axes; those of `flagged` are marked at their end."""
    for value, line in ((0.0, axes.axhline), (0.0, axes.axvline)):
        line(value, color=MUTED, lw=0.7, zorder=1)
    for number, one in enumerate(growth.lines):
        look: dict[str, Any] = {"color": hues[number % len(hues)]}
        dash = DASHES[number // len(hues) % len(DASHES)]
        axes.plot(one.across, one.up, ls=dash, lw=1.4, label=one.name, zorder=2, **look)
        axes.plot(
            [one.across[k] for k in one.kinks], [one.up[k] for k in one.kinks], "o", ms=3.6, mew=0.9,
            mfc="white", label="_nolegend_", zorder=3, **look,
        )  # fmt: skip
        if (one.name, growth.load) in flagged and one.up:
            axes.annotate(
                MARK, (one.across[-1], one.up[-1]), (2, 0), textcoords="offset points",
                fontsize=TEXT, zorder=4, **look,
            )  # fmt: skip
    plane(axes, growth.x, growth.y)
    axes.locator_params(nbins=6)


def printed(
    found: Sequence[Growth], hues: Sequence[str], flagged: Collection[tuple[str, str]] = ()
) -> Figure:
    """All charts in one figure, a panel for each load, with footnote and caution.

    Those whose construct and load are in `flagged` end in flagged results, and are marked there.
    """
    rows, columns = ceil(len(found) / IN_A_ROW), min(len(found), IN_A_ROW)
    names = dict.fromkeys(line.name for growth in found for line in growth.lines)
    key = KEY_IN * ceil(len(names) / 3)
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN * rows + key), layout="constrained")
    handles: dict[str, Any] = {}
    for place, growth in enumerate(found):
        axes = figure.add_subplot(rows, columns, place + 1)
        draw(axes, growth, hues, flagged)
        axes.set_title(f"load {growth.load}", fontsize=TEXT, loc="left", parse_math=False)
        drawn, labels = axes.get_legend_handles_labels()
        handles |= dict(zip(labels, drawn, strict=True))
    figure.legend(
        list(handles.values()), list(handles), loc="outside upper left", ncols=3, frameon=False,
        fontsize=TEXT,
    )  # fmt: skip
    foot(figure, *footnotes(bool(flagged)), CAUTION_SHORT)
    return figure
