"""A finished case solved once more by NGSolve: no line of ours takes part.

Read are the mesh and the parts that a run stores beside its results, and forces at nodes where a case
has some beside its loads. NGSolve's own mesh has straight tetrahedra from the corners; a quadratic
deformation brings the middles of the edges to their places. Shape functions, integrals, factors and
strains are NGSolve's. The case must be a straight femur without a hip stem: the loaded end is bone, and
all four faces that are read are flat.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import meshio
import netgen.meshing as netgen
import ngsolve as ng
import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

EDGES = ((0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3))  # of nodes 4 to 9 of VTK's tetrahedron
EDGE_FUNCTION = -1 / 8  # value of NGSolve's second-order function of an edge at the edge's middle
FLAT_MM = 1e-6
FACE_ORDER = 6  # exact for products of rigid modes on a flat face with curved rims
BONE = ("cortex", "cancellous")
HELD, LOADED = "distal_end", "proximal_end"


@dataclass(frozen=True)
class Stored:
    """What a case's folder holds: nodes (n, 3), cells (m, 10), parts, displacements by stage:load."""

    nodes: Array
    cells: Array
    part_of: Array
    parts: tuple[dict[str, str], ...]
    displacement: dict[str, Array]

    @classmethod
    def read(cls, folder: Path) -> Stored:
        """Read ``fields.vtu`` and ``summary.json``."""
        file = meshio.read(folder / "fields.vtu")
        summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
        return cls(
            nodes=file.points,
            cells=file.cells_dict["tetra10"],
            part_of=file.cell_data_dict["part"]["tetra10"],
            parts=tuple(summary["parts"]),
            displacement={
                name.removeprefix("displacement_mm:"): values.astype(float)
                for name, values in file.point_data.items()
                if name.startswith("displacement_mm:")
            },
        )

    def flat_faces(self, height: float) -> Array:
        """Corners (k, 3) of the bone's cell faces at this height, each face once."""
        bone = np.array([part["role"] in BONE for part in self.parts])[self.part_of]
        corners = self.cells[bone, :4]
        on = np.abs(self.nodes[:, 2] - height) < FLAT_MM
        found = [corners[np.ix_(on[corners[:, three]].all(axis=1), three)]
                 for three in combinations(range(4), 3)]  # fmt: skip
        return np.unique(np.sort(np.concatenate(found), axis=1), axis=0)


def constants(material: Any) -> tuple[float, ...]:
    """c11, c12, c13, c33, c44 of a material that is alike in all directions across z, MPa.

    The inverse of the compliance in closed form (derived); isotropic if nothing else is said.
    """
    E, nu, across = material.modulus, material.poisson, material.across
    E_p, nu_p, G = E, nu, E / (2 * (1 + nu))
    if across is not None:
        E_p, nu_p, G = across.modulus, across.poisson, across.shear_modulus
    back = nu * E_p / E
    rest = 1 - nu_p - 2 * nu * back
    plane = E_p / ((1 + nu_p) * rest)
    c11, c12 = plane * (1 - nu * back), plane * (nu_p + nu * back)
    return c11, c12, E_p * nu / rest, E * (1 - nu_p) / rest, G


