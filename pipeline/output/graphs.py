"""Charts in the width of a printed column, as SVG that stands in a page.

Labels are text, never formulas. A label that prints a cell of a table carries that cell's address.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from io import StringIO
from math import ceil, floor, log10
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.output.charts import GRID, SMALL, lines, plane
from pipeline.output.growth import Growth, draw
from pipeline.output.panels import MUTED
from pipeline.output.scene import INK

COLOURS = ("#1b5e8c", "#d9822b", "#3b9c8f", "#8a5aa8", "#6b6f76")  # told apart by every eye
MARKERS = ("o", "D", "s", "^", "v")
BANDS = ("#e9eef2", "#b7cddc", "#6f9fc0", "#2f6da8", "#12395c")  # pale to dark: small to large strain
RANGE = "#f3dcc0"
OPEN, DOUBT = "#ffffff", "#96301f"  # inside of a flagged mark, and its dagger
WIDTH_IN, ROW_IN, HEAD_IN, FOOT_IN = 4.9, 0.38, 0.3, 0.5
PLANE_IN, CURVES_IN = 2.3, 2.9  # heights of a scatter, and of curves
CROWD = 100  # so many points hide each other unless they are small
TEXT = 9.5  # points
KEY_IN, IN_A_ROW = 0.24, 2  # the key's height and entries in a row
LETTER_IN = 0.075  # mean width of a letter
MOST_TICKS = 6  # on an axis that stiffnesses of five digits fit on
LONGEST = 24  # characters of a name in a chart
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none", "svg.hashsalt": "gapstrain", "text.parse_math": False,
    "font.family": "sans-serif", "axes.unicode_minus": True,
}  # fmt: skip
_ADDRESS = "cell-{}-{}-{}"
_IN_SVG = re.compile(r'<g id="cell-(\w+)-(\d+)-(\w+)">')
_NAMED = re.compile(r'(\bid="|xlink:href="#|url\(#)(?=[\w-])')


@dataclass(frozen=True)
class Mark:
    """A value in a chart.

    Parameters
    ----------
    value : float
        Where it stands.
    half : float or None
        Its error either way, if that is known.
    text : str
        What is printed beside it; may be empty.
    address : (str, int, str), optional
        Table, row and column of the cell that the text prints.
    is_flagged : bool
        Whether it is drawn open, and with a dagger where its text is printed.
    """

    value: float
    half: float | None = None
    text: str = ""
    address: tuple[str, int, str] | None = None
    is_flagged: bool = False


@dataclass(frozen=True)
class Series:
    """Values of one kind, one for each name; None where there is none."""

    name: str
    marks: Sequence[Mark | None]


@dataclass(frozen=True)
class Cloud:
    """Values of one kind over those of something else; texts of their marks are not printed."""

    name: str
    across: Sequence[float]
    marks: Sequence[Mark]


@dataclass(frozen=True)
class Limit:
    """A published limit or range, drawn across all rows."""

    name: str
    low: float
    high: float


@mpl.rc_context(STYLE)
def intervals(
    names: Sequence[str], series: Sequence[Series], label: str, limits: Sequence[Limit] = ()
) -> str:
    """Dots with their errors, a row for each name; whiskers only where an error is known.

    Parameters
    ----------
    names : sequence of str
        Rows from the top.
    series : sequence of Series
        Dots of one look each.
    label : str
        Quantity and unit.
    limits : sequence of Limit
        Lines and ranges of published limits.
    """
    entries = len(series) + len(limits) if len(series) > 1 or limits else 0
    figure, axes = _sheet(names, entries)
    for number, one in enumerate(series):
        shift = 0.26 * (number - (len(series) - 1) / 2)
        _dots(axes, one, number, shift)
    for number, limit in enumerate(limits):
        _limit(axes, limit, ("--", ":", "-.")[number % 3])
    axes.axvline(0, color=MUTED, lw=0.8, zorder=1)
    for place in range(1, len(names)):
        axes.axhline(place - 0.5, color=GRID, lw=0.7, zorder=0)
    _rows(axes, names, label)
    if any(mark and mark.text for one in series for mark in one.marks):
        low, high = axes.get_xlim()
        axes.set_xlim(low, high + 0.2 * (high - low))  # room for what stands beside the dots
    return as_svg(figure, axes, entries)


@mpl.rc_context(STYLE)
def stacks(
    names: Sequence[str], series: Sequence[Series], label: str, hues: Sequence[str] = BANDS
) -> str:
    """Bars of shares that add up to a whole, a row for each name."""
    figure, axes = _sheet(names, len(series))
    left = [0.0] * len(names)
    for number, one in enumerate(series):
        widths = [mark.value if mark else 0.0 for mark in one.marks]
        axes.barh(
            range(len(names)), widths, left=left, height=0.62, color=hues[number % len(hues)],
            edgecolor="white", lw=0.8, label=one.name, zorder=2,
        )  # fmt: skip
        left = [at + width for at, width in zip(left, widths, strict=True)]
    _rows(axes, names, label)
    axes.set_xlim(0, 100)
    return as_svg(figure, axes, len(series))


@mpl.rc_context(STYLE)
def scatter(series: Sequence[Cloud], x: str, y: str, *, has_decades: bool = False) -> str:
    """Points of several series over a number, which may be on a logarithmic axis.

    Whiskers only where an error is known.
    """
    foot = FOOT_IN + KEY_IN * ceil(len(series) / IN_A_ROW)
    height = PLANE_IN + foot + 0.5 * HEAD_IN
    figure = Figure(figsize=(WIDTH_IN, height))
    axes = figure.add_axes((0.16, foot / height, 0.8, PLANE_IN / height))
    size = 4.5 if sum(len(cloud.marks) for cloud in series) < CROWD else 3.0
    for number, cloud in enumerate(series):
        look: dict[str, Any] = {"color": COLOURS[number % 5], "alpha": 0.85}
        up = [mark.value for mark in cloud.marks]
        known = [(x, m.value, m.half) for x, m in zip(cloud.across, cloud.marks, strict=True) if m.half]
        if known:
            places, values, halves = zip(*known, strict=True)
            axes.errorbar(places, values, yerr=halves, fmt="none", elinewidth=0.8, **look)
        label = clipped(cloud.name)
        inner = [look["color"] if not mark.is_flagged else OPEN for mark in cloud.marks]
        axes.scatter(
            cloud.across, up, s=size**2, c=inner, marker=MARKERS[number % 5], edgecolors=look["color"],
            alpha=look["alpha"], zorder=2,
        )  # fmt: skip
        axes.plot([], [], MARKERS[number % 5], ms=size, label=label, **look)
    plane(axes, x, y)
    if has_decades:
        decades(axes, [place for cloud in series for place in cloud.across])
    upright(axes)
    return as_svg(figure, axes, len(series))


@mpl.rc_context(STYLE)
def growing(growth: Growth, flagged: Collection[str] = ()) -> str:
    """Lines of movement as a load grows, kinks as open circles; daggers at the ends of some."""
    foot = FOOT_IN + KEY_IN * ceil(len(growth.lines) / IN_A_ROW)
    height = CURVES_IN + foot + 0.5 * HEAD_IN
    figure = Figure(figsize=(WIDTH_IN, height))
    axes = figure.add_axes((0.16, foot / height, 0.8, CURVES_IN / height))
    lines = tuple(replace(line, name=clipped(line.name)) for line in growth.lines)
    ends = {(clipped(name), growth.load) for name in flagged}
    draw(axes, replace(growth, lines=lines), COLOURS, ends)
    upright(axes)
    return as_svg(figure, axes, len(lines))


def decades(axes: Axes, places: Sequence[float]) -> None:
    """Make the axis across logarithmic, with powers of ten in figures; of few decades 1, 2 and 5."""
    axes.set_xscale("log")
    low, high = min(places), max(places)
    powers = [10.0**power for power in range(floor(log10(low)), ceil(log10(high)) + 1)]
    steps = [digit * power for power in powers for digit in (1, 2, 5)]
    finer, inside = (
        [one for one in named if low / 1.5 <= one <= high * 1.5] or powers for named in (steps, powers)
    )
    named = finer if len(finer) <= MOST_TICKS else inside
    axes.set_xlim(min(low, named[0]) / 1.1, max(high, named[-1]) * 1.1)
    axes.set_xticks(named, [f"{one:g}" if one < 1e5 else f"{one:.0e}" for one in named])
    axes.minorticks_off()


def clipped(name: str) -> str:
    """A name whose lines are short enough for a chart."""
    lines = name.split("\n")
    return "\n".join(one if len(one) <= LONGEST else one[: LONGEST - 1] + "…" for one in lines)


def _sheet(names: Sequence[str], entries: int) -> tuple[Figure, Axes]:
    """Room for a row of each name, for the longest of them, and for a key below."""
    foot = FOOT_IN + KEY_IN * ceil(entries / IN_A_ROW)
    height = HEAD_IN + ROW_IN * max(len(names), 1) + foot
    longest = max((len(line) for name in names for line in clipped(name).split("\n")), default=0)
    left, up = (0.25 + LETTER_IN * longest) / WIDTH_IN, foot / height
    figure = Figure(figsize=(WIDTH_IN, height))
    return figure, figure.add_axes((left, up, 0.95 - left, 1 - up - 0.5 * HEAD_IN / height))


def _dots(axes: Axes, series: Series, number: int, shift: float) -> None:
    look: dict[str, Any] = {"color": COLOURS[number % 5], "marker": MARKERS[number % 5], "ms": 6}
    axes.plot([], [], ls="", label=series.name, **look)  # the key shows a full mark
    for place, mark in enumerate(series.marks):
        if mark is None:
            continue
        inside: dict[str, Any] = {"mfc": OPEN, "mew": 1.6} if mark.is_flagged else {}
        axes.errorbar(
            mark.value, place + shift, xerr=mark.half, capsize=3, elinewidth=1.4, ls="", zorder=3,
            **look, **inside,
        )  # fmt: skip
        if mark.text:
            _beside(axes, mark, place + shift)


def _beside(axes: Axes, mark: Mark, height: float) -> None:
    """Print a mark's text to its right, and what flags it above."""
    right = mark.value + (mark.half or 0.0)
    look: dict[str, Any] = {"textcoords": "offset points", "va": "center", "fontsize": TEXT}
    said = axes.annotate(mark.text, (right, height), (7, 0), color=INK, **look)
    if mark.address:
        said.set_gid(_ADDRESS.format(*mark.address))
    if mark.is_flagged:
        axes.annotate("†", (mark.value, height), (0, 10), color=DOUBT, ha="center", **look)


