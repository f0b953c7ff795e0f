"""To-scale drawings of a construct from its solids, before anything is meshed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from textwrap import fill
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Rectangle
from numpy.typing import NDArray

from geometries.solids import Geometry, Part
from pipeline.output.crosscut import ends_of
from pipeline.output.notes import facts, gap_words, has_gap, shown
from pipeline.output.panels import LABELS, MUTED, save
from pipeline.output.scene import COLOURS, INK
from pipeline.output.sides import FILLS, SideView, paint, view_of
from pipeline.storage.caution import CAUTION_SHORT

Array = NDArray[np.floating[Any]]
Arrow = tuple[str, Array, Array]  # name, point mm, force N

SIDES = {0: ("lateral", "medial"), 1: ("posterior", "anterior")}
TITLES = {0: "from the front", 1: "from the lateral side"}
PANES = {0: (0.0, 0.04, 0.37, 0.87), 1: (0.37, 0.04, 0.27, 0.87)}
CLOSE = {0: (0.66, 0.645, 0.32, 0.26), 1: (0.66, 0.355, 0.32, 0.26)}
WORDS = {
    "cortex": LABELS["cortex"], "bridge": "bridge of bone", **LABELS, "stem": "stem",
    "cement": "bone cement",
}  # fmt: skip
LOAD = WARNING = "#b3261e"
ARROW = {"arrowstyle": "<->", "color": MUTED, "lw": 0.7}
SIZE_IN = (9.2, 9.8)
ARROW_MM, MARGINS_MM = 55.0, {0: 48.0, 1: 26.0}
CLOSE_MM, ARC_MM, WORDS_AT = 16.0, 5.0, 0.88  # in a close-up: beside the bone, to an arc, to words
SHAPE = 0.8  # height of a close-up as a share of its width
SMALL = 7  # points


def draw_construct(
    geometry: Geometry, title: str, subtitle: str, arrows: Sequence[Arrow], folder: Path
) -> list[Path]:
    """Draw a construct from two sides with its dimensions, loads and support, as SVG and PNG.

    Parameters
    ----------
    geometry : Geometry
        The construct.
    title, subtitle : str
        Its name, also of the files, and a line under it.
    arrows : sequence of (str, Array, Array)
        Name, point (3,), mm, and force (3,), N, of each force to show.
    folder : Path
        Where to write.

    Returns
    -------
    list of Path
        The files.
    """
    with mpl.rc_context({"font.size": 8}):
        figure = _figure(geometry, title, subtitle, arrows)
        files = (("svg", None), ("png", 150))
        return [save(figure, folder / f"{title}.{kind}", dpi) for kind, dpi in files]


def _figure(geometry: Geometry, title: str, subtitle: str, arrows: Sequence[Arrow]) -> Figure:
    """The page: both sides, the gap enlarged from either, colours and numbers."""
    figure = Figure(figsize=SIZE_IN)
    figure.text(0.5, 0.972, title, fontsize=12, fontweight="bold", color=INK, ha="center")
    figure.text(0.5, 0.954, subtitle, color=MUTED, ha="center")
    figure.text(0.5, 0.01, CAUTION_SHORT, fontsize=SMALL, color=MUTED, ha="center")
    if geometry.loose:
        words = fill(f"Warning: {geometry.loose}", 140)
        figure.text(0.5, 0.947, words, color=WARNING, fontsize=SMALL, ha="center", va="top")
    views = [view_of(geometry, axis) for axis in PANES]
    width = max(view.width for view in views)
    for view in views:
        axes = figure.add_axes(PANES[view.axis])
        _whole(axes, view, width)
        _forces(axes, view, arrows)
        if has_gap(geometry):
            _close_up(figure.add_axes(CLOSE[view.axis]), view)
    _dimensions(figure.axes[0], geometry)
    _legend(figure, geometry)
    return figure


def _whole(axes: Axes, view: SideView, width: float) -> None:
    """The whole construct with its support, both sides to one scale."""
    length = view.geometry.length
    axes.add_patch(
        Rectangle((-width, -10), 2 * width, 8, fill=False, hatch="////", edgecolor=MUTED, lw=0)
    )
    for word, x in zip(SIDES[view.axis], (-width, width), strict=True):
        axes.text(x, -13, word, ha="center", va="top", color=MUTED)
    axes.plot([0, 0], [-8, length + 8], color=INK, lw=0.5, dashes=(10, 3, 2, 3), zorder=8)
    wide = {axis: 2 * (width + aside) for axis, aside in MARGINS_MM.items()}
    tall = [wide[axis] * pane[3] / pane[2] * SIZE_IN[1] / SIZE_IN[0] for axis, pane in PANES.items()]
    aside = wide[view.axis] / 2
    axes.set(aspect="equal", xlim=(-aside, aside), ylim=(-26, max(length + 52, *tall) - 26))
    paint(axes, view, *axes.get_ylim())
    where = "cut along the shaft axis"
    if (view.plane.depth, view.plane.lean) != (0.0, 0.0):
        where = "cut along the nail's axis"
    axes.set_title(f"{TITLES[view.axis]}, {where}", fontsize=8, color=MUTED, y=0.985)
    axes.set_axis_off()
    if view.axis == 1:
        _scale(axes, 50, (25, -24))


def _close_up(axes: Axes, view: SideView) -> None:
    """The gap enlarged, with what it measures at either surface."""
    gap = view.geometry.gap
    assert gap is not None
    low, high = gap.lower.extent(gap.radius)[0], gap.upper.extent(gap.radius)[1]
    half, centre = max(gap.radius + CLOSE_MM, (high - low) / 2 / SHAPE + 6), (low + high) / 2
    ends = (centre - SHAPE * half, centre + SHAPE * half)
    axes.set(aspect="equal", xlim=(-half, half), ylim=ends)
    paint(axes, view, *axes.get_ylim())
    axes.set_title(f"gap {TITLES[view.axis]}", fontsize=8, color=MUTED, pad=3, loc="left")
    axes.tick_params(left=False, bottom=False, labelleft=False, labelbottom=False)
    for spine in axes.spines.values():
        spine.set(color=MUTED, linewidth=0.5)
    _scale(axes, 10, (half, ends[1] + 0.045 * half))
    _widths(axes, view, half)


def _widths(axes: Axes, view: SideView, half: float) -> None:
    """Width of the gap at either surface, along the shaft, and its tilt, as seen from this side."""
    gap = view.geometry.gap
    assert gap is not None
    rise = gap.middle.slope[view.axis]
    angle = float(np.degrees(np.arctan(rise)))
    for side in (-1, 1):
        place = np.zeros(2)
        place[view.axis] = side * gap.radius
        ends = [float(face.at(*place)) for face in (gap.lower, gap.upper)]
        reach = WORDS_AT * half
        for z in ends:
            axes.plot([place[view.axis], side * reach], [z, z], color=MUTED, lw=0.5, zorder=7)
        words = f"{ends[1] - ends[0]:.1f} mm"
        x = side * (reach + 0.3)
        axes.text(
            x, sum(ends) / 2, words, rotation=90, ha="left" if side > 0 else "right", va="center",
            color=INK, fontsize=SMALL, zorder=9,
        )  # fmt: skip
    if abs(angle) < 0.5:
        return
    height, span = gap.height, gap.radius + ARC_MM
    thin: dict[str, Any] = {"color": INK, "lw": 0.6, "zorder": 8}
    side = 1 if rise > 0 else -1
    for slope in (0.0, rise):
        end = side * span * float(np.cos(np.arctan(slope)))
        axes.plot([0.0, end], [height, height + slope * end], ls=(0, (4, 3)), **thin)
    turns = (0.0, angle) if side > 0 else (180 + angle, 180.0)
    axes.add_patch(Arc((0.0, height), 2 * span, 2 * span, theta1=turns[0], theta2=turns[1], **thin))
    middle, true = np.radians(abs(angle) / 2), np.degrees(np.arctan(np.hypot(*gap.middle.slope)))
    seen = "" if true - abs(angle) < 0.5 else " in view"
    axes.text(
        side * (span + 1) * np.cos(middle), height + (span + 1) * np.sin(middle),
        f"{abs(angle):.0f}°{seen}", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
        ha="left" if side > 0 else "right", va="center", color=INK, fontsize=SMALL, zorder=9,
    )  # fmt: skip


def _scale(axes: Axes, size: float, end: tuple[float, float]) -> None:
    """A level bar of a known length that ends at a point, mm."""
    x, y = end
    axes.plot([x - size, x], [y, y], color=INK, lw=2, solid_capstyle="butt", clip_on=False)
    axes.text(x - size - 1, y, f"{size:g} mm", va="center", ha="right", color=INK, fontsize=SMALL)


def _forces(axes: Axes, view: SideView, arrows: Sequence[Arrow]) -> None:
    """Forces as arrows that end at their points, the longest of a set length."""
    axis, top = view.axis, view.geometry.length + 20
    largest = max((float(np.linalg.norm(force)) for _, _, force in arrows), default=0.0)
    for name, point, force in arrows:
        step = ARROW_MM * force / largest
        tip = (point[axis], point[2])
        tail = (tip[0] - step[axis], min(tip[1] - step[2], top))
        style = {"arrowstyle": "-|>", "color": LOAD, "lw": 1.4}
        axes.annotate("", tip, tail, arrowprops=style, zorder=9)
        if axis == 0:
            outer = 1 if tip[0] > 0 else -1
            axes.annotate(
                f"{name.replace('_', ' ')}\n{np.linalg.norm(force):.0f} N",
                (max(tail[0], tip[0]) if outer > 0 else min(tail[0], tip[0]), (tail[1] + tip[1]) / 2),
                (5 * outer, 0), textcoords="offset points", color=LOAD, fontsize=SMALL, va="center",
                ha="left" if outer > 0 else "right", zorder=9,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
            )  # fmt: skip


def _legend(figure: Figure, geometry: Geometry) -> None:
    """Colours of what is there, and what a surgeon would ask for."""
    found = {shown(part) for part in geometry.parts}
    there = [name for name in WORDS if name in found]
    patches = [Rectangle((0, 0), 1, 1, facecolor=FILLS[name], edgecolor=INK, lw=0.4) for name in there]
    figure.legend(
        patches, [WORDS[name] for name in there], loc="upper left", bbox_to_anchor=(0.65, 0.34),
        frameon=False, ncols=2, fontsize=SMALL, columnspacing=1.2,
    )  # fmt: skip
    words = "\n".join(fill(line, 58, subsequent_indent="   ") for line in facts(geometry))
    figure.text(0.658, 0.225, words, va="top", color=INK, fontsize=SMALL, linespacing=1.35)


def _dimensions(axes: Axes, geometry: Geometry) -> None:
    """Lengths beside the front view, and what the gap is like."""
    left, _ = axes.get_xlim()
    long = [part for part in geometry.parts if part.role in ("nail", "stem", "plate")]
    rows = [("femur", 0.0, geometry.length), *((part.name, *_span(part)) for part in long)]
    if geometry.gap is None:
        rows[0] = ("specimen", *rows[0][1:])
    for k, (name, low, high) in enumerate(rows):
        x = left + 4 + 11 * k
        axes.annotate("", (x, low), (x, high), arrowprops=ARROW)
        words = f"{name.replace('_', ' ')} {high - low:.0f} mm"
        height = low + (high - low) / 3  # names of forces stand higher up
        axes.text(x + 1, height, words, rotation=90, va="center", color=MUTED, fontsize=SMALL)
    gap, pink = geometry.gap, COLOURS["gap"]
    if gap is not None:
        axes.annotate(
            "\n".join(gap_words(geometry)), (gap.radius + 1, float(gap.middle.at(gap.radius, 0.0))),
            (gap.radius + 12, gap.height + 20), color=pink, fontsize=SMALL,
            arrowprops={"arrowstyle": "-", "color": pink, "lw": 0.7}, zorder=9,
        )  # fmt: skip


def _span(part: Part) -> tuple[float, float]:
    """Lowest and highest point of an upright part, mm."""
    found = [z for piece in part.pieces for z in ends_of(piece.solid)]
    return min(found), max(found)