class Peer:
    """NGSolve's model of a stored case.

    Parameters
    ----------
    stored : Stored
        The case.
    levels : mapping of str to float
        Heights of the flat faces by name, mm; the held and the loaded end among them.
    """

    def __init__(self, stored: Stored, levels: Mapping[str, float]) -> None:
        self.stored, self.top = stored, levels[LOADED]
        self.mesh = _straight(stored, levels)
        self.edges, self.middles = self._edges()
        self.bent = ng.GridFunction(ng.VectorH1(self.mesh, order=2))
        moved = np.zeros_like(stored.nodes)
        moved[self.middles] = stored.nodes[self.middles] - stored.nodes[self.edges].mean(axis=1)
        for bent, values in zip(self.bent.components, moved.T, strict=True):
            bent.vec.FV().NumPy()[len(self.corners) :] = values[self.middles] / EDGE_FUNCTION
        self.mesh.SetDeformation(self.bent)

    @property
    def corners(self) -> range:
        """Node numbers of the corners: they come first, here and in NGSolve."""
        return range(self.mesh.nv)

    def _edges(self) -> tuple[Array, Array]:
        """Corners (k, 2) of NGSolve's edges, and the stored node (k,) in the middle of each."""
        edges = np.sort([[corner.nr for corner in edge.vertices] for edge in self.mesh.edges])
        theirs = np.sort(self.stored.cells[:, EDGES].reshape(-1, 2))
        keys, first = np.unique(theirs @ [self.mesh.nv, 1], return_index=True)
        assert (keys == np.sort(edges @ [self.mesh.nv, 1])).all(), "edges of both meshes differ"
        middles = self.stored.cells[:, 4:].ravel()[first]
        return edges, middles[np.searchsorted(keys, edges @ [self.mesh.nv, 1])]

    def at_nodes(self, field: ng.GridFunction) -> Array:
        """Values (n, 3) of a field at the stored nodes."""
        values = np.empty_like(self.stored.nodes)
        for column, component in zip(values.T, field.components, strict=True):
            numbers, count = component.vec.FV().NumPy(), self.mesh.nv
            column[:count] = numbers[:count]
            column[self.middles] = column[self.edges].mean(axis=1) + EDGE_FUNCTION * numbers[count:]
        return values

    def _pushed(self, space: Any, forces: Array) -> ng.GridFunction:
        """Work of nodal forces (n, 3) in each function of NGSolve's: `at_nodes`, transposed."""
        work = ng.GridFunction(space)
        for column, component in zip(forces.T, work.components, strict=True):
            numbers, count = component.vec.FV().NumPy(), self.mesh.nv
            numbers[:count] = column[:count]
            np.add.at(numbers, self.edges, column[self.middles, None] / 2)
            numbers[count:] = EDGE_FUNCTION * column[self.middles]
        return work

    def solve(
        self,
        laws: Mapping[str, Any],
        wrenches: Array,
        rule: ng.IntegrationRule | None = None,
        forces: Array | None = None,
    ) -> list[ng.GridFunction]:
        """Displacements under forces and moments on the loaded end, and forces at nodes.

        Parameters
        ----------
        laws : mapping of str to material
            Materials by part; a part that has none is left out.
        wrenches : Array
            Forces, N, and moments, N·mm, about the middle of the end (loads, 6).
        rule : IntegrationRule, optional
            For the stiffness; NGSolve's own of order 4 by default.
        forces : Array, optional
            At the stored nodes (n, 3, loads), N, beside each wrench.
        """
        region = self.mesh.Materials("|".join(laws))
        space = ng.VectorH1(self.mesh, order=2, dirichlet=HELD)
        u, v = space.TnT()
        form = ng.BilinearForm(space, symmetric=True)
        # 2 for strains times strains of straight cells, and 2 more for curved ones.
        how = {"intrules": {ng.TET: rule}} if rule else {"bonus_intorder": 2}
        form += ng.InnerProduct(self.stress(laws, u), strain(v)) * ng.dx(definedon=region, **how)
        with ng.TaskManager():
            form.Assemble()
            free = space.FreeDofs() & space.GetDofs(region)
            factors = form.mat.Inverse(free, inverse="sparsecholesky")
            fields = []
            for number, wrench in enumerate(wrenches):
                load = self._drawn(space, wrench)
                if forces is not None:
                    load.data += self._pushed(space, forces[:, :, number]).vec
                field = ng.GridFunction(space)
                field.vec.data = factors * load
                field.vec.data += factors * (load - form.mat * field.vec).Evaluate()  # refine once
                fields.append(field)
            return fields

    def _drawn(self, space: Any, wrench: Array) -> Any:
        """Vector of a traction of rigid-mode shape on the loaded end whose resultant is the wrench."""
        modes = rigid_modes((0.0, 0.0, self.top))
        shares = np.linalg.solve(self._gram(LOADED, modes), wrench)
        force = ng.LinearForm(space)
        traction = modes.trans * ng.CF(tuple(shares))
        force += ng.InnerProduct(traction, space.TestFunction()) * ng.ds(LOADED, bonus_intorder=4)
        force.Assemble()
        return force.vec

    def stress(self, laws: Mapping[str, Any], u: Any) -> ng.CoefficientFunction:
        """Stress (3, 3), MPa."""
        found = zip(*(constants(material) for material in laws.values()), strict=True)
        c11, c12, c13, c33, c44 = (
            self.mesh.MaterialCF(dict(zip(laws, values, strict=True))) for values in found
        )
        e = strain(u)
        along, across = e[2, 2], e[0, 0] + e[1, 1]
        xx, yy = ((c11 - c12) * e[i, i] + c12 * across + c13 * along for i in (0, 1))
        xy, yz, zx = (c11 - c12) * e[0, 1], 2 * c44 * e[1, 2], 2 * c44 * e[0, 2]
        zz = c13 * across + c33 * along
        return ng.CF((xx, xy, zx, xy, yy, yz, zx, yz, zz), dims=(3, 3))

    def _gram(self, face: str, modes: ng.CoefficientFunction) -> Array:
        region = self.mesh.Boundaries(face)
        return np.reshape(ng.Integrate(modes * modes.trans, region, order=FACE_ORDER), (6, 6))

    def motion(self, u: ng.GridFunction, face: str) -> Array:
        """Translation of a face's centroid, mm, and rotation, rad: least squares over the face (6,)."""
        region = self.mesh.Boundaries(face)
        about = np.array(ng.Integrate(ng.CF((ng.x, ng.y, ng.z)), region, order=FACE_ORDER))
        modes = rigid_modes(about / ng.Integrate(ng.CF(1), region, order=FACE_ORDER))
        work = ng.Integrate(modes * ng.BoundaryFromVolumeCF(u), region, order=FACE_ORDER)
        return np.linalg.solve(self._gram(face, modes), np.array(work))

    def strain_points(self, u: ng.GridFunction, part: str) -> tuple[Array, Array]:
        """Strains (p, 3, 3) at NGSolve's points of order 2 in a part, and their volumes (p,), mm³."""
        rule = ng.IntegrationRule(ng.TET, 2)
        region = self.mesh.Materials(part)
        points = self.mesh.MapToAllElements({ng.TET: rule}, region)
        size = np.abs(ng.Det(ng.specialcf.JacobianMatrix(3))(points)).ravel()
        weights = size * np.tile(rule.weights, len(size) // len(rule.weights))
        return strain(u)(points).reshape(-1, 3, 3), weights


def strain(u: Any) -> ng.CoefficientFunction:
    """Small strain tensor."""
    return (ng.Grad(u) + ng.Grad(u).trans) / 2


def rigid_modes(about: Any) -> ng.CoefficientFunction:
    """Three translations and three rotations about a point, as rows (6, 3)."""
    x, y, z = (axis - float(at) for axis, at in zip((ng.x, ng.y, ng.z), about, strict=True))
    rows = (1, 0, 0, 0, 1, 0, 0, 0, 1, 0, -z, y, z, 0, -x, -y, x, 0)
    return ng.CF(rows, dims=(6, 3))


def _straight(stored: Stored, levels: Mapping[str, float]) -> ng.Mesh:
    """NGSolve's mesh of the corners; parts are its materials, flat faces its boundaries."""
    corners = int(stored.cells[:, :4].max()) + 1
    mesh = netgen.Mesh(dim=3)
    mesh.AddPoints(np.ascontiguousarray(stored.nodes[:corners]))
    for k, part in enumerate(stored.parts):
        own = stored.cells[stored.part_of == k, :4]
        mesh.AddElements(dim=3, index=k + 1, data=own.astype(np.int32), base=0)
        mesh.SetMaterial(k + 1, part["name"])
    for k, (name, height) in enumerate(levels.items()):
        mesh.Add(netgen.FaceDescriptor(surfnr=k + 1, domin=1, domout=0, bc=k + 1))
        mesh.SetBCName(k, name)
        faces = stored.flat_faces(height)
        assert len(faces), f"no face of bone at {height} mm for {name}"
        mesh.AddElements(dim=2, index=k + 1, data=faces.astype(np.int32), base=0)
    return ng.Mesh(mesh)
