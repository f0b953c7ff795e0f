"""Surfaces of a finished case, thinned out for a page that turns them: plain numbers, no files."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from matplotlib import colormaps
from matplotlib.colors import to_hex
from numpy.typing import NDArray

from geometries.solids import IMPLANT_ROLES, TISSUE_ROLES
from pipeline.output.figures import STRAIN_LOOK, STRESS_LOOK, shared_top
from pipeline.output.model import STRAIN, STRESS, Model, read_model, read_values
from pipeline.output.panels import LABELS
from pipeline.output.scene import COLOURS, CUT_COLOURS, HAIR_MM

KEPT = 0.25  # of the triangles: curved faces came in four
EDGE_DEG = 40.0
STEPS = 10  # of a colour range
STEP_MM = 0.02  # coordinates are whole multiples of it, so 16 bits reach 655 mm either way
FRONT = (0.0, 1.0, 0.0)
LOOKS = {"stress": (STRESS, *STRESS_LOOK), "strain": (STRAIN, *STRAIN_LOOK)}


def read_ranges(out: Path, names: list[str], stage: str, load: str) -> dict[str, dict[str, Any]]:
    """Name and upper end of each field's colours, one for all constructs, as in the figures."""
    values = [read_values(out, name, stage, load) for name in names]
    return {
        key: {
            "label": label,
            "top": shared_top(one[field] for one in values),
            "colours": _scale(colours),
        }
        for key, (field, colours, _, label) in LOOKS.items()
    }


def _scale(name: str) -> list[tuple[float, str]]:
    """A colour map at even steps."""
    return [(k / STEPS, to_hex(colormaps[name](k / STEPS))) for k in range(STEPS + 1)]


def read_shells(out: Path, name: str, stage: str, load: str) -> list[dict[str, Any]]:
    """Surfaces of a construct's parts, whole ones and of bone and gap the posterior half besides.

    Parameters
    ----------
    out : Path
        Folder of the study.
    name, stage, load : str
        Which case, and which fields of it.

    Returns
    -------
    list of dict
        Of each: role, its name and colour, whether it is a half, and as base64 of little-endian
        numbers `points` (steps of 0.02 mm), `cells` and, where it has one, `field`. A right femur:
        the model's is mirrored, as in the figures.
    """
    model = read_model(out, name, stage, load)
    return [shell for role in model.surfaces for shell in _shells(model, role)]


def _shells(model: Model, role: str) -> Iterator[dict[str, Any]]:
    full = model.surfaces[role].triangulate().clean()
    thin = _with_fields(full.decimate(1 - KEPT), full)
    cut = role not in IMPLANT_ROLES
    common = {"role": role, "name": LABELS.get(role, role), "cut": cut}
    yield common | {"half": False, "colour": COLOURS[role]} | _numbers(thin, role)
    if not cut:
        return
    half = thin.clip(FRONT, origin=(0.0, -HAIR_MM, 0.0)).triangulate()
    yield common | {"half": True, "colour": COLOURS[role]} | _numbers(half, role)
    face = model.solids[role].slice(FRONT, origin=(0.0, -HAIR_MM, 0.0)).triangulate().clean()
    if face.n_cells:
        face = face.cell_data_to_point_data()
        colour = CUT_COLOURS.get(role, COLOURS[role])
        yield common | {"half": True, "colour": colour} | _numbers(face, role)


def _with_fields(thin: pv.PolyData, full: pv.PolyData) -> pv.PolyData:
    """Give each point of a thinned surface the fields of the nearest point that it came from."""
    nearest = [full.find_closest_point(point) for point in thin.points]
    for field in (STRESS, STRAIN):
        thin.point_data[field] = full.point_data[field][nearest]
    return thin


def _numbers(surface: pv.PolyData, role: str) -> dict[str, Any]:
    if surface.n_cells:  # points doubled at sharp edges, where light must not be blended
        surface = surface.compute_normals(
            cell_normals=False, split_vertices=True, feature_angle=EDGE_DEG
        )
    cells = surface.faces.reshape(-1, 4)[:, 1:] if surface.n_cells else np.empty((0, 3), int)
    points = np.round(surface.points * (-1.0, 1.0, 1.0) / STEP_MM)
    field = STRAIN if role in TISSUE_ROLES else STRESS if role in IMPLANT_ROLES else ""
    found = {"points": _packed(points, "<i2"), "cells": _packed(cells, "<u4")}
    if field and surface.n_cells:
        values = np.nan_to_num(surface.point_data[field])
        found |= {"field": _packed(values, "<f4"), "shows": "strain" if field == STRAIN else "stress"}
    return found


def _packed(values: NDArray[Any], kind: str) -> str:
    return b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode("ascii")
