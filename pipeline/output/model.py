"""A finished case as it is drawn: its cells by role, their curved surfaces, its two fields."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from numpy.typing import NDArray
from vtkmodules.vtkCommonCore import vtkLogger
from vtkmodules.vtkFiltersGeometry import vtkDataSetSurfaceFilter

from geometries.solids import IMPLANT_ROLES, TISSUE_ROLES
from pipeline.errors import OutputError
from pipeline.storage.casebook import FIELDS, case_of, fault_of, read_summary, why_lost
from pipeline.tables.rows import INTACT_STAGE

Array = NDArray[np.float64]
Grid = pv.UnstructuredGrid

BONE = ("cortex", "cancellous")
ROLES = (*BONE, "canal", "pad", *TISSUE_ROLES, *IMPLANT_ROLES)
_UNSOUND = "{path}: can not be read as fields of a case; run the study again"
MOVED, STRESS, STRAIN = "displacement_mm", "von_mises_MPa", "octahedral_strain_percent"


@dataclass(frozen=True)
class Model:
    """A finished case under one load at one tissue stage.

    Parameters
    ----------
    summary : dict
        Its record.
    stage, load : str
        The stage and load that were asked for.
    solids, surfaces : dict
        Cells and curved outer surface of each role that is drawn.
    """

    summary: Mapping[str, Any]
    stage: str
    load: str
    solids: dict[str, pv.UnstructuredGrid]
    surfaces: dict[str, pv.PolyData]

    @property
    def height(self) -> float:
        """Top of all parts, mm."""
        return max(float(surface.bounds[5]) for surface in self.surfaces.values())

    @property
    def reach(self) -> float:
        """Half the width that a view of bone and plate needs, mm."""
        return max(float(surface.bounds[1]) for surface in self.surfaces.values()) + 8

    @property
    def implants(self) -> list[str]:
        """Roles of the implants that are there."""
        return [role for role in IMPLANT_ROLES if role in self.solids]

    @property
    def has_tissue(self) -> bool:
        """Whether there is tissue in the gap at this stage."""
        return "gap" in self.solids

    @property
    def failed(self) -> bool:
        """Whether it could not be solved: there are parts to draw, but no fields."""
        return bool(why_lost(self.summary, self.stage, self.load))

    @property
    def gap(self) -> tuple[float, float]:
        """Middle and length of the gap, mm; the length is 0 where bone fills its place."""
        gap = self.summary["gap"] or {"height_mm": self.height / 2, "length_mm": 0.0}
        roles = [_drawn_role(part) for part in self.summary["parts"]]
        return gap["height_mm"], gap["length_mm"] if "gap" in roles else 0.0


@dataclass(frozen=True)
class Stored:
    """A finished case: its record, and its mesh with every cell field that is stored of it."""

    summary: Mapping[str, Any]
    grid: pv.UnstructuredGrid

    def has(self, stage: str, load: str) -> bool:
        """Whether fields of this very stage are there."""
        stored = f"{STRESS}:{stage}:{load}" in self.grid.cell_data
        return stored and not why_lost(self.summary, stage, load)

    def values(self, field: str, stage: str, load: str) -> Array | None:
        """A field in all cells; None where it is not stored or was not solved.

        Where there is no gap there is but one stage.
        """
        if why_lost(self.summary, stage, load):
            return None
        keys = (f"{field}:{one}:{load}" for one in (stage, INTACT_STAGE))
        key = next((key for key in keys if key in self.grid.cell_data), None)
        return None if key is None else np.asarray(self.grid.cell_data[key], dtype=np.float64)


def read_values(out: Path, name: str, stage: str, load: str) -> dict[str, Array]:
    """Both cell fields of a case, without the cells that have no value; empty if the stage failed."""
    grid = _read(out, name, stage, load)
    values = {key: np.asarray(grid.cell_data[key], dtype=np.float64) for key in (STRESS, STRAIN)}
    return {key: every[np.isfinite(every)] for key, every in values.items()}


def _read(out: Path, name: str, stage: str, load: str) -> pv.UnstructuredGrid:
    """Mesh with ``part`` and the two fields, renamed without stage and load.

    A stage that could not be solved has no value anywhere.
    """
    path = case_of(out, name) / FIELDS
    with _reading(path):
        reader = pv.get_reader(str(path))  # type: ignore[no-untyped-call]
        there = reader.cell_array_names
    failed = bool(why_lost(read_summary(out, name), stage, load))
    stage = stage if f"{STRESS}:{stage}:{load}" in there else "intact"
    wanted = {key: f"{key}:{stage}:{load}" for key in (STRESS, STRAIN)}
    if not failed and not set(wanted.values()) <= set(there):
        raise OutputError(f"{name}: has no fields of that stage under load {load!r} to draw")
    reader.disable_all_point_arrays()
    reader.disable_all_cell_arrays()
    for key in ("part", *(() if failed else wanted.values())):
        reader.enable_cell_array(key)
    with _reading(path):
        grid = _sound(reader.read(), path)
    for short, long in wanted.items():
        values = np.full(grid.n_cells, np.nan) if failed else grid.cell_data.pop(long)
        grid.cell_data[short] = values
    return grid


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Turn what a reader of fields raises into a sentence; what it prints besides is held back."""
    before = vtkLogger.GetCurrentVerbosityCutoff()
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)
    try:
        yield
    except (RuntimeError, MemoryError):
        raise OutputError(_UNSOUND.format(path=path)) from None
    finally:
        vtkLogger.SetStderrVerbosity(before)


