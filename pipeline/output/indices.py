"""Figures of sensitivity, from ``sensitivity.csv`` alone: a page for each construct."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from math import ceil, isfinite
from pathlib import Path
from textwrap import fill

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from pipeline.output import charts, panels
from pipeline.output.charts import HIGH, LOW, PALE, SMALL, Row
from pipeline.output.panels import MUTED
from pipeline.output.scene import INK
from pipeline.output.tables import COLUMNS
from pipeline.storage.caution import CAUTION_SHORT
from pipeline.storage.run_folder import named_rows
from pipeline.tables.flagged import MARK, footnotes
from pipeline.tables.rows import INTACT_STAGE

Group = list[Row]
SHARES = ("sobol_indices", "sobol_of_surface")
CHARTS = {
    "one_at_a_time": charts.tornado, "morris": charts.morris, **dict.fromkeys(SHARES, charts.sobol),
}  # fmt: skip
SUBTITLES = {
    "one_at_a_time": "one factor at a time; at each bar's end stands the factor's value",
    "morris": "elementary effects over each factor's whole range",
    "sobol_indices": "Sobol indices of the model's own values, with 95 % confidence",
    "sobol_of_surface": "Sobol indices of a response surface",
}
KEYS: Mapping[str, Sequence[tuple[str, str]]] = {
    "one_at_a_time": ((LOW, "lowest or first value"), (HIGH, "highest or last value")),
    **dict.fromkeys(SHARES, ((LOW, "S1, alone"), (PALE, "ST, together with others"))),
}
EQUAL = "σ = μ*: near or above it, the effect bends or depends on others"
LOCATIONS = {column.quantity: column.location for column in COLUMNS}
WIDTH_IN, TOP_IN, FOOT_IN, BETWEEN_IN = 12.0, 1.25, 0.95, 1.25
BAR_IN, LEAST_IN, PLANE_IN = 0.4, 1.5, 3.4  # heights of a factor's bars, of a chart, of a Morris plane
LINE = 165  # characters
NOTES = 3  # lines


def draw_indices(out: Path, stage: str, load: str) -> list[Path]:
    """Draw ``figures/sensitivity-NAME`` of each construct, as PNG and SVG.

    Parameters
    ----------
    out : Path
        Folder of the study's results.
    stage, load : str
        Tissue stage and load to show; stiffness is that of the first load which has it, an intact
        bone has only its own stage.

    Returns
    -------
    list of Path
        The files; none without ``sensitivity.csv``.

    Raises
    ------
    OutputError
        If a figure can not be written.
    StudyError
        If a name in the table can not name a file.
    """
    return [
        panels.save(figure, out / "figures" / f"{name}.{kind}")
        for name, figure in index_pages(out, stage, load)
        for kind in ("png", "svg")
    ]


def index_pages(out: Path, stage: str, load: str) -> Iterator[tuple[str, Figure]]:
    """Name and figure of each construct's page, of what :func:`draw_indices` shows."""
    rows = named_rows(out / "sensitivity.csv")
    for name in dict.fromkeys(row["construct"] for row in rows):
        own = [r for r in rows if r["construct"] == name and r["stage"] in (stage, INTACT_STAGE)]
        groups = _groups(own, load)
        if groups:
            yield f"sensitivity-{name}", _page(name, stage, groups)


def _groups(rows: Sequence[Row], load: str) -> list[Group]:
    """Rows of each quantity at one load and one location: those of the short table, else the first."""
    groups = []
    for quantity in dict.fromkeys(row["quantity"] for row in rows):
        own = [row for row in rows if row["quantity"] == quantity]
        for column, wanted in (("load", load), ("location", LOCATIONS.get(quantity))):
            there = dict.fromkeys(row[column] for row in own)
            shown = wanted if wanted in there else next(iter(there))
            own = [row for row in own if row[column] == shown]
        groups.append(own)
    return groups


def _page(name: str, stage: str, groups: Sequence[Group]) -> Figure:
    """All charts of a construct, two in a row."""
    method = groups[0][0]["method"]
    factors = len({row["factor"] for row in groups[0]})
    tall = PLANE_IN if method == "morris" else max(LEAST_IN, BAR_IN * factors)
    columns = min(2, len(groups))
    rows = ceil(len(groups) / columns)
    height = TOP_IN + rows * tall + (rows - 1) * BETWEEN_IN + FOOT_IN + 0.55
    figure = Figure(figsize=(WIDTH_IN, height), dpi=150)
    grid = figure.add_gridspec(
        rows, columns, left=0.07 if method == "morris" else 0.15, right=0.97,
        wspace=0.18 if method == "morris" else 0.46, hspace=BETWEEN_IN / tall,
        top=1 - (TOP_IN + 0.3) / height, bottom=FOOT_IN / height,
    )  # fmt: skip
    for place, group in enumerate(groups):
        _chart(figure.add_subplot(grid[divmod(place, columns)]), group)
    figure.text(0.03, 1 - 0.42 / height, name, fontsize=19, weight="bold", color=INK)
    words = f"tissue stage: {stage}  ·  {SUBTITLES[method]}"
    figure.text(0.03, 1 - 0.72 / height, words, fontsize=11, color=MUTED)
    _foot(figure, groups, method)
    return figure


def _chart(axes: Axes, group: Group) -> None:
    """One result under its name and the predictive coefficient of its response surface."""
    first = group[0]
    mark = MARK if MARK in first["note"] else ""
    head = f"{charts.in_words(first['quantity'])}, {first['location']} {mark}".rstrip()
    q2 = charts.number(first, "q2")
    fit = f"Q² {q2:.2f}, {first['surface']}" if isfinite(q2) else "Q² unknown"
    title = partial(axes.annotate, xy=(0, 1), xycoords="axes fraction", textcoords="offset points")
    title(head, xytext=(0, 22), fontsize=12, weight="bold", color=INK)
    words = f"load {first['load']}  ·  {fit}  ·  {first['points']} points"
    title(words, xytext=(0, 8), fontsize=9, color=MUTED)
    if any(row["value"] for row in group):
        CHARTS[first["method"]](axes, group, charts.names_of(group))
        return
    axes.set_axis_off()
    axes.text(0, 0.5, fill(first["note"], 60), va="center", fontsize=SMALL, color=MUTED)


def _foot(figure: Figure, groups: Sequence[Group], method: str) -> None:
    """Colours, what the notes say, and the caution."""
    height = figure.get_figheight()
    patches: list[Artist] = [Patch(color=colour, label=label) for colour, label in KEYS.get(method, ())]
    figure.legend(
        handles=patches or [charts.dashed([], [], label=EQUAL)], loc="upper right",
        bbox_to_anchor=(0.98, 1 - 0.25 / height), ncols=2, frameon=False, fontsize=10,
        handlelength=1.2 if patches else 2.2, handleheight=1.0,
    )  # fmt: skip
    said = {row["note"]: None for group in groups for row in group if row["note"]}
    notes = dict.fromkeys(words for note in said for words in note.split("; "))
    lines = fill("; ".join(notes), LINE).splitlines()
    meant = footnotes(any(MARK in note for note in notes))
    if len(lines) > NOTES - len(meant):
        lines = [*lines[: NOTES - 1 - len(meant)], "... more notes in sensitivity.csv"]
    lines += meant
    figure.text(0.03, 0.22 / height, "\n".join(lines), fontsize=8, color=INK, va="bottom")
    figure.text(0.03, 0.07 / height, CAUTION_SHORT, fontsize=8, color=MUTED)
