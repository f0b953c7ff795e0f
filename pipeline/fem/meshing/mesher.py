"""Geometry to mesh. The only module that imports gmsh."""

from __future__ import annotations

import ctypes
import logging
import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from geometries.solids import Contact, Geometry
from geometries.waves import flattened, moved_by_waves
from pipeline.errors import MeshError
from pipeline.fem.mesh import Mesh, MeshPart, faces_on_plane, relax, shared_faces
from pipeline.fem.meshing.cad import fragments, masses_of
from pipeline.fem.meshing.fields import radius_of, set_sizes
from pipeline.fem.meshing.numbering import along_curve, taken_apart
from pipeline.fem.meshing.recipe import FRONTAL, Recipe
from pipeline.fem.meshing.sizes import LEVELS, Level
from pipeline.fem.space import Array, Ints

logger = logging.getLogger("gapstrain")
TETRAHEDRON, QUADRATIC_TETRAHEDRON = 4, 11
FROM_GMSH = [0, 1, 2, 3, 4, 5, 6, 7, 9, 8]
ATTEMPTS = 6
FLATTEST, NO_VOLUME = 0.002, 1e-9


def build_mesh(geometry: Geometry, level: Level) -> Mesh:
    """Mesh a geometry; on failure try again with smaller cells.

    Parameters
    ----------
    geometry : Geometry
        Ordered parts and patches.
    level : {"coarse", "default", "fine"}
        How fine.

    Returns
    -------
    Mesh
        The same mesh for the same input, bit for bit.

    Raises
    ------
    MeshError
        If gmsh is missing, or every attempt failed.
    """
    recipe, reasons = Recipe(LEVELS[level]), []
    for _ in range(ATTEMPTS):
        try:
            return mesh_once(geometry, recipe)
        except MeshError as error:
            reasons.append(str(error))
            logger.warning("mesh, attempt %d: %s", len(reasons), error)
            recipe = recipe.after(error)
    raise MeshError(f"no mesh after {ATTEMPTS} attempts with ever smaller cells; last: {reasons[-1]}")


def require_gmsh() -> Any:
    """Import gmsh.

    Raises
    ------
    MeshError
        If it, or a system library that it needs, is missing.
    """
    try:
        import gmsh
    except (ImportError, OSError) as error:
        raise MeshError(
            f"gmsh can not be loaded ({error}): a library is missing; run 'make install', or install "
            "the system package that brings it"
        ) from None
    return gmsh


def _start(gmsh: Any) -> None:
    """Start gmsh, and undo that it lets a broken pipe end the process, which may hold sockets.

    Python's own call for a signal's handler works in the main thread only.
    """
    get, put = ctypes.pythonapi.PyOS_getsig, ctypes.pythonapi.PyOS_setsig
    get.argtypes, put.argtypes = [ctypes.c_int], [ctypes.c_int, ctypes.c_void_p]
    get.restype = put.restype = ctypes.c_void_p
    number = getattr(signal, "SIGPIPE", None)  # none on Windows
    before = number and get(number)
    gmsh.initialize(readConfigFiles=False, interruptible=False)
    if number:
        put(number, before)


@contextmanager
def _session(algorithm: int = FRONTAL) -> Iterator[Any]:
    """A gmsh session with every option set here, always closed."""
    gmsh = require_gmsh()
    _start(gmsh)
    options = {
        "General.Terminal": 0,
        "General.NumThreads": 1,
        "Mesh.Algorithm": algorithm,
        "Mesh.Algorithm3D": 1,
        "Mesh.Optimize": 1,
        "Mesh.OptimizeThreshold": 0.5,
        "Mesh.OptimizeNetgen": 0,
        "Mesh.HighOrderOptimize": 0,
        "Mesh.MeshSizeExtendFromBoundary": 0,
        "Mesh.MeshSizeFromPoints": 0,
        "Mesh.RandomSeed": 1,
    }
    try:
        for name, value in options.items():
            gmsh.option.setNumber(name, value)
        yield gmsh
    finally:
        gmsh.finalize()


