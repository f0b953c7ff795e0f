"""Faces and borders of a construct in a section plane, in mm.

A section knows no shape: it asks which part owns a point. On level lines across the section plane it
finds the borders between parts by bisection, and adds lines until straight borders between two of
them are right; corners and bone ends of any shape then come out sharp.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from geometries.solids import Frustum, Geometry, HalfSpace, Loft, Part, Piece, Prism, Sector, Tool

Array = NDArray[np.float64]

ACROSS_MM, MARGIN_MM = 0.2, 3.0  # between points of a line; strips must be wider
APART_MM, FACE_MM, WAVE_MM = 10.0, 2.0, 1.0  # between the first lines; where a face is, or a rough one
BESIDE_MM = 0.002  # first lines on either side of a known level
CORNER_MM, CURVE_MM, STRAIGHT_MM = 0.02, 0.1, 0.02
HALVINGS = 8
NOTHING = ""


@dataclass(frozen=True)
class Plane:
    """An upright plane, or one that leans with a nail, seen along the other horizontal axis.

    Parameters
    ----------
    axis : int
        Horizontal axis that lies in it: 0 from the front, 1 from the lateral side.
    depth : float
        Where it meets the other horizontal axis at z = 0, mm.
    lean : float
        By how much that changes per mm of height.
    """

    axis: int
    depth: float = 0.0
    lean: float = 0.0

    def at(self, z: Array) -> Array:
        """Where it lies at heights along the other horizontal axis, mm."""
        return self.depth + self.lean * z

    def points(self, across: Array, z: Array) -> Array:
        """Points (n, 3) from places (n,) in the plane, mm."""
        found = np.stack([across, across, z], axis=1)
        found[:, 1 - self.axis] = self.at(z)
        return found


@dataclass(frozen=True)
class CrossSection:
    """Faces (k, 2) in a plane by what they show, and the lines (k, 2) between unlike ones, mm."""

    faces: dict[str, list[Array]]
    lines: list[Array]


@dataclass(frozen=True)
class _Row:
    """A level line: what it crosses from left to right, and where one follows another."""

    z: float
    shown: tuple[str, ...]
    borders: Array


def section(geometry: Geometry, names: list[str], plane: Plane) -> CrossSection:
    """Cut a geometry by a plane.

    Parameters
    ----------
    geometry : Geometry
        All parts that are to be cut.
    names : list of str
        What each part shows; parts that show the same become one face.
    plane : Plane
        The plane.
    """
    shown = list(dict.fromkeys([NOTHING, *names]))
    codes = np.array([*map(shown.index, names), 0])  # the last one is the void
    pieces = [
        (index, piece, min(ends_of(piece.solid)) - MARGIN_MM, max(ends_of(piece.solid)) + MARGIN_MM)
        for index, part in enumerate(geometry.parts)
        for piece in part.pieces
    ]
    reach = MARGIN_MM + max(_reach(part) for part in geometry.parts)
    columns = np.arange(-reach, reach + ACROSS_MM, ACROSS_MM) + 0.0137  # on no surface

    def code(across: Array, z: Array) -> NDArray[np.intp]:
        return codes[_painted(pieces, plane.points(across, z))]

    def scan(heights: list[float], likely: list[Array]) -> list[_Row]:
        z = np.asarray(heights)
        across = _columns(columns, likely)
        found = code(across.ravel(), np.repeat(z, across.shape[1])).reshape(across.shape)
        row, column = np.nonzero(found[:, 1:] != found[:, :-1])
        left, right, before = across[row, column], across[row, column + 1], found[row, column]
        for _ in range(HALVINGS):
            middle = (left + right) / 2
            is_left = code(middle, z[row]) == before
            left, right = np.where(is_left, middle, left), np.where(is_left, right, middle)
        first = np.searchsorted(row, np.arange(1, len(z)))
        after = np.split(found[row, column + 1], first)
        borders = np.split((left + right) / 2, first)
        return [
            _Row(height, tuple(shown[one] for one in (0, *crossed)), places)
            for height, crossed, places in zip(heights, after, borders, strict=True)
        ]

    return _joined(_refined(scan, _levels(geometry.parts, reach)))


def _columns(columns: Array, likely: list[Array]) -> Array:
    """Points (lines, n) of every line: evenly spaced, and close to either side of likely borders."""
    count = 2 * max(len(places) for places in likely)
    found = np.empty((len(likely), len(columns) + count))
    found[:] = np.concatenate([columns, np.full(count, columns[-1])])
    for row, places in zip(found, likely, strict=True):
        row[len(columns) : len(columns) + 2 * len(places)] = np.concatenate(
            [places - CORNER_MM, places + CORNER_MM]
        )
    found.sort(axis=1)
    return found


def _painted(pieces: list[tuple[int, Piece, float, float]], points: Array) -> NDArray[np.intp]:
    """The same as `Geometry.painted`, but asks a piece only about points at its own heights."""
    owner = np.full(len(points), -1)
    for index, piece, low, high in pieces:
        near = np.flatnonzero((points[:, 2] > low) & (points[:, 2] < high))
        owner[near[piece.contains(points[near])]] = index
    return owner


def _reach(part: Part) -> float:
    """How far a part may reach from the shaft axis, mm."""
    found = [0.0]
    for piece in part.pieces:
        solid = piece.solid
        if isinstance(solid, Prism):
            found += [float(np.hypot(r, solid.width / 2)) for r, _ in solid.outline]
        else:
            ends = np.array([solid.base, np.add(solid.base, solid.axis)])
            found += (np.hypot(*ends.T[:2]) + max(solid.radius, solid.end_radius)).tolist()
    return max(found)


def _levels(parts: tuple[Part, ...], reach: float) -> list[float]:
    """Heights of the first lines: beside every level at which a solid begins or ends, and between."""
    tools = {one for part in parts for piece in part.pieces for one in (piece.solid, *piece.cuts)}
    ends = sorted({z for one in tools for z in ends_of(one)})
    found = {z + side * BESIDE_MM for z in ends for side in (-1, 1)}
    found.update(np.arange(ends[0], ends[-1], APART_MM).tolist())
    for one in tools:
        if isinstance(one, HalfSpace):
            low, high = one.face.extent(reach)
            step = WAVE_MM if one.face.waves else FACE_MM
            found.update((step * np.arange(np.floor(low / step), high / step + 1)).tolist())
    return sorted({round(z, 6) for z in found if ends[0] - 1 < z < ends[-1] + 1})


def ends_of(one: Tool) -> list[float]:
    """Heights at which a solid or tool begins, bends or ends on a level, mm."""
    if isinstance(one, Prism):
        return [z for _, z in one.outline]
    if isinstance(one, Frustum):
        return [one.base[2], one.base[2] + one.axis[2]]
    if isinstance(one, Sector):
        return [one.low, one.high]
    if isinstance(one, Loft):
        return [circle[2] for circle in one.circles]
    return []


def _refined(
    scan: Callable[[list[float], list[Array]], list[_Row]], heights: list[float]
) -> list[_Row]:
    """Lines so close that borders between them are straight, or nearly level ones between two lines."""
    first = [row.borders for row in scan(heights, [np.empty(0)] * len(heights))]
    around = [np.concatenate(first[max(k - 1, 0) : k + 2]) for k in range(len(first))]
    rows = dict(zip(heights, scan(heights, around), strict=True))
    pending = list(pairwise(heights))
    while pending:
        likely = [np.concatenate([rows[z].borders for z in pair]) for pair in pending]
        middles = scan([(low + high) / 2 for low, high in pending], likely)
        halves = []
        for (low, high), row in zip(pending, middles, strict=True):
            if not _is_between(rows[low], row, rows[high]):
                rows[row.z] = row
                halves += [(low, row.z), (row.z, high)]
        pending = [
            (low, high)
            for low, high in halves
            if high - low > (CURVE_MM if rows[low].shown == rows[high].shown else CORNER_MM)
        ]
    return [rows[z] for z in sorted(rows)]


def _is_between(low: _Row, row: _Row, high: _Row) -> bool:
    """Whether the line half-way between two others needs no place of its own."""
    if not low.shown == row.shown == high.shown:
        return False
    away = np.abs(row.borders - (low.borders + high.borders) / 2)
    return bool(away.max(initial=0.0) < STRAIGHT_MM)


def _joined(rows: list[_Row]) -> CrossSection:
    """Faces and lines from rising lines."""
    made, going = CrossSection({}, []), list[_Border]()
    runs = [list(run) for _, run in groupby(rows, key=lambda row: row.shown)]
    levels = [(low[-1].z + high[0].z) / 2 for low, high in pairwise(runs)]
    for k, run in enumerate(runs):
        if k > 0:
            run.insert(0, replace(run[0], z=levels[k - 1]))
        if k < len(levels):
            run.append(replace(run[-1], z=levels[k]))
            made.lines.extend(_steps(run[-1], runs[k + 1][0], levels[k]))
        found = _borders(run)
        for left, right in pairwise(found):
            if left.right != NOTHING:
                face = np.concatenate([left.line, right.line[::-1]])
                made.faces.setdefault(left.right, []).append(face)
        going, ended = _continued(going, found)
        made.lines.extend(border.line for border in ended)
    made.lines.extend(border.line for border in going)
    return made


@dataclass(frozen=True, eq=False)
class _Border:
    """A rising line (k, 2) and what lies left and right of it."""

    left: str
    right: str
    line: Array


def _borders(run: list[_Row]) -> list[_Border]:
    """Borders of lines that all cross the same."""
    z = np.array([row.z for row in run])
    places = np.array([row.borders for row in run]).T
    lines = [np.stack([x, z], axis=1) for x in places]
    return [_Border(*sides, line) for sides, line in zip(pairwise(run[0].shown), lines, strict=True)]


def _continued(going: list[_Border], found: list[_Border]) -> tuple[list[_Border], list[_Border]]:
    """Borders with what they continue, and those that nothing continues."""
    kept: list[_Border] = []
    ended = list(going)
    for border in found:
        for old in ended:
            is_same = (old.left, old.right) == (border.left, border.right)
            if is_same and abs(old.line[-1, 0] - border.line[0, 0]) < STRAIGHT_MM:
                ended.remove(old)
                border = replace(border, line=np.concatenate([old.line, border.line[1:]]))
                break
        kept.append(border)
    return kept, ended


def _steps(low: _Row, high: _Row, level: float) -> Iterator[Array]:
    """Level lines between two rows that cross different things."""
    places = np.unique(np.concatenate([low.borders, high.borders]))
    for left, right in pairwise(places):
        middle = (left + right) / 2
        under, over = (row.shown[int(np.searchsorted(row.borders, middle))] for row in (low, high))
        if under != over and right - left > STRAIGHT_MM:
            yield np.array([(left, level), (right, level)])
