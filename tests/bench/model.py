"""The bench's model: a plate over a 3 mm gap of soft tissue, at any mesh size, kept as arrays."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.sparse as sp

from geometries.assembly import assemble as build
from geometries.constructs import PlateConstruct
from geometries.parameters import Defect, Femur, Plate, Screws
from pipeline.case import part_constants
from pipeline.fem import mesher
from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh, MeshPart, cell_volumes
from pipeline.fem.sizes import LEVELS, Sizes
from pipeline.fem.space import Array, Flags
from pipeline.fem.stiffness import Patterns, Stiffness, assemble
from pipeline.inputs import Stage

TISSUE = Stage(name="oligotrophic")


@dataclass(frozen=True)
class Model:
    """Mesh, material constants of each cell, six unit loads, and the held end."""

    mesh: Mesh
    modulus: Array
    poisson: Array
    forces: Array
    held: Flags

    def stiffness(self) -> Stiffness:
        """Assembled from nothing, pattern included."""
        cells = np.arange(len(self.mesh.cells))
        return assemble(self.mesh, Patterns.of(self.mesh), cells, self.modulus, self.poisson)

    def reduced(self) -> tuple[sp.csr_array, Array]:
        """Matrix and six right-hand sides of the free unknowns, for direct solvers."""
        total, free = self.stiffness(), ~self.held.ravel()
        pattern, size = total.patterns.nodes, 3 * len(self.mesh.nodes)
        blocks = (total.nodes, pattern.indices, pattern.indptr)
        matrix = sp.csr_array(sp.bsr_array(blocks, shape=(size, size)))
        return matrix[free][:, free], self.forces.reshape(size, -1)[free]


def scaled(factor: float) -> Sizes:
    """The coarse level with edges longer by a factor."""
    coarse = LEVELS["coarse"]
    return Sizes(
        {role: factor * share for role, share in coarse.per_wall.items()},
        longest=factor * coarse.longest,
        shortest=factor * coarse.shortest,
        sagitta=factor * coarse.sagitta,
        circle=max(10, round(coarse.circle / factor)),
    )


def make(factor: float) -> Model:
    """A model with edges longer than the coarse level's by a factor."""
    few = Plate(hole_count=4, screws=Screws(holes=(2,)))
    geometry = build(PlateConstruct(name="bench", kind="plate", plate=few), Femur(), Defect())
    mesh = mesher.mesh_once(geometry, scaled(factor))
    modulus, poisson = part_constants(mesh, TISSUE)[mesh.part_of].T
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    top = np.array([0.0, 0.0, geometry.length])
    return Model(mesh, modulus, poisson, unit_loads(mesh, "proximal_end", top), held)


def save(model: Model, path: Path) -> None:
    """Write the arrays that `load` needs."""
    mesh = model.mesh
    np.savez(
        path, nodes=mesh.nodes, cells=mesh.cells, vertex_count=mesh.vertex_count,
        modulus=model.modulus, poisson=model.poisson, forces=model.forces, held=model.held,
    )  # fmt: skip


def load(path: Path) -> Model:
    """Read a model; its cells count as one part, since only constants matter here."""

    data = np.load(path)
    nodes, cells = data["nodes"], data["cells"]
    part = MeshPart("all", "cortex", "cortical", float(cell_volumes(nodes[cells]).sum()))
    mesh = Mesh(
        nodes, cells, np.zeros(len(cells), dtype=np.int64), (part,), {}, int(data["vertex_count"])
    )
    return Model(mesh, data["modulus"], data["poisson"], data["forces"], data["held"])