def mesh_once(geometry: Geometry, recipe: Recipe) -> Mesh:
    """Mesh a geometry in one way, or raise MeshError."""
    with _session(recipe.way.algorithm) as gmsh:
        try:
            volumes = fragments(gmsh, geometry, recipe.way.seam)
            exact = masses_of(gmsh, volumes, geometry.bow)
            set_sizes(gmsh, geometry, volumes, recipe)
            gmsh.model.mesh.generate(3)
            _dissolve_slivers(gmsh)
            gmsh.model.mesh.setOrder(2)
        except MeshError:
            raise
        except Exception as error:  # gmsh raises bare Exception
            raise MeshError(f"gmsh: {error}", _radii(gmsh, str(error))) from error
        nodes, cells, part_of = _arrays(gmsh, volumes)
    nodes, cells = taken_apart(nodes, cells, part_of, geometry)
    nodes, cells, part_of, vertex_count = _renumber(nodes, cells, part_of)
    patches = _patches(geometry, nodes, cells, part_of)
    if geometry.bow is not None:
        nodes = geometry.bow.place(nodes)
    nodes, relaxed = relax(nodes, cells)
    exact = exact_volumes(geometry, exact)
    parts = tuple(
        MeshPart(part.name, part.role, part.material, float(volume))
        for part, volume in zip(geometry.parts, exact, strict=True)
    )
    return Mesh(
        nodes=nodes,
        cells=cells,
        part_of=part_of,
        parts=parts,
        patches=patches,
        vertex_count=vertex_count,
        relaxed=relaxed,
        bow=geometry.bow,
        recipe=str(recipe),
    )


def _radii(gmsh: Any, message: str) -> tuple[float, ...]:
    """Radii of the round surfaces that gmsh says meet each other: all like them need shorter edges."""
    found = (radius_of(gmsh, int(tag)) for tag in re.findall(r"surface (\d+)", message))
    return tuple({round(radius, 2) for radius in found if radius is not None})


def exact_volumes(geometry: Geometry, masses: list[float]) -> list[float]:
    """Volumes of the parts, mm³.

    The geometry kernel integrates rough faces too coarsely, up to half a percent of a thin gap. So the
    same construct is built with plane faces, and what the waves move from part to part is added.
    """
    plane = flattened(geometry)
    if plane is geometry:
        return masses
    with _session() as gmsh:
        masses = masses_of(gmsh, fragments(gmsh, plane), geometry.bow)
    return (np.array(masses) + moved_by_waves(geometry)).tolist()


def _dissolve_slivers(gmsh: Any) -> None:
    """Rebuild round cells so flat that the solver would need hundreds of iterations for them.

    On cells without any volume the rebuilding never ends, so they fail the mesh.
    """
    tags, _ = gmsh.model.mesh.getElementsByType(TETRAHEDRON)
    worst = min(gmsh.model.mesh.getElementQualities(tags, "gamma"))
    if worst < NO_VOLUME:
        raise MeshError("gmsh: it left cells without volume")
    if worst < FLATTEST:
        gmsh.model.mesh.optimize("Netgen")


def _arrays(gmsh: Any, volumes: list[list[int]]) -> tuple[Array, Ints, Ints]:
    """Positions, quadratic cells in this project's node order, and the part of each cell."""
    tags, xyz, _ = gmsh.model.mesh.getNodes()
    row = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    row[tags] = np.arange(len(tags))
    cells, part_of = [], []
    for index, volume_tags in enumerate(volumes):
        for tag in volume_tags:
            _, nodes = gmsh.model.mesh.getElementsByType(QUADRATIC_TETRAHEDRON, tag)
            block = row[nodes].reshape(-1, 10)[:, FROM_GMSH]
            cells.append(block)
            part_of.append(np.full(len(block), index))
    return xyz.reshape(-1, 3), np.concatenate(cells), np.concatenate(part_of)


def _renumber(nodes: Array, cells: Ints, part_of: Ints) -> tuple[Array, Ints, Ints, int]:
    """Positions, cells and parts in the solver's numbering, and the number of corners."""
    cell_order, node_order, vertex_count = along_curve(nodes, cells)
    number = np.full(len(nodes), -1)
    number[node_order] = np.arange(len(node_order))
    return nodes[node_order], number[cells[cell_order]], part_of[cell_order], vertex_count


def _patches(geometry: Geometry, nodes: Array, cells: Ints, part_of: Ints) -> dict[str, Ints]:
    tolerance = 1e-6 * geometry.length
    names = [part.name for part in geometry.parts]
    found = {}
    for patch in geometry.patches:
        if isinstance(patch, Contact):
            one, other = (cells[part_of == names.index(name)] for name in (patch.part, patch.other))
            found[patch.name] = shared_faces(one, other)
        else:
            roles = np.array([part.role in patch.roles for part in geometry.parts])
            inside = cells[roles[part_of]]
            found[patch.name] = faces_on_plane(nodes, inside, patch.height, tolerance)
    return found