def _limit(axes: Axes, limit: Limit, dash: str) -> None:
    if limit.low < limit.high:
        axes.axvspan(limit.low, limit.high, color=RANGE, alpha=0.6, lw=0, label=limit.name, zorder=0)
    else:
        axes.axvline(limit.low, color=INK, ls=dash, lw=1.1, label=limit.name, zorder=1)


def _rows(axes: Axes, names: Sequence[str], label: str) -> None:
    axes.set_yticks(range(len(names)), [clipped(name) for name in names], fontsize=TEXT, color=INK)
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.locator_params(axis="x", nbins=MOST_TICKS)
    lines(axes, label)
    upright(axes)


def upright(axes: Axes) -> None:
    """Write the names or numbers of the upright axis as those of all charts."""
    axes.tick_params(axis="y", labelsize=TEXT, color=MUTED, labelcolor=INK)


def as_svg(figure: Figure, axes: Axes, entries: int) -> str:
    """The figure as SVG without a heading of its own; its ids are like those of no other chart."""
    if entries:
        axes.legend(
            loc="lower left", bbox_to_anchor=(0.0, 0.0), bbox_transform=figure.transFigure,
            ncols=min(entries, IN_A_ROW), frameon=False, fontsize=SMALL, labelcolor=INK,
            columnspacing=1.2, handlelength=1.6,
        )  # fmt: skip
    text = StringIO()
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    figure.savefig(text, format="svg", transparent=True, metadata=nothing)
    found = text.getvalue()
    found = found[found.index("<svg") :].replace("*{stroke-", "svg *{stroke-")
    prefix = f"g{sha256(found.encode()).hexdigest()[:12]}-"
    found = _IN_SVG.sub(r'<g data-table="\1" data-row="\2" data-col="\3">', found)
    return _NAMED.sub(rf"\g<1>{prefix}", found)
