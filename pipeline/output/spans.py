"""Charts over a span of inputs: curves over a modulus on a logarithmic axis, and maps of cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure

from pipeline.output.charts import SMALL, Array, plain, plane
from pipeline.output.graphs import (
    BANDS,
    COLOURS,
    CURVES_IN,
    FOOT_IN,
    HEAD_IN,
    IN_A_ROW,
    KEY_IN,
    RANGE,
    STYLE,
    WIDTH_IN,
    Limit,
    as_svg,
    clipped,
    decades,
    upright,
)
from pipeline.output.growth import DASHES
from pipeline.output.panels import MUTED
from pipeline.output.scene import INK

CELL = LinearSegmentedColormap.from_list("cells", BANDS)  # pale to dark: few to all
LEFT_IN, RIGHT_IN, APART_IN = 0.55, 0.1, 0.14  # of a row of maps
SCALE_IN, LABEL_IN = 0.1, 0.42  # the key of a row of maps: its height, and what stands below it
DOTTED = (0, (1, 1.6))
HATCHES = ("", "////", "\\\\\\\\")  # of ranges, which may lie over each other


@dataclass(frozen=True)
class Span:
    """A curve over something larger than nothing; how far each value may be off, None if unknown.

    A flagged stretch is dotted; which values are flagged may be left out if none is.
    """

    name: str
    across: Sequence[float]
    up: Sequence[float]
    halves: Sequence[float | None]
    flagged: Sequence[bool] = ()


@dataclass(frozen=True)
class CellMap:
    """Shares of a whole, percent, at places on a regular grid; it need not be full."""

    name: str
    shares: Mapping[tuple[float, float], float]


@mpl.rc_context(STYLE)
def over_decades(
    spans: Sequence[Span], x: str, y: str, limits: Sequence[Limit] = (), hues: Sequence[str] = COLOURS
) -> str:
    """Curves over a logarithmic axis, pale where they may lie as well; ranges lie behind them.

    Parameters
    ----------
    spans : sequence of Span
        Curves.
    x, y : str
        What the axes show, with units.
    limits : sequence of Limit
        Published ranges.
    hues : sequence of str
        Colours of the curves, which come again with dashes.
    """
    entries = len(spans) + len(limits)
    foot = FOOT_IN + KEY_IN * ceil(entries / IN_A_ROW)
    height = CURVES_IN + foot + 0.5 * HEAD_IN
    figure = Figure(figsize=(WIDTH_IN, height))
    axes = figure.add_axes((0.16, foot / height, 0.8, CURVES_IN / height))
    axes.axhline(0, color=MUTED, lw=0.7, zorder=1)
    for number, span in enumerate(spans):
        dash = DASHES[number // len(hues) % len(DASHES)]
        _draw(axes, span, hues[number % len(hues)], dash)
    for limit, hatch in zip(limits, HATCHES, strict=False):
        axes.axhspan(
            limit.low, limit.high, facecolor=RANGE, alpha=0.6, edgecolor="#c9a15f", hatch=hatch, lw=0.4,
            label=clipped(limit.name), zorder=0,
        )  # fmt: skip
    plane(axes, x, y)
    decades(axes, [place for span in spans for place in span.across])
    upright(axes)
    return as_svg(figure, axes, entries)


def _draw(axes: Axes, span: Span, hue: str, dash: Any) -> None:
    look: dict[str, Any] = {"color": hue}
    sound, doubted = _stretches(span)
    axes.plot(span.across, sound, ls=dash, lw=1.5, zorder=3, **look)
    axes.plot(span.across, doubted, ls=DOTTED, lw=1.5, zorder=3, **look)
    axes.plot([], [], ls=dash, lw=1.5, label=clipped(span.name), **look)
    known = [
        (at, value - half, value + half)
        for at, value, half in zip(span.across, span.up, span.halves, strict=True)
        if half is not None
    ]
    if known:
        places, lows, highs = zip(*known, strict=True)
        axes.fill_between(places, lows, highs, alpha=0.16, lw=0, zorder=2, **look)


def _stretches(span: Span) -> tuple[Array, Array]:
    """Values from one sound one to the next, and all others, each NaN where the other is drawn."""
    flagged = np.array(span.flagged or [False] * len(span.up))
    dotted = flagged[:-1] | flagged[1:]  # from each value to the next
    ends = np.array([True])
    sound, doubted = (
        np.where(np.r_[one, ~ends] | np.r_[~ends, one], span.up, np.nan) for one in (~dotted, dotted)
    )
    return sound, doubted


@mpl.rc_context(STYLE)
def cell_maps(maps: Sequence[CellMap], x: str, y: str, label: str) -> str:
    """Maps side by side with one scale from none to all.

    Parameters
    ----------
    maps : sequence of CellMap
        Maps of one grid.
    x, y : str
        What the axes show, with units.
    label : str
        What the colours count.
    """
    side = (WIDTH_IN - LEFT_IN - RIGHT_IN - APART_IN * (len(maps) - 1)) / len(maps)
    foot = 2 * LABEL_IN + SCALE_IN + 0.12
    height = side + foot + HEAD_IN
    figure = Figure(figsize=(WIDTH_IN, height))
    norm = Normalize(0, 100)
    for number, one in enumerate(maps):
        left = LEFT_IN + number * (side + APART_IN)
        box = (left / WIDTH_IN, foot / height, side / WIDTH_IN, side / height)
        axes = figure.add_axes(box, aspect="equal", anchor="C")
        _cells(axes, one, norm)
        axes.set_title(one.name, fontsize=SMALL, color=INK, loc="left", parse_math=False)
        if number:
            axes.tick_params(axis="y", labelleft=False)
        else:
            axes.set_ylabel(y, fontsize=SMALL, color=MUTED)
        if number == len(maps) // 2:
            axes.set_xlabel(x, fontsize=SMALL, color=MUTED)
    across = (LEFT_IN / WIDTH_IN, LABEL_IN / height, 0.45, SCALE_IN / height)
    scale = figure.add_axes(across)
    bar = figure.colorbar(ScalarMappable(norm, CELL), cax=scale, orientation="horizontal")
    bar.set_label(label, fontsize=SMALL, color=MUTED)
    bar.outline.set_visible(False)
    scale.tick_params(labelsize=SMALL, color=MUTED, labelcolor=INK)
    return as_svg(figure, scale, 0)


def _cells(axes: Axes, one: CellMap, norm: Normalize) -> None:
    columns, rows = (sorted({place[axis] for place in one.shares}) for axis in (0, 1))
    grid = np.full((len(rows), len(columns)), np.nan)
    for (across, up), share in one.shares.items():
        grid[rows.index(up), columns.index(across)] = share
    axes.pcolormesh(
        _edges(columns), _edges(rows), np.ma.masked_invalid(grid), cmap=CELL, norm=norm,
        edgecolors="white", linewidth=0.5,
    )  # fmt: skip
    plain(axes)
    axes.tick_params(axis="y", labelsize=SMALL, color=MUTED, labelcolor=INK)
    axes.locator_params(axis="x", nbins=4, prune="both")  # maps stand close to each other
    axes.locator_params(axis="y", nbins=4)


def _edges(middles: Sequence[float]) -> list[float]:
    """Where cells end whose middles are known."""
    if len(middles) == 1:
        return [middles[0] - 0.5, middles[0] + 0.5]
    inner = [(low + high) / 2 for low, high in pairwise(middles)]
    return [2 * middles[0] - inner[0], *inner, 2 * middles[-1] - inner[-1]]
