"""Surfaces of a finished case, thinned out for a page that turns them: plain numbers, no files."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv
from matplotlib import colormaps
from matplotlib.colors import to_hex
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geometries.solids import IMPLANT_ROLES, TISSUE_ROLES
from pipeline.errors import OutputError
from pipeline.measures.exploring import LIVE
from pipeline.output.figures import STRAIN_LOOK, STRESS_LOOK, shared_top
from pipeline.output.model import BONE, STRAIN, STRESS, Stored, by_role, skin
from pipeline.output.panels import LABELS
from pipeline.output.scene import COLOURS, CUT_COLOURS, HAIR_MM

KEPT = 0.25  # of the triangles: curved faces came in four
EDGE_DEG = 40.0
STEPS = 10  # of a colour range
STEP_MM = 0.02  # coordinates are whole multiples of it, so 16 bits reach 655 mm either way
TOP, NOTHING = 240, 255  # bytes: the upper end of a range, above which some are left, and no value
FRONT = (0.0, 1.0, 0.0)
LOOKS = {"stress": (STRESS, *STRESS_LOOK), "strain": (STRAIN, *STRAIN_LOOK)}
FIELDS: dict[str, str] = {
    **dict.fromkeys(IMPLANT_ROLES, "stress"),
    **dict.fromkeys(TISSUE_ROLES, "strain"),
}

NEAR = "near"
Shown = tuple[str, str]  # a stage and a load
Near = Mapping[str, NDArray[np.int32]]
"""Numbers of the cells whose colours follow, by field."""
Tops = Mapping[str, float]  # upper end of a field's colours


def looks() -> dict[str, dict[str, Any]]:
    """Name, colours and colour of what lies above of each field, as in the figures."""
    return {
        key: {"label": label, "over": over, "colours": _scale(colours)}
        for key, (_, colours, over, label) in LOOKS.items()
    }


def _scale(name: str) -> list[str]:
    """A colour map at even steps."""
    return [to_hex(colormaps[name](k / STEPS)) for k in range(STEPS + 1)]


def tops(cases: Sequence[Stored], shown: Shown) -> dict[str, float]:
    """Upper end of each field's colours, one for all constructs, as in the figures."""
    found = {}
    for key, (field, *_) in LOOKS.items():
        every = (case.values(field, *shown) for case in cases)
        found[key] = shared_top(one[np.isfinite(one)] for one in every if one is not None)
    return found


def shells(case: Stored, shows: Mapping[Shown, Tops], near: Near) -> list[dict[str, Any]]:
    """Surfaces of a construct's parts, and the faces where bone and gap are cut in half.

    Parameters
    ----------
    case : Stored
        The case.
    shows : dict
        Stages and loads whose fields are wanted, and where their colours end.
    near : dict
        Cells whose colours follow, by field.

    Returns
    -------
    list of dict
        Of each: role, colour, whether it can be cut and whether it is the face of a cut; as base64 of
        little-endian numbers `points` (steps of 0.02 mm), `cells` (of 16 bits, of 32 if it is `wide`)
        and for each stage and load `fields`, shares of the range in bytes: 240 is its upper end, 255
        no value; empty where there is none; `near` has the cell (32 bits) whose colour each point
        follows, empty where none does. A right femur: the model's is mirrored, as in the figures.
    """
    kept = [case.values(STRAIN, *shown) for shown in shows]
    strained = np.zeros(case.grid.n_cells, dtype=bool)
    for values in kept:
        strained |= False if values is None else np.isfinite(values)
    solids = by_role(case.summary, _with_bytes(case, shows), strained)
    found = []
    for role, solid in solids.items():
        follows = Followed.of(case, role, near.get(FIELDS.get(role, "")))
        found += [
            common | _numbers(surface, role, len(shows)) | {NEAR: follows.told(surface)}
            for common, surface in _surfaces(role, solid)
        ]
    return found


def gap_frame(case: Stored) -> dict[str, list[float]] | None:
    """Middle of the gap and half its size in mm, mirrored; of whole bone of the gap's place."""
    parts = [number for number, part in enumerate(case.summary["parts"]) if part["role"] == "gap"]
    cells, gap = np.isin(case.grid.cell_data["part"], parts), case.summary["gap"]
    if cells.any():
        x0, x1, y0, y1, z0, z1 = case.grid.extract_cells(cells.astype(bool)).bounds
    elif gap is not None:  # whole bone has no cells of its own there
        middle, half = gap["height_mm"], gap["length_mm"] / 2
        x, y, z = case.grid.points.T
        beside = np.abs(z - middle) < max(half, gap["radius_mm"])  # where any mesh has nodes
        (x0, x1), (y0, y1) = ((a[beside].min(), a[beside].max()) for a in (x, y))
        z0, z1 = middle - half, middle + half
    else:
        return None
    ends = np.array([[-x1, y0, z0], [-x0, y1, z1]])
    return {"at": ends.mean(axis=0).tolist(), "half": ((ends[1] - ends[0]) / 2).tolist()}


