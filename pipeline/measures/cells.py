"""One value a cell, for pictures and viewers; never a source of reported numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from geometries.solids import IMPLANT_ROLES, TISSUE_ROLES
from pipeline.fem.mesh import Mesh, free_faces
from pipeline.fem.space import Array, Ints, strains
from pipeline.measures.factored import Factored
from pipeline.measures.field import (
    octahedral,
    principal,
    shear_numbers,
    strain_field,
    stress_field,
    von_mises,
)
from pipeline.measures.motion import without_rigid

PERCENT = 100.0
STRESS_OF_SHEAR = 3 / np.sqrt(2)  # times the shear modulus: von Mises stress of an isotropic material
STRESS, STRAIN = "stress", "strain"
MIDDLE = np.full((1, 3), 0.25)
LOST_OF_MOVEMENT, LOST_OF_STRAIN = 1e-6, 1e-2


def implant_stress_of_cells(mesh: Mesh, displacement: Array, elasticity: Array) -> Array:
    """Mean von Mises stress (m, loads) of each implant cell, MPa; NaN in other cells."""
    loads = displacement.shape[2]
    result = np.full((len(mesh.cells), loads), np.nan)
    for index, part in enumerate(mesh.parts):
        if part.role in IMPLANT_ROLES:
            cells = np.flatnonzero(mesh.part_of == index)
            stress = stress_field(mesh, cells, displacement, elasticity[index])
            for load in range(loads):
                values = von_mises(stress.values[:, :, load])
                result[cells, load] = values.reshape(len(cells), -1).mean(axis=1)
    return result


def tissue_strain_of_cells(mesh: Mesh, displacement: Array) -> Array:
    """Mean octahedral shear strain (m, loads) of each tissue cell, %; NaN in other cells."""
    loads = displacement.shape[2]
    result = np.full((len(mesh.cells), loads), np.nan)
    cells = mesh.cells_of(*TISSUE_ROLES)
    if len(cells):
        strain = strain_field(mesh, cells, displacement)
        for load in range(loads):
            values = octahedral(principal(strain.values[:, :, load]))
            result[cells, load] = 100 * values.reshape(len(cells), -1).mean(axis=1)
    return result


@dataclass(frozen=True)
class ShearedCells:
    """Octahedral shear strain in the middle of cells that can be seen, in any state.

    Parameters
    ----------
    cells : Ints
        Numbers of the cells (m,).
    parts : Ints
        Number of the part of each (m,).
    shear : Factored
        Five numbers of each (m, 5, columns), as `shear_numbers` has them.
    """

    cells: Ints
    parts: Ints
    shear: Factored

    def under(self, shares: Array) -> Array:
        """Octahedral shear strain (m,) under shares of the columns."""
        return np.linalg.norm(self.shear @ shares, axis=1)


def sheared_cells(mesh: Mesh, displacement: Array, states: Array) -> Iterator[tuple[str, ShearedCells]]:
    """Cells at the surface of implants, and all of the tissue, which is seen cut as well.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    displacement : Array
        Nodal displacements (n, 3, columns), mm.
    states : Array
        States (columns, states) that lose nothing that a picture shows.
    """
    seen: dict[str, list[Ints]] = {STRESS: [], STRAIN: []}
    for number, part in enumerate(mesh.parts):
        cells = np.flatnonzero(mesh.part_of == number)
        if part.role in IMPLANT_ROLES:
            seen[STRESS].append(np.unique(free_faces(mesh, cells)[1]))
        elif part.material == "tissue":
            seen[STRAIN].append(cells)
    for name, listed in seen.items():
        if listed:
            cells = np.concatenate(listed)
            shear = _sheared(mesh, cells, displacement, states)
            yield name, ShearedCells(cells, mesh.part_of[cells], shear)


def _sheared(mesh: Mesh, cells: Ints, displacement: Array, states: Array) -> Factored:
    nodes, place = np.unique(mesh.cells[cells], return_inverse=True)
    strained = without_rigid(mesh.nodes[nodes], displacement[nodes])
    moved = Factored.of(strained, states, LOST_OF_MOVEMENT)
    strain, _ = strains(mesh.nodes[nodes], place.reshape(len(cells), -1), moved.left, MIDDLE)
    small = Factored.of(shear_numbers(strain[:, 0]), moved.right @ states, LOST_OF_STRAIN)
    return replace(small, right=small.right @ moved.right)
