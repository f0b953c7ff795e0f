"""Charts of sensitivity, one result each: tornado, Morris plane, Sobol bars."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from textwrap import fill

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from pipeline.measures.dictionary import PEAK
from pipeline.output.panels import MUTED
from pipeline.output.scene import INK
from pipeline.output.tables import number_in

Row = Mapping[str, str]
Array = NDArray[np.float64]
LOW, HIGH = "#2f6da8", "#e0912f"  # a blue and an orange that every eye tells apart
PALE = "#a9c7e4"
GRID = "#e4e4e4"
dashed = partial(Line2D, color=MUTED, lw=0.9, ls=(0, (4, 3)), zorder=1)
SMALL, TEXT = 8.5, 10.0  # points
LETTER = 0.025  # width of a letter as a share of that of the bars
WIDEST = 24  # characters of a factor's name in a line
APART = 0.085  # least distance of names in a Morris plane, as a share of its height


def names_of(rows: Sequence[Row]) -> dict[str, str]:
    """What each factor is called: its label, or more of its key where two would be called alike."""
    labels = {row["factor"]: row["label"] for row in rows}
    taken = list(labels.values())
    return {
        key: fill(label if taken.count(label) == 1 else ".".join(key.split(".")[-3:]), WIDEST)
        for key, label in labels.items()
    }


def in_words(quantity: str) -> str:
    """Name of a quantity as print has it."""
    return "implant stress" if quantity == PEAK else quantity.replace("_", " ")


def number(row: Row | None, column: str = "value") -> float:
    """Value of a cell; NaN where there is none."""
    return float(row[column]) if row is not None and row[column] else float("nan")


def tornado(axes: Axes, rows: Sequence[Row], names: Mapping[str, str]) -> None:
    """Draw bars from the study as written to both ends of each factor, the widest on top."""
    cells = {(row["factor"], row["index"]): row for row in rows}
    order = _ranked(cells, "swing")
    for place, factor in enumerate(order):
        ends = [
            (cells.get((factor, index)), colour) for index, colour in (("low", LOW), ("high", HIGH))
        ]
        bars = [(row, number(row), colour) for row, colour in ends if abs(number(row)) > 0]
        one_side = len(bars) == 2 and bars[0][1] * bars[1][1] > 0
        for lane, (row, change, colour) in zip((0.16, -0.16), bars, strict=False):
            height = place + lane * one_side
            axes.barh(height, change, height=0.3 if one_side else 0.6, color=colour, lw=0, zorder=2)
            axes.annotate(
                _rounded(row["at"]) if row else "", (change, height), (4 if change > 0 else -4, 0),
                va="center", textcoords="offset points", fontsize=SMALL, color=INK,
                ha="left" if change > 0 else "right",
            )  # fmt: skip
    _make_room(axes, [(number(row), _rounded(row["at"])) for row in rows if row["index"] != "swing"])
    _factors(axes, [names[factor] for factor in order], "change against the study as written, %")


def _make_room(axes: Axes, ends: Sequence[tuple[float, str]]) -> None:
    """Widen a chart by the words at the ends of its bars."""
    low = min((change for change, _ in ends if change < 0), default=0.0)
    high = max((change for change, _ in ends if change > 0), default=0.0)
    span = high - low or 1.0
    room = [(change, span * (0.03 + LETTER * len(text))) for change, text in ends]
    axes.set_xlim(
        min([low, *(change - more for change, more in room if change < 0)]),
        max([high, *(change + more for change, more in room if change > 0)]),
    )


def sobol(axes: Axes, rows: Sequence[Row], names: Mapping[str, str]) -> None:
    """Draw first-order and total share of each factor, with confidence where it is known."""
    cells = {(row["factor"], row["index"]): row for row in rows}
    order = _ranked(cells, "ST")
    bar = partial(axes.barh, height=0.36, lw=0, zorder=2)
    whisker = {"ecolor": INK, "elinewidth": 0.9, "capsize": 2.5}
    for place, factor in enumerate(order):
        for index, shift, colour in (("ST", -0.19, PALE), ("S1", 0.19, LOW)):
            row = cells.get((factor, index))
            half = number(row, "confidence")
            error = half if np.isfinite(half) else None
            bar(place + shift, number(row), color=colour, xerr=error, error_kw=whisker)
    _factors(axes, [names[factor] for factor in order], "share of the variance")
    low, high = axes.get_xlim()
    axes.set_xlim(min(low, 0.0), max(high, 1.0))


def morris(axes: Axes, rows: Sequence[Row], names: Mapping[str, str]) -> None:
    """Place each factor by the mean size of its effects and by their spread."""
    cells = {(row["factor"], row["index"]): row for row in rows}
    order = [factor for factor in _ranked(cells, "mu_star") if (factor, "sigma") in cells]
    across = np.array([number(cells[factor, "mu_star"]) for factor in order])
    up = np.array([number(cells[factor, "sigma"]) for factor in order])
    half = np.nan_to_num([number(cells[factor, "mu_star"], "confidence") for factor in order])
    axes.errorbar(
        across, up, xerr=half, fmt="o", ms=6, color=LOW, ecolor=PALE, elinewidth=1.6, zorder=3
    )
    widest = float(np.nanmax([*(across + half), 1e-300]))
    tallest = max(float(np.nanmax([*up, 0.0])), 0.15 * widest)
    axes.set_xlim(0, 1.42 * widest)
    axes.set_ylim(-0.05 * tallest, 1.2 * tallest)
    end = min(widest, tallest)
    axes.add_line(dashed([0, end], [0, end]))
    _name_points(axes, across + half, up, [names[factor] for factor in order])
    unit = rows[0]["unit"]
    plane(axes, f"μ*, mean size of the effects, {unit}", f"σ, their spread, {unit}")


def _name_points(axes: Axes, across: Array, up: Array, words: Sequence[str]) -> None:
    """Write names to the right of the points, pushed up where they would meet."""
    low, high = axes.get_ylim()
    last = -np.inf
    for place in np.argsort(up):
        height = max((up[place] - low) / (high - low), last + APART)
        last = height
        axes.annotate(
            words[place].replace("\n", " "), (across[place], up[place]),
            (across[place] + 0.03 * axes.get_xlim()[1], low + height * (high - low)), fontsize=TEXT,
            color=INK, va="center", arrowprops={"arrowstyle": "-", "color": MUTED, "lw": 0.5},
        )  # fmt: skip


def _ranked(cells: Mapping[tuple[str, str], Row], index: str) -> list[str]:
    """Factors by the size of an index, the largest last; unknown ones first."""
    factors = dict.fromkeys(factor for factor, _ in cells)
    return sorted(factors, key=lambda factor: np.nan_to_num(number(cells.get((factor, index))), nan=-1))


def _factors(axes: Axes, words: Sequence[str], label: str) -> None:
    axes.axvline(0, color=INK, lw=0.9, zorder=3)
    axes.set_yticks(range(len(words)), words, fontsize=TEXT, color=INK)
    axes.set_ylim(-0.6, len(words) - 0.4)
    lines(axes, label)


def lines(axes: Axes, label: str) -> None:
    """Lay out a chart whose rows have names: upright lines, and below them what they count."""
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=GRID, lw=0.7, zorder=0)
    axes.set_xlabel(label, fontsize=SMALL, color=MUTED)
    plain(axes)
    axes.spines["left"].set_visible(False)


def plane(axes: Axes, x: str, y: str) -> None:
    """Lay out a chart of one number over another."""
    axes.set_xlabel(x, fontsize=SMALL, color=MUTED)
    axes.set_ylabel(y, fontsize=SMALL, color=MUTED)
    plain(axes)
    axes.grid(color=GRID, lw=0.7, zorder=0)


def plain(axes: Axes, size: float = SMALL) -> None:
    """Leave of the frame its left and lower side, behind what is drawn."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(MUTED)
    axes.set_axisbelow(True)
    axes.tick_params(axis="x", labelsize=size, color=MUTED, labelcolor=INK)


def _rounded(text: str) -> str:
    value = number_in(text)
    return text if value is None else f"{value:.4g}"
