"""What is written round a view: sides, millimetres, colours."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from geometries.frame import Vector
from pipeline.output.scene import COLOURS, CUT_COLOURS, INK, Scale, View
from pipeline.storage.files import in_place

LABELS = {
    "cortex": "cortical bone",
    "cancellous": "cancellous bone",
    "canal": "filling round nail or stem",
    "pad": "tie under the plate",
    "gap": "tissue in the gap",
    "inner": "tissue in the canal",
    "cuff": "callus cuff",
    "nail": "nail",
    "stem": "hip stem",
    "bolt": "bolt",
    "plate": "plate",
    "screw": "screw",
}
MUTED = "#6b6b6b"
FOOT, FOOT_LETTERS = 6.5, 20  # points of a chart's foot, and letters of it to an inch
RING: dict[str, Any] = {"marker": "o", "ms": 5.5, "mfc": "none", "mec": INK, "mew": 1.1, "ls": ""}


def heading(axes: Axes, text: str, across: float = 0.5, up: float = 24) -> None:
    """Write a title: at a share of the panel's width, so many points above it."""
    axes.annotate(
        text, (across, 1.0), (0, up), xycoords="axes fraction", textcoords="offset points",
        ha="center", fontsize=12, weight="bold", color=INK,
    )  # fmt: skip


def show(axes: Axes, view: View | None, nothing: str = "") -> None:
    """Show a view with its axes in mm, or say that there is none."""
    axes.set_axis_off()
    if view is None:
        axes.text(0.5, 0.5, nothing, ha="center", va="center", color=MUTED, fontsize=11)
        return
    wide, tall = view.camera.half_width, view.camera.half_height
    low, high = view.camera.centre[2] - tall, view.camera.centre[2] + tall
    axes.imshow(view.image, extent=(-wide, wide, low, high), interpolation="antialiased")


def name_sides(axes: Axes) -> None:
    """Write where the sides of a view from the front are."""
    word = partial(axes.text, transform=axes.transAxes, fontsize=9, color=MUTED)
    word(0.5, 1.006, "proximal", ha="center", va="bottom")
    word(0.5, -0.006, "distal", ha="center", va="top")
    word(1.0, -0.034, "medial", ha="center", va="top")
    word(0.0, -0.034, "lateral", ha="center", va="top")


def ruler(axes: Axes, view: View, enlarged: tuple[float, float]) -> None:
    """Draw heights above the knee, and a frame round what the next panel enlarges."""
    camera = view.camera
    left = -camera.half_width
    top = camera.centre[2] + camera.half_height - 4
    for height in np.arange(0, top + 1, 50):
        axes.plot([left - 4, left], [height] * 2, color=MUTED, lw=0.8, clip_on=False)
        axes.text(left - 6, height, f"{height:g}", ha="right", va="center", fontsize=8, color=MUTED)
    axes.plot([left, left], [0, top], color=MUTED, lw=0.8, clip_on=False)
    axes.text(left - 6, top + 14, "mm", ha="right", va="center", fontsize=8, color=MUTED)
    frame = Rectangle(
        (left + 2, enlarged[0]), 2 * camera.half_width - 4, enlarged[1] - enlarged[0],
        fill=False, ec=MUTED, lw=0.8, ls=(0, (4, 3)),
    )  # fmt: skip
    axes.add_patch(frame)


def scale_bar(axes: Axes, length: float, upright: bool = True) -> None:
    """Scale bar in the lower left corner."""
    x, y = axes.get_xlim()[0] + 1, axes.get_ylim()[0] + 3
    end = (x, y + length) if upright else (x + length, y)
    axes.plot(*zip((x, y), end, strict=True), color=INK, lw=2.5, solid_capstyle="butt")
    axes.annotate(
        f"{length:g} mm", ((x + end[0]) / 2, (y + end[1]) / 2), (-5, 0) if upright else (0, 7),
        textcoords="offset points", rotation=90.0 if upright else 0.0, fontsize=9, color=INK,
        ha="right" if upright else "center", va="center",
    )  # fmt: skip


def compass(axes: Axes, view: View | None) -> None:
    """Words round the bone where they belong, and a scale bar."""
    if view is None:
        return
    camera = view.camera
    z, far = camera.centre[2], camera.half_width + 1
    for word, x, y in (("medial", 1, 0), ("lateral", -1, 0), ("anterior", 0, 1), ("posterior", 0, -1)):
        u, v = camera.project((far * x, far * y, z + 3))
        axes.text(u, v + z, word, ha="center", va="center", fontsize=9, color=MUTED)
    scale_bar(axes, 10, upright=False)


def mark_bearing(axes: Axes, view: View, bearing: Iterable[Vector]) -> None:
    """Draw an open ring where surfaces bear on each other, seen through what lies before it."""
    for point in bearing:
        u, v = view.camera.project(point)
        height = v + view.camera.centre[2]
        axes.plot(u, height, **(RING | {"mec": "white", "mew": 2.4}))
        axes.plot(u, height, **RING)


def bearing_mark() -> Line2D:
    """Legend entry of those rings."""
    return Line2D([], [], label="bears on its neighbour", **RING)


def part_patches(roles: Iterable[str]) -> list[Patch]:
    """Legend entries of the roles that are there."""
    there = set(roles)
    return [
        Patch(facecolor=CUT_COLOURS.get(role, COLOURS[role]), edgecolor=INK, linewidth=0.5, label=label)
        for role, label in LABELS.items()
        if role in there
    ]


def colour_bar(figure: Figure, axes: Axes, scale: Scale) -> None:
    """Draw a level colour bar, its arrow in the colour of what lies above."""
    colours = colormaps[scale.colours].with_extremes(over=scale.over)
    mapped = ScalarMappable(Normalize(0, scale.top), colours)
    bar = figure.colorbar(mapped, cax=axes, orientation="horizontal", extend="max")
    bar.outline.set_visible(False)
    bar.ax.tick_params(labelsize=9, color=MUTED, labelcolor=INK)
    bar.set_label(scale.label, fontsize=10, color=INK)


def foot(figure: Figure, *texts: str) -> None:
    """Write texts below a figure of constrained layout, which makes room for them."""
    most = int(FOOT_LETTERS * figure.get_figwidth())
    lines = [line for text in texts for line in wrap(text, most)]
    figure.supxlabel("\n".join(lines), x=0.01, ha="left", fontsize=FOOT, color=MUTED)


def save(figure: Figure, path: Path, dpi: int | None = None) -> Path:
    """Write a figure in the format of its file's ending; whole or not.

    Parameters
    ----------
    figure : Figure
        The figure.
    path : Path
        File to write.
    dpi : int, optional
        Dots an inch; its own by default.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        If it can not be written.
    """
    kind = path.suffix.removeprefix(".")
    dates = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
    undated = dates.get(kind)  # the same file from the same results
    # Letters stay letters, which a journal can edit.
    style: dict[Any, Any] = {"svg.hashsalt": "gapstrain", "svg.fonttype": "none", "pdf.fonttype": 42}
    with in_place(path) as draft, mpl.rc_context(style):
        path.parent.mkdir(parents=True, exist_ok=True)
        figure.savefig(draft, format=kind, metadata=undated, dpi=dpi or "figure")
    return path
