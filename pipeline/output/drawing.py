"""To-scale drawings of a construct from its solids, before anything is meshed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse, Polygon, Rectangle
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from geometries.solids import Frustum, Geometry, Part, Piece, Prism, radial
from pipeline.output.panels import LABELS, MUTED
from pipeline.output.scene import COLOURS, CUT_COLOURS, INK

Array = NDArray[np.floating[Any]]
Arrow = tuple[str, Array, Array]  # name, point mm, force N

VIEWS = {"from the front": 0, "from the lateral side": 1}
SIDES = {0: ("lateral", "medial"), 1: ("posterior", "anterior")}
CUT = ("cortex", "cancellous", "canal", "pad", "gap", "inner", "cuff", "nail")
LOAD = "#b3261e"
ARROW = {"arrowstyle": "<->", "color": MUTED, "lw": 0.7}
ARROW_MM, MARGIN_MM = 55.0, 48.0
CAUTION = "Research and teaching only; idealised geometry, not validated for an individual."


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
    paths = [folder / f"{title}.{kind}" for kind in ("svg", "png")]
    with mpl.rc_context({"svg.hashsalt": "gapstrain", "font.size": 8, "svg.fonttype": "none"}):
        figure = Figure(figsize=(7.4, 9.8))
        figure.text(0.5, 0.97, title, fontsize=12, fontweight="bold", color=INK, ha="center")
        figure.text(0.5, 0.95, subtitle, color=MUTED, ha="center")
        figure.text(0.5, 0.01, CAUTION, fontsize=7, color=MUTED, ha="center")
        panes = figure.subplots(1, 2, sharey=True)
        figure.subplots_adjust(left=0.02, right=0.98, bottom=0.13, top=0.92, wspace=0.02)
        for axes, (name, axis) in zip(panes, VIEWS.items(), strict=True):
            _view(axes, geometry, axis)
            _forces(axes, geometry, arrows, axis)
            axes.set_title(name, fontsize=9, color=MUTED)
        _dimensions(panes[0], geometry)
        _legend(panes[1], geometry)
        figure.savefig(paths[0], metadata={"Date": None})
        figure.savefig(paths[1], dpi=150)
    return paths


def _view(axes: Axes, geometry: Geometry, axis: int) -> None:
    """One side: bone and nail cut in their middle plane, the other implants whole."""
    width = 0.0
    for part in geometry.parts:
        is_bone = part.role == "gap" and part.material.startswith("cortical")
        role = "cortex" if is_bone else part.role
        colour = CUT_COLOURS.get(role, COLOURS[role])
        for outline in _outlines(part, axis):
            width = max(width, float(np.abs(outline[:, 0]).max()))
            edge = colour if role in CUT else INK
            axes.add_patch(Polygon(outline, closed=True, facecolor=colour, edgecolor=edge, lw=0.4))
    for hole in _holes(geometry, axis):
        axes.add_patch(hole)
    held = Rectangle((-width, -10), 2 * width, 8, fill=False, hatch="////", edgecolor=MUTED, lw=0)
    axes.add_patch(held)
    for word, x in zip(SIDES[axis], (-width, width), strict=True):
        axes.text(x, -13, word, ha="center", va="top", color=MUTED)
    axes.set_aspect("equal")
    axes.set_xlim(-width - MARGIN_MM, width + MARGIN_MM)
    axes.set_ylim(-24, geometry.length + 26)
    axes.set_axis_off()


def _outlines(part: Part, axis: int) -> Iterator[Array]:
    """Polygons (k, 2) of a part seen along the other horizontal axis."""
    for piece in part.pieces:
        if isinstance(piece.solid, Prism):
            yield from _prism(piece.solid, axis)
        elif abs(piece.solid.axis[2]) > 0:
            yield from _rings(piece, piece.solid)
        else:
            yield _pin(piece.solid, axis)


def _rings(piece: Piece, solid: Frustum) -> Iterator[Array]:
    """Cut faces of a body of revolution, right and left of the axis."""
    low, high = solid.base[2], solid.base[2] + solid.axis[2]
    inner = [cut for cut in piece.cuts if isinstance(cut, Frustum) and cut.axis[2] != 0]
    start, end = (inner[0].radius, inner[0].end_radius) if inner else (0.0, 0.0)
    right = np.array([(start, low), (solid.radius, low), (solid.end_radius, high), (end, high)])
    yield right
    yield right * [-1, 1]


def _pin(solid: Frustum, axis: int) -> Array:
    """A bolt or screw: the hull of its two end discs, seen at a slant or edge-on."""
    start, along = np.asarray(solid.base), np.asarray(solid.axis)
    slant = abs(along[1 - axis]) / solid.height
    turn = np.linspace(0, 2 * np.pi, 40)
    rim = solid.radius * np.stack([slant * np.cos(turn), np.sin(turn)], axis=1)
    first, last = (np.array([end[axis], end[2]]) for end in (start, start + along))
    return _hull(np.concatenate([np.add(rim, first), np.add(rim, last)]))


def _prism(solid: Prism, axis: int) -> Iterator[Array]:
    """A plate, one straight stretch after another."""
    half = len(solid.outline) // 2
    inside, outside = solid.outline[:half], solid.outline[half:][::-1]
    out, across = np.asarray(radial(solid.azimuth_deg)), np.asarray(solid.sweep) / 2
    for (a, b), (c, d) in zip(pairwise(inside), pairwise(outside), strict=True):
        corners = [r * out + side * across for r, _ in (a, b, c, d) for side in (1, -1)]
        heights = np.repeat([z for _, z in (a, b, c, d)], 2)
        yield _hull(np.stack([np.array(corners)[:, axis], heights], axis=1))


def _hull(points: Array) -> Array:
    return np.asarray(points[ConvexHull(points).vertices])


def _holes(geometry: Geometry, axis: int) -> Iterator[Ellipse]:
    """Empty holes of a plate that more or less faces the viewer."""
    plates = [part.pieces[-1] for part in geometry.parts if part.role == "plate"]
    for piece in plates:
        assert isinstance(piece.solid, Prism)
        out = np.asarray(radial(piece.solid.azimuth_deg))
        facing, reach = abs(float(out[1 - axis])), piece.solid.outline[-1][0]
        for cut in piece.cuts if facing > 0.3 else ():
            assert isinstance(cut, Frustum)
            centre = (reach * out[axis], cut.base[2])
            size = (2 * facing * cut.radius, 2 * cut.radius)
            yield Ellipse(centre, *size, facecolor="white", edgecolor=INK, lw=0.4)


def _forces(axes: Axes, geometry: Geometry, arrows: Sequence[Arrow], axis: int) -> None:
    """Forces as arrows that end at their points, the longest of a set length."""
    largest = max((float(np.linalg.norm(force)) for _, _, force in arrows), default=0.0)
    for name, point, force in arrows:
        step = ARROW_MM * force / largest
        tip = (point[axis], point[2])
        tail = (tip[0] - step[axis], min(tip[1] - step[2], geometry.length + 20))
        axes.annotate("", tip, tail, arrowprops={"arrowstyle": "-|>", "color": LOAD, "lw": 1.4})
        if axis == 0:
            outer = 1 if tip[0] > 0 else -1
            axes.annotate(
                f"{name.replace('_', ' ')}\n{np.linalg.norm(force):.0f} N",
                (max(tail[0], tip[0]) if outer > 0 else min(tail[0], tip[0]), (tail[1] + tip[1]) / 2),
                (5 * outer, 0), textcoords="offset points", color=LOAD, fontsize=7, va="center",
                ha="left" if outer > 0 else "right",
            )  # fmt: skip


def _legend(axes: Axes, geometry: Geometry) -> None:
    """Colours of what is there, and a scale."""
    there = [role for role in LABELS if role in {part.role for part in geometry.parts}]
    patches = [
        Rectangle((0, 0), 1, 1, facecolor=CUT_COLOURS.get(role, COLOURS[role]), edgecolor=INK, lw=0.4)
        for role in there
    ]
    axes.legend(
        patches, [LABELS[role] for role in there], loc="upper center", bbox_to_anchor=(0.5, 0.0),
        frameon=False, ncols=2, fontsize=7,
    )  # fmt: skip
    x = axes.get_xlim()[1] - 12
    axes.plot([x, x], [0, 50], color=INK, lw=2, solid_capstyle="butt")
    axes.text(x - 2, 25, "50 mm", rotation=90, va="center", ha="right", color=INK, fontsize=7)


def _dimensions(axes: Axes, geometry: Geometry) -> None:
    """Lengths beside the front view, and what a surgeon would ask for under it."""
    left, right = axes.get_xlim()
    spans = {part.name: _span(part) for part in geometry.parts if part.role in ("nail", "plate")}
    rows = [("femur", 0.0, geometry.length), *((name, *span) for name, span in spans.items())]
    for k, (name, low, high) in enumerate(rows):
        x = left + 4 + 11 * k
        axes.annotate(
            "", (x, low), (x, high), arrowprops={"arrowstyle": "<->", "color": MUTED, "lw": 0.7}
        )
        words = f"{name} {high - low:.0f} mm"
        axes.text(
            x + 1, 0.3 * geometry.length, words, rotation=90, va="center", color=MUTED, fontsize=7
        )
    gap, pink = geometry.gap, COLOURS["gap"]
    if gap is not None:
        axes.annotate(
            f"gap {gap.length:g} mm\n{gap.height:.0f} mm up", (gap.radius + 2, gap.height),
            (right - 32, gap.height + 22), color=pink,
            arrowprops={"arrowstyle": "-", "color": pink, "lw": 0.7},
        )  # fmt: skip
    known = []
    for name, value in geometry.facts.items():
        unit = " mm" if name.endswith("_mm") else ""
        known.append(f"{name.removesuffix('_mm').replace('_', ' ')} {value:.3g}{unit}")
    axes.text(left + 3, -30, "\n".join(known), va="top", color=INK, fontsize=7)


def _span(part: Part) -> tuple[float, float]:
    """Lowest and highest point of an upright part, mm."""
    heights: list[float] = []
    for piece in part.pieces:
        solid = piece.solid
        if isinstance(solid, Prism):
            heights += [z for _, z in solid.outline]
        else:
            heights += [solid.base[2], solid.base[2] + solid.axis[2]]
    return min(heights), max(heights)
