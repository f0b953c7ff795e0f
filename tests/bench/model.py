"""The bench's models, kept as arrays: a plate over a 3 mm gap of soft tissue at any mesh size; a plate
over a nail, nails and a stem as a study meshes them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy.sparse as sp

from geometries.assembly import assemble as build
from geometries.bone import Defect, Femur
from geometries.constructs import (
    Construct,
    NailConstruct,
    NailPlateConstruct,
    PlateConstruct,
    StemPlateConstruct,
)
from geometries.parameters import Bolts, Nail
from geometries.plating import Plate, Screws
from geometries.solids import TISSUE_ROLES, Geometry
from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh, MeshPart, cell_volumes
from pipeline.fem.meshing import mesher
from pipeline.fem.meshing.recipe import Recipe
from pipeline.fem.meshing.sizes import LEVELS, Sizes
from pipeline.fem.space import Array, Flags
from pipeline.fem.stiffness import Pattern, Stiffness, assemble
from pipeline.run.equilibrium import part_elasticity
from pipeline.study.stages import Stage

TISSUE = Stage(name="oligotrophic")


@dataclass(frozen=True)
class Model:
    """Mesh, stress over strain of each part, six unit loads, and the held end."""

    mesh: Mesh
    elasticity: Array
    forces: Array
    held: Flags

    def stiffness(self) -> Stiffness:
        """Assembled from nothing, pattern included."""
        return assemble(self.mesh, Pattern.of(self.mesh), self.elasticity)

    def at_stage(self, name: str) -> Model:
        """The same with the tissue of another stage."""
        own = Stage(name=name).material().elasticity
        tissue = [part.role in TISSUE_ROLES for part in self.mesh.parts]
        return replace(self, elasticity=np.where(np.array(tissue)[:, None, None], own, self.elasticity))

    def reduced(self) -> tuple[sp.csr_array, Array]:
        """Matrix and six right-hand sides of the free unknowns, for direct solvers."""
        total, free = self.stiffness(), ~self.held.ravel()
        pattern, size = total.pattern, 3 * len(self.mesh.nodes)
        blocks = (total.blocks, pattern.indices, pattern.indptr)
        matrix = sp.csr_array(sp.bsr_array(blocks, shape=(size, size)))
        return matrix[free][:, free], self.forces.reshape(size, -1)[free]


def scaled(factor: float) -> Sizes:
    """The coarse level with edges longer by a factor."""
    coarse = LEVELS["coarse"]
    return replace(
        coarse,
        per_wall={role: factor * share for role, share in coarse.per_wall.items()},
        longest=factor * coarse.longest,
        shortest=factor * coarse.shortest,
        sagitta=factor * coarse.sagitta,
        rod_sagitta=factor * coarse.rod_sagitta,
        circle=max(10, round(coarse.circle / factor)),
    )


def plate(factor: float) -> Model:
    """A short plate, with edges longer than the coarse level's by a factor."""
    few = Plate(hole_count=4, screws=Screws(holes=(2,)))
    geometry = build(PlateConstruct(name="bench", kind="plate", plate=few), Femur(), Defect())
    return _model(geometry, mesher.mesh_once(geometry, Recipe(scaled(factor))))


TIED = Bolts(fit="tied")  # since nothing else holds a nail here


def nail_and_plate(level: str) -> Model:
    """A plate over a nail."""
    nail = Nail(diameter_mm=10.0, bolts=TIED)
    return _built(NailPlateConstruct(name="bench", kind="nail_plate", nail=nail), level)


def nail(level: str, **slot: float) -> Model:
    """A nail, with a slot where one is given."""
    own = Nail(diameter_mm=12.0, bolts=TIED, **slot)
    return _built(NailConstruct(name="bench", kind="nail", nail=own), level)


def stem(level: str) -> Model:
    """A plate round a hip stem."""
    return _built(StemPlateConstruct(name="bench", kind="stem_plate"), level)


def _built(construct: Construct, level: str) -> Model:
    geometry = build(construct, Femur(), Defect())
    return _model(geometry, mesher.build_mesh(geometry, level))


def _model(geometry: Geometry, mesh: Mesh) -> Model:
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[mesh.patches["distal_end"]] = True
    top = np.array([0.0, 0.0, geometry.length])
    return Model(mesh, part_elasticity(mesh, TISSUE), unit_loads(mesh, "proximal_end", top), held)


def save(model: Model, path: Path) -> None:
    """Write the arrays that `load` needs."""
    mesh = model.mesh
    np.savez(
        path, nodes=mesh.nodes, cells=mesh.cells, part_of=mesh.part_of,
        vertex_count=mesh.vertex_count, elasticity=model.elasticity, forces=model.forces,
        held=model.held, roles=[part.role for part in mesh.parts],
    )  # fmt: skip


def load(path: Path) -> Model:
    """Read a model; names, materials and exact volumes of its parts do not matter here."""
    data = np.load(path)
    nodes, cells, part_of = data["nodes"], data["cells"], data["part_of"]
    volumes = np.bincount(part_of, cell_volumes(nodes[cells]))
    parts = tuple(
        MeshPart("-", role, "-", float(v))
        for role, v in zip(data["roles"].tolist(), volumes, strict=True)
    )
    mesh = Mesh(nodes, cells, part_of, parts, {}, int(data["vertex_count"]))
    return Model(mesh, data["elasticity"], data["forces"], data["held"])
