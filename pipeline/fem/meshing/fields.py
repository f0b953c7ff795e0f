"""Edge lengths over a model in gmsh, which the mesher hands in.

Errors gather at bolts and screws, most at those next to the gap, and in a plate across the gap: edges
are short there, and grow away from them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np

from geometries.solids import Geometry, Part
from pipeline.errors import MeshError
from pipeline.fem.meshing.recipe import Recipe
from pipeline.fem.meshing.sizes import WALLS, Sizes

FLAT = 1e-6
NEVER = 1e22
SAMPLES = 40  # of a surface, each way, from which distances are taken
BUSY_MM = 45.0  # from the gap, within which screws bear most
WALL_MM, ROD_MM = (0.5, 8.0), (2.0, 10.0)  # from bolts and screws: where edges begin and end to grow
ACROSS_MM = (25.0, 45.0)  # the same of a plate, from the gap
PINS = ("bolt", "screw")


class Grown(NamedTuple):
    """Edge lengths that grow with a distance: up to the first, from the second on, mm."""

    small: float
    large: float
    span: tuple[float, float]


def set_sizes(gmsh: Any, geometry: Geometry, volumes: list[list[int]], recipe: Recipe) -> None:
    """Say how long edges are everywhere.

    Parameters
    ----------
    gmsh : module
        With the model's volumes.
    geometry : Geometry
        What they are.
    volumes : list of list of int
        Tags of the volumes of each part.
    recipe : Recipe
        How long, and where shorter since a mesh failed before.

    Raises
    ------
    MeshError
        If a part has no volume.
    """
    closer = recipe.closer
    fields = _Fields(gmsh, geometry, volumes, recipe.sizes)
    share = {part.name: closer.get(part.name, 1.0) for part in geometry.parts}
    of_volume: dict[int, float] = {}
    for part, tags in zip(geometry.parts, volumes, strict=True):
        if not tags:
            raise MeshError(f"part {part.name!r} is covered by other parts")
        of_volume |= dict.fromkeys(tags, share[part.name])
        fields.size_part(part, tags, share[part.name])
    for _, tag in gmsh.model.getEntities(2):
        radius = radius_of(gmsh, tag)
        if radius is not None:
            beside, _ = gmsh.model.getAdjacencies(2, tag)
            least = min(closer.get(round(radius, 2), 1.0), *(of_volume[volume] for volume in beside))
            fields.size_round(tag, radius, least)
    fields.finish()


def radius_of(gmsh: Any, surface: int) -> float | None:
    """Least radius of a surface at its middle, mm; None for a flat one."""
    if gmsh.model.getType(2, surface) == "Plane":
        return None
    low, high = gmsh.model.getParametrizationBounds(2, surface)
    middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]
    curvature = np.abs(gmsh.model.getPrincipalCurvatures(surface, middle)[:2]).max()
    return float(1 / curvature) if curvature > FLAT else None


class _Fields:
    """Fields of edge lengths, whose least counts."""

    def __init__(self, gmsh: Any, geometry: Geometry, volumes: list[list[int]], sizes: Sizes) -> None:
        self.gmsh, self.geometry, self.sizes = gmsh, geometry, sizes
        self.field, self.listed = gmsh.model.mesh.field, list[int]()
        self.pins: set[int] = set()
        busy: set[int] = set()
        for part, tags in zip(geometry.parts, volumes, strict=True):
            if part.role in PINS:
                skin = self._skin(tags)
                self.pins |= skin
                busy |= skin if part.role == "bolt" or self._is_busy(tags) else set()
        self.idle = self.pins - busy
        gap = [tag for part, tags in zip(geometry.parts, volumes, strict=True) for tag in tags
               if part.role == "gap"]  # fmt: skip
        self.to_pins, self.to_gap = self._distance(busy), self._distance(self._skin(gap))

    def size_part(self, part: Part, tags: list[int], share: float) -> None:
        """Edges inside a part, by its wall."""
        sizes = self.sizes if self.pins else self.sizes.near()
        length = share * sizes.of(part)
        self._constant("VolumesList", tags, length)
        if part.role in WALLS:
            near = share * sizes.near().of(part)
            self._grown(self.to_pins, "VolumesList", tags, Grown(near, length, WALL_MM))
        if part.role == "plate":
            across = share * sizes.across().of(part)
            self._grown(self.to_gap, "VolumesList", tags, Grown(across, length, ACROSS_MM))

    def size_round(self, tag: int, radius: float, share: float) -> None:
        """Edges on a round surface: short at bolts and screws, longer on rods off these."""
        room, sizes = self.geometry.clearance_at(radius), self.sizes
        near = share * sizes.round(radius, room)
        if tag in self.idle:
            near = share * sizes.idle(radius, room)
        if tag in self.pins or not self.to_pins:
            self._constant("SurfacesList", [tag], near)
        else:
            far = share * sizes.rod(radius, room)
            self._grown(self.to_pins, "SurfacesList", [tag], Grown(near, far, ROD_MM))

    def finish(self) -> None:
        """Let the least of all fields count."""
        least = self._add("Min", {}, FieldsList=self.listed)
        self.field.setAsBackgroundMesh(least)
        self.gmsh.option.setNumber("Mesh.MeshSizeMin", 0.25 * self.sizes.shortest)
        self.gmsh.option.setNumber("Mesh.MeshSizeMax", self.sizes.longest)

    def _is_busy(self, tags: list[int]) -> bool:
        """Whether a screw is so near to the gap that it bears much."""
        if self.geometry.gap is None:
            return True
        boxes = [self.gmsh.model.getBoundingBox(3, tag) for tag in tags]
        low, high = min(box[2] for box in boxes), max(box[5] for box in boxes)
        level = self.geometry.gap.centre[2]
        return max(low - level, level - high) < BUSY_MM

    def _skin(self, tags: Iterable[int]) -> set[int]:
        """Surfaces round volumes."""
        each = (self.gmsh.model.getBoundary([(3, tag)], oriented=False) for tag in tags)
        return {abs(tag) for found in each for _, tag in found}

    def _distance(self, surfaces: set[int]) -> int:
        """A field of distances from surfaces; 0, which is none, from nothing."""
        if not surfaces:
            return 0
        return self._add("Distance", {"Sampling": SAMPLES}, SurfacesList=sorted(surfaces))

    def _constant(self, kind: str, tags: list[int], length: float) -> None:
        options = {"VIn": length, "VOut": NEVER, "IncludeBoundary": 1}
        self.listed.append(self._add("Constant", options, **{kind: tags}))

    def _grown(self, distance: int, kind: str, tags: list[int], grown: Grown) -> None:
        if not distance:
            return
        sizes = {"SizeMin": grown.small, "SizeMax": grown.large}
        span = {"DistMin": grown.span[0], "DistMax": grown.span[1]}
        inside = self._add("Threshold", {"InField": distance, **sizes, **span})
        options = {"InField": inside, "IncludeBoundary": 1}
        self.listed.append(self._add("Restrict", options, **{kind: tags}))

    def _add(self, kind: str, numbers: Mapping[str, float], **lists: list[int]) -> int:
        tag: int = self.field.add(kind)
        for name, value in numbers.items():
            self.field.setNumber(tag, name, value)
        for name, values in lists.items():
            self.field.setNumbers(tag, name, values)
        return tag
