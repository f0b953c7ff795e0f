"""One value a cell, for pictures and viewers; never a source of reported numbers."""

from __future__ import annotations

import numpy as np

from geometries.solids import IMPLANT_ROLES, TISSUE_ROLES
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.field import (
    octahedral,
    principal,
    strain_field,
    stress_field,
    von_mises,
)


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
