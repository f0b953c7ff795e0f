"""Parts as volumes in gmsh's geometry kernel, which the mesher hands in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from geometries.bow import Bow
from geometries.solids import (
    Frustum,
    Geometry,
    HalfSpace,
    Loft,
    Piece,
    Sector,
    Tool,
    Vector,
)
from pipeline.errors import MeshError

ENDLESS_MM = 250.0


def _add(occ: Any, solid: Tool, seam: float) -> tuple[int, int]:
    if isinstance(solid, Frustum):
        return _round(occ, solid, seam)
    if isinstance(solid, HalfSpace):
        return _half_space(occ, solid)
    if isinstance(solid, Sector):
        corners = [(*corner, solid.low) for corner in solid.outline(ENDLESS_MM)]
        return _swept(occ, corners, (0.0, 0.0, solid.high - solid.low))
    if isinstance(solid, Loft):
        return _lofted(occ, solid)
    return _swept(occ, solid.corners(), solid.sweep)


def _round(occ: Any, solid: Frustum, seam: float) -> tuple[int, int]:
    """A cylinder or cone whose seam is turned by an angle, radians."""
    if solid.radius == solid.end_radius:
        made = 3, occ.addCylinder(*solid.base, *solid.axis, solid.radius)
    else:
        made = 3, occ.addCone(*solid.base, *solid.axis, solid.radius, solid.end_radius)
    if seam:
        occ.rotate([made], *solid.base, *solid.axis, seam)
    return made


def _lofted(occ: Any, solid: Loft) -> tuple[int, int]:
    wires = [occ.addCurveLoop([occ.addCircle(x, y, z, radius)]) for x, y, z, radius in solid.circles]
    return next(one for one in occ.addThruSections(wires, makeRuled=True) if one[0] == 3)


def _swept(occ: Any, corners: Sequence[Vector], along: Vector) -> tuple[int, int]:
    """A polygon drawn along a vector."""
    points = [occ.addPoint(*corner) for corner in corners]
    lines = [occ.addLine(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]
    return _extruded(occ, occ.addPlaneSurface([occ.addCurveLoop(lines)]), along)


def _half_space(occ: Any, solid: HalfSpace) -> tuple[int, int]:
    """As much of a half-space as any bone can meet."""
    controls, count = solid.face.controls()
    along = (0.0, 0.0, ENDLESS_MM if solid.is_above else -ENDLESS_MM)
    if count == 2:
        return _swept(occ, controls[[0, 1, 3, 2]].tolist(), along)
    points = [occ.addPoint(*point) for point in controls.tolist()]
    return _extruded(occ, occ.addBSplineSurface(points, count), along)


def _extruded(occ: Any, face: int, along: Vector) -> tuple[int, int]:
    swept = occ.extrude([(2, face)], *along)
    return next(entity for entity in swept if entity[0] == 3)


def _build(occ: Any, piece: Piece, seam: float) -> list[tuple[int, int]]:
    body = [_add(occ, piece.solid, seam)]
    if piece.cuts:
        body, _ = occ.cut(body, [_add(occ, cut, seam) for cut in piece.cuts])
    return list(body)


def fragments(gmsh: Any, geometry: Geometry, seam: float = 0.0) -> list[list[int]]:
    """Volume tags of each part after all have been cut by each other; later parts win."""
    occ = gmsh.model.occ
    inputs, owners = [], []
    for index, part in enumerate(geometry.parts):
        for piece in part.pieces:
            body = _build(occ, piece, seam)
            inputs += body
            owners += [index] * len(body)
    if len(inputs) > 1:
        _, made = occ.fragment(inputs, [])
    else:
        made = [inputs]
    occ.synchronize()
    owner: dict[int, int] = {}
    for index, entities in zip(owners, made, strict=True):
        for dimension, tag in entities:
            if dimension == 3:
                owner[tag] = max(index, owner.get(tag, index))
    everything = {tag for _, tag in gmsh.model.getEntities(3)}
    if everything != set(owner):
        raise MeshError(f"{len(everything ^ set(owner))} volumes belong to no part")
    return [[tag for tag in sorted(owner) if owner[tag] == k] for k in range(len(geometry.parts))]


def masses_of(gmsh: Any, volumes: list[list[int]], bow: Bow | None) -> list[float]:
    """Volume of each part, mm³, bent if there is a bow.

    Bending stretches every fibre by y / radius, so a volume V whose centroid lies at y becomes
    V (1 + y / radius), exactly.
    """

    def mass(tag: int) -> float:
        straight = float(gmsh.model.occ.getMass(3, tag))
        if bow is None:
            return straight
        return straight * (1 + gmsh.model.occ.getCenterOfMass(3, tag)[1] / bow.radius)

    return [sum(map(mass, tags)) for tags in volumes]
