"""A construct from one side: bone, tissue and what stands in the canal cut, other implants whole."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path
from scipy.spatial import ConvexHull

from geometries.solids import Frustum, Geometry, Part, Prism, radial
from pipeline.output.crosscut import Array, CrossSection, Plane, section
from pipeline.output.notes import shown
from pipeline.output.scene import COLOURS, CUT_COLOURS, INK

NEARER = {0: 1.0, 1: -1.0}  # sense of the other horizontal axis in which things are nearer
UNCUT = ("plate", "bolt", "screw")
FILLS = COLOURS | CUT_COLOURS | {"bridge": "#a97b3f"}
FACING = 0.3  # cosine from which a plate counts as seen from its face
BEHIND, BEFORE = 2.6, 5.0  # drawing orders, beside: section 2, nail 3, borders 3.5
TURNS = np.linspace(0, 2 * np.pi, 40)
PLATE_ON_EDGE, PLATE_BEFORE = 2.4, 4.0


@dataclass(frozen=True)
class SideView:
    """A construct from one side: where it is cut, and what the cut shows."""

    geometry: Geometry
    plane: Plane
    section: CrossSection

    @property
    def axis(self) -> int:
        """Horizontal axis that runs to the right."""
        return self.plane.axis

    @property
    def width(self) -> float:
        """Half the width of all that is drawn, mm."""
        found = [outline for part in self.parts(*UNCUT) for outline in self.outlines(part)]
        found += [face for faces in self.section.faces.values() for face in faces]
        return max(float(np.abs(outline[:, 0]).max()) for outline in found)

    def parts(self, *roles: str) -> list[Part]:
        """Parts of some roles."""
        return [part for part in self.geometry.parts if part.role in roles]

    def outlines(self, part: Part) -> list[Array]:
        """Silhouettes of a part that is not cut."""
        found: list[Array] = []
        for piece in part.pieces:
            if isinstance(piece.solid, Prism):
                found += prism(piece.solid, self.axis)
            else:
                found.append(bar(piece.solid, self.axis))
        return found

    def facing(self, part: Part) -> float:
        """How much a plate faces the viewer: 1 wholly, 0 on edge, -1 from behind the bone."""
        solid = part.pieces[0].solid
        assert isinstance(solid, Prism)
        return NEARER[self.axis] * radial(solid.azimuth_deg)[1 - self.axis]

    def is_hidden(self, part: Part) -> bool:
        """Whether a bolt or screw lies behind the section as a whole."""
        solid = part.pieces[0].solid
        assert isinstance(solid, Frustum)
        ends = np.array([solid.base, np.add(solid.base, solid.axis)])
        away = NEARER[self.axis] * (ends[:, 1 - self.axis] - self.plane.at(ends[:, 2]))
        return bool(away.max() < -solid.radius)

    def is_behind_rod(self, part: Part) -> bool:
        """Whether a bolt or screw passes behind the nail or stem."""
        rods = [one.pieces[0].solid for one in self.parts("nail", "stem")]
        foot = next(one.foot for one in self.geometry.pins if one.name == part.name)
        away = NEARER[self.axis] * (foot[1 - self.axis] - float(self.plane.at(np.array(foot[2]))))
        return any(isinstance(rod, Frustum) and away < -rod.radius for rod in rods)


def view_of(geometry: Geometry, axis: int) -> SideView:
    """Cut bone, tissue, nail and stem where the nail's axis lies, else through the shaft axis."""
    cut = tuple(part for part in geometry.parts if part.role not in UNCUT)
    plane = Plane(axis)
    for part in cut:
        rod = part.pieces[0].solid
        if part.role == "nail" and isinstance(rod, Frustum):
            lean = rod.axis[1 - axis] / rod.axis[2]
            plane = Plane(axis, rod.base[1 - axis] - lean * rod.base[2], lean)
    names = ["" if part.role == "pad" else shown(part) for part in cut]
    return SideView(geometry, plane, section(replace(geometry, parts=cut), names, plane))


def paint(axes: Axes, view: SideView, low: float, high: float) -> None:
    """Show all between two heights: what is cut, what is in front of it, dashed what lies behind."""
    for part in view.parts("pad"):
        for outline in view.outlines(part):
            axes.add_patch(Polygon(outline, facecolor=FILLS["pad"], edgecolor=INK, lw=0.4, zorder=1))
    _paint_section(axes, view, low, high)
    for part in view.parts("plate"):
        facing = view.facing(part)
        for outline in view.outlines(part):
            order = PLATE_BEFORE if facing > FACING else PLATE_ON_EDGE
            _silhouette(axes, outline, part.role, facing < -FACING, order)
        for rim in holes(part, view.axis) if facing > FACING else ():
            axes.add_patch(Polygon(rim, facecolor="none", edgecolor=INK, lw=0.4, zorder=4.5))
    for part in view.parts("bolt", "screw"):
        order = BEHIND if view.is_behind_rod(part) else BEFORE
        _silhouette(axes, view.outlines(part)[0], part.role, view.is_hidden(part), order)