def _sound(grid: Grid, path: Path) -> Grid:
    """A grid whose cells have parts, and corners that are there: what draws it looks at neither."""
    corners = np.asarray(grid.cell_connectivity)
    is_inside = not len(corners) or (corners.min() >= 0 and corners.max() < grid.n_points)
    if not is_inside or "part" not in grid.cell_data:
        raise OutputError(_UNSOUND.format(path=path))
    return grid


def read_grid(out: Path, name: str, stage: str, load: str, variant: str | None = None) -> Grid:
    """Mesh of a case with all its fields at one stage under one load, named without these.

    Parameters
    ----------
    out : Path
        Folder of the run.
    name, stage, load : str
        Construct, tissue stage and load; where there is no gap there is but one stage.
    variant : str, optional
        Point of a design; the first by default.

    Raises
    ------
    OutputError
        If there is no such case, its stage failed, or its fields were not kept.
    """
    folder, summary = case_of(out, name, variant), read_summary(out, name, variant)
    if reason := why_lost(summary, stage, load):
        raise OutputError(f"{name} at stage {stage!r} failed: {reason}")
    if not (folder / FIELDS).is_file():
        raise OutputError(
            f"{name}: its fields were not kept; run the study again and keep them (--keep-fields all)"
        )
    if fault := fault_of(out, folder.name):
        raise OutputError(f"{folder}: {fault}; run the study again")
    with _reading(folder / FIELDS):
        grid = _sound(Grid(str(folder / FIELDS)), folder / FIELDS)
    kept = [key.split(":", 1)[1] for key in grid.point_data if key.startswith(f"{MOVED}:")]
    ending = next((end for end in (f"{stage}:{load}", f"intact:{load}") if end in kept), None)
    if ending is None:
        there = ", ".join(" under ".join(end.split(":")) for end in kept)
        raise OutputError(
            f"{name}: has no fields at stage {stage!r} under load {load!r}; allowed {there}: choose one"
        )
    moved = grid.point_data[f"{MOVED}:{ending}"]
    part = _part_of(grid, summary)
    names = np.array([one["name"] for one in summary["parts"]])
    values: dict[str, Any] = {key: grid.cell_data[f"{key}:{ending}"] for key in (STRESS, STRAIN)}
    values |= {"part": part, "part_name": names[part]}
    grid.clear_data()
    grid.point_data[MOVED] = moved
    grid.cell_data.update(values)
    return grid


def read_model(out: Path, name: str, stage: str, load: str) -> Model:
    """Read a case and sort its cells by role; bone in the gap's place is cortex.

    Raises
    ------
    OutputError
        If the case has no such fields.
    """
    summary, grid = read_summary(out, name), _read(out, name, stage, load)
    solids = by_role(summary, grid, np.isfinite(grid.cell_data[STRAIN]))
    return Model(summary, stage, load, solids, {role: skin(solid) for role, solid in solids.items()})


def read_stored(out: Path, name: str) -> Stored:
    """Read a case with the cell fields of all its stages and loads."""
    path = case_of(out, name) / FIELDS
    with _reading(path):
        reader = pv.get_reader(str(path))  # type: ignore[no-untyped-call]
        reader.disable_all_point_arrays()
        grid = _sound(reader.read(), path)
    return Stored(read_summary(out, name), grid)


def by_role(summary: Mapping[str, Any], grid: Grid, strained: NDArray[np.bool_]) -> dict[str, Grid]:
    """Cells of each role that is drawn; of tissue those that are marked as strained."""
    roles = np.array([_drawn_role(part) for part in summary["parts"]])[_part_of(grid, summary)]
    solids = {}
    for role in ROLES:
        cells = (roles == role) & (strained if role in TISSUE_ROLES else True)
        if cells.any():
            solids[role] = grid.extract_cells(cells)
    return solids


def _part_of(grid: Grid, summary: Mapping[str, Any]) -> NDArray[np.int64]:
    """The number of each cell's part, which the case's record must have."""
    part = np.asarray(grid.cell_data["part"], dtype=np.int64)
    if part.min(initial=0) < 0 or part.max(initial=0) >= len(summary["parts"]):
        raise OutputError(
            f"{summary['name']}: its fields have parts that its record has not; run the study again"
        )
    return part


def _drawn_role(part: Mapping[str, str]) -> str:
    is_bone = part["role"] == "gap" and part["material"].startswith("cortical")
    return "cortex" if is_bone else part["role"]


def skin(solid: pv.UnstructuredGrid) -> pv.PolyData:
    """Outer surface, curved faces in four; fields averaged to its points."""
    surface = vtkDataSetSurfaceFilter()
    surface.SetInputData(solid)
    surface.SetNonlinearSubdivisionLevel(1)
    surface.Update()
    return pv.wrap(surface.GetOutput()).cell_data_to_point_data()
