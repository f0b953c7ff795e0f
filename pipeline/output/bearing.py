"""Where surfaces bear on each other under the load that is shown, as points to mark in a picture."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, radians, sin
from pathlib import Path

import numpy as np

from geometries.frame import Vector
from pipeline.output.model import Model
from pipeline.storage.casebook import ROWS, case_of
from pipeline.tables.rows import REQUIRED, read_results

HEIGHT, SIDE = "contact_height", "contact_side"
NEXT_MM = 5.0  # above and below, of the surface points that say how far out a place lies
SURFACES = {"canal": ("nail", "stem"), "bone_ends": ("cortex",), "plate": ("cortex",)}


def places(out: Path, name: str, model: Model, load: str) -> Iterator[Vector]:
    """Points on the surfaces of a case where they bear, at its stage.

    Bolts, which have no side, have none; a plate bears on its own side of the bone.
    """
    found: dict[tuple[str, str], float] = {
        (row.location, row.quantity): row.number
        for row in read_results(case_of(out, name) / ROWS, REQUIRED)
        if row.quantity in (HEIGHT, SIDE) and row.is_ok and (row.stage, row.load) == (model.stage, load)
    }
    for touch, quantity in found:
        roles = next((own for kind, own in SURFACES.items() if touch.startswith(kind)), ())
        if quantity == HEIGHT and roles:
            side = found.get((touch, SIDE), model.summary["gap"]["near_azimuth_deg"])
            yield from _on_surface(model, roles, found[touch, HEIGHT], side)


def _on_surface(
    model: Model, roles: tuple[str, ...], height: float, azimuth_deg: float
) -> Iterator[Vector]:
    """The outermost point of some roles at a height, towards a side."""
    way = np.array([-cos(radians(azimuth_deg)), sin(radians(azimuth_deg))])
    points = np.concatenate(
        [np.empty((0, 3)), *(model.surfaces[role].points for role in roles if role in model.surfaces)]
    )
    there = points[np.abs(points[:, 2] - height) < NEXT_MM, :2]
    if len(there):
        x, y = way * float((there @ way).max())
        yield (float(x), float(y), height)