def _paint_section(axes: Axes, view: SideView, low: float, high: float) -> None:
    """What is cut; bone and nail hide what lies behind them, behind their hollows too."""

    def joined(outlines: list[Array], is_closed: bool) -> Path:
        near = [one for one in outlines if one[:, 1].max() > low and one[:, 1].min() < high]
        rings = [np.vstack([one, one[:1]]) if is_closed else one for one in near]
        return Path.make_compound_path(*[Path(one, closed=is_closed) for one in rings])

    style: dict[str, Any]
    for part in view.parts("cortex", "gap"):
        for outline in view.outlines(part):
            axes.add_patch(Polygon(outline, facecolor="white", zorder=1.5))
    for part in view.parts("nail", "stem"):
        for outline in view.outlines(part)[::2]:
            style = {"facecolor": "white", "edgecolor": FILLS[part.role], "lw": 0.4}
            axes.add_patch(Polygon(outline, zorder=BEHIND + 0.1, **style))
    for name, faces in view.section.faces.items():
        order = 3.0 if name in ("nail", "stem") else 2.0
        style = {"facecolor": FILLS[name], "edgecolor": FILLS[name], "lw": 0.3}
        axes.add_patch(PathPatch(joined(faces, True), zorder=order, **style))
    style = {"facecolor": "none", "edgecolor": INK, "lw": 0.35, "capstyle": "butt"}
    axes.add_patch(PathPatch(joined(view.section.lines, False), zorder=3.5, **style))


def _silhouette(axes: Axes, outline: Array, role: str, is_hidden: bool, order: float) -> None:
    """An implant that is not cut: a plate before the bone lets it shine through."""
    style: dict[str, Any] = {"facecolor": FILLS[role], "edgecolor": INK, "zorder": order}
    if is_hidden:
        style |= {"facecolor": "none", "edgecolor": FILLS[role], "linestyle": (0, (3, 2)), "zorder": 6}
    elif order == PLATE_BEFORE:
        style["facecolor"] = (FILLS[role], 0.3)
    axes.add_patch(Polygon(outline, closed=True, lw=0.8 if is_hidden else 0.4, **style))


def bar(solid: Frustum, axis: int) -> Array:
    """A bolt, screw, nail or stem: the hull of its two end discs, seen at a slant or edge-on."""
    start, along = np.asarray(solid.base), np.asarray(solid.axis) / solid.height
    aside = np.cross(along, np.roll(np.eye(3)[np.abs(along).argmax()], 1))
    aside /= np.linalg.norm(aside)
    rim = np.outer(np.cos(TURNS), aside) + np.outer(np.sin(TURNS), np.cross(along, aside))
    discs = start + solid.radius * rim, start + solid.axis + solid.end_radius * rim
    return _hull(np.concatenate(discs)[:, [axis, 2]])


def prism(solid: Prism, axis: int) -> Iterator[Array]:
    """A plate, one straight stretch after another."""
    half = len(solid.outline) // 2
    inside, outside = solid.outline[:half], solid.outline[half:][::-1]
    out, across = np.asarray(radial(solid.azimuth_deg)), np.asarray(solid.sweep) / 2
    for (a, b), (c, d) in zip(pairwise(inside), pairwise(outside), strict=True):
        corners = [r * out + side * across for r, _ in (a, b, c, d) for side in (1, -1)]
        heights = np.repeat([z for _, z in (a, b, c, d)], 2)
        yield _hull(np.stack([np.array(corners)[:, axis], heights], axis=1))


def holes(part: Part, axis: int) -> Iterator[Array]:
    """Rims (k, 2) of the empty holes of a plate."""
    piece = part.pieces[-1]
    assert isinstance(piece.solid, Prism)
    out, reach = np.asarray(radial(piece.solid.azimuth_deg)), piece.solid.outline[-1][0]
    for cut in piece.cuts:
        if isinstance(cut, Frustum):
            wide = abs(float(out[1 - axis])) * cut.radius
            rim = np.stack([wide * np.cos(TURNS), cut.radius * np.sin(TURNS)], axis=1)
            yield np.add(rim, (reach * out[axis], cut.base[2]))


def _hull(points: Array) -> Array:
    return np.asarray(points[ConvexHull(points).vertices])