def legend(case: Stored) -> list[dict[str, str]]:
    """Role, colours whole and cut, name and material of parts, in the order of the figures' legends."""
    made_of: dict[str, dict[str, None]] = {}
    for part in case.summary["parts"]:
        bone = part["role"] == "gap" and part["material"].startswith("cortical")
        made_of.setdefault("cortex" if bone else part["role"], {})[part["material"]] = None
    return [
        {
            "role": role, "colour": COLOURS[role], "cut": CUT_COLOURS.get(role, COLOURS[role]),
            "words": _words(role, made_of),
        }
        for role in LABELS
        if role in made_of
    ]  # fmt: skip


def _words(role: str, made_of: Mapping[str, Mapping[str, None]]) -> str:
    """Name of a part and what it is made of, where its name does not say so; tissue is the stage's."""
    materials = [name.replace("_", " ") for name in made_of[role]]
    if role in BONE:
        materials = ["osteoporotic"] if all("osteoporotic" in one for one in materials) else []
    elif role in TISSUE_ROLES:
        materials = []
    return ", ".join([LABELS[role], *materials])


def _with_bytes(case: Stored, shows: Mapping[Shown, Tops]) -> pv.UnstructuredGrid:
    """The mesh with numbered fields in the place of named ones, as shares of their ranges."""
    grid = case.grid.copy(deep=False)
    grid.clear_data()
    grid.cell_data["part"] = case.grid.cell_data["part"]
    for number, (shown, top) in enumerate(shows.items()):
        for key, (field, *_) in LOOKS.items():
            values = case.values(field, *shown)
            if values is not None:
                grid.cell_data[f"{key}:{number}"] = TOP * values / top[key]
    return grid


@dataclass(frozen=True)
class Followed:
    """Middles (m, 3) of a role's cells whose colours follow, mm, and the cells' numbers (m,)."""

    middles: NDArray[np.float64]
    cells: NDArray[np.int32]

    @classmethod
    def of(cls, case: Stored, role: str, cells: NDArray[np.int32] | None) -> Followed:
        """Those of one role; none if no cells follow."""
        if cells is None:
            return cls(np.empty((0, 3)), np.empty(0, np.int32))
        roles = np.array([part["role"] for part in case.summary["parts"]])
        if cells.min() < 0 or cells.max() >= case.grid.n_cells:
            raise OutputError(
                f"{LIVE}: has cells that {case.summary['name']!r} has not; run the study again"
            )
        own = np.sort(cells[roles[case.grid.cell_data["part"][cells]] == role])
        return cls(case.grid.extract_cells(own).cell_centers().points, own)

    def told(self, surface: pv.PolyData) -> str:
        """The nearest cell of each point of a surface."""
        if not len(self.cells):
            return ""
        _, nearest = cKDTree(self.middles).query(surface.points)
        return _packed(self.cells[nearest], "<u4")


def _surfaces(role: str, solid: pv.UnstructuredGrid) -> Iterator[tuple[dict[str, Any], pv.PolyData]]:
    """The thinned surface of a role, and the face where it is cut in half; what is said of each."""
    cut = role not in IMPLANT_ROLES
    common = {"role": role, "cut": cut}
    full = skin(solid).triangulate().clean()
    yield common | {"face": False, "colour": COLOURS[role]}, _split(_thinned(full))
    if not cut:
        return
    face = solid.slice(FRONT, origin=(0.0, -HAIR_MM, 0.0)).triangulate().clean()
    if face.n_cells:
        colour = CUT_COLOURS.get(role, COLOURS[role])
        yield common | {"face": True, "colour": colour}, _split(face.cell_data_to_point_data())


def _thinned(full: pv.PolyData) -> pv.PolyData:
    """A surface of fewer triangles, each point with the fields of the nearest one that it came from."""
    bare = full.copy()
    bare.clear_data()
    thin = bare.decimate(1 - KEPT)
    nearest = [full.find_closest_point(point) for point in thin.points]
    for name in full.point_data.keys():  # noqa: SIM118 - no dictionary, it can not be walked
        thin.point_data[name] = full.point_data[name][nearest]
    return thin


def _split(surface: pv.PolyData) -> pv.PolyData:
    """A surface whose points are doubled at sharp edges, where light must not be blended."""
    if not surface.n_cells:
        return surface
    return surface.compute_normals(cell_normals=False, split_vertices=True, feature_angle=EDGE_DEG)


def _numbers(surface: pv.PolyData, role: str, count: int) -> dict[str, Any]:
    cells = surface.faces.reshape(-1, 4)[:, 1:] if surface.n_cells else np.empty((0, 3), int)
    points = np.round(surface.points * (-1.0, 1.0, 1.0) / STEP_MM)
    wide = len(points) > np.iinfo(np.uint16).max
    shows = FIELDS.get(role, "")
    names = [f"{shows}:{number}" for number in range(count)] if shows else []
    return {
        "points": _packed(points, "<i2"), "cells": _packed(cells, "<u4" if wide else "<u2"),
        "wide": wide, "shows": shows, "fields": [_bytes(surface, name) for name in names],
    }  # fmt: skip


def _bytes(surface: pv.PolyData, name: str) -> str:
    if name not in surface.point_data or not np.isfinite(surface.point_data[name]).any():
        return ""
    values = np.clip(np.round(surface.point_data[name]), 0, NOTHING - 1)
    return _packed(np.nan_to_num(values, nan=NOTHING), "u1")


def _packed(values: NDArray[Any], kind: str) -> str:
    return b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode("ascii")
