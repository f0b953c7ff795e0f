"""Forces inside a construct from consistent nodal forces: exact to equilibrium, whatever the mesh.

A cell's nodal forces are what its nodes exert on it. Summed over the cells on one side of a cut, at the
nodes of the cut, they are the force through the cut; no stress is ever integrated over a surface.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.fem.contact.states import Pair
from pipeline.fem.loads import resultant, rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Flags, Ints, cell_rule, gradients, strains
from pipeline.fem.stiffness import PAIRS, batches


@dataclass(frozen=True)
class Inside:
    """A mesh, its materials and displacements under unit loads: what internal forces come from.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    elasticity : Array
        Stress over strain of each part (parts, 6, 6), MPa.
    displacement : Array
        Nodal displacements (n, 3, loads), mm.
    pairs : tuple of Pair
        What stops push.
    """

    mesh: Mesh
    elasticity: Array
    displacement: Array
    pairs: tuple[Pair, ...] = ()

    def pull(self, cells: Ints, nodes: Flags, about: Array) -> Array:
        """Force and moment that some nodes exert on some cells.

        Parameters
        ----------
        cells : Ints
            The cells (c,).
        nodes : array of bool
            The nodes (n,).
        about : Array
            Point (3,) of the moment, mm.

        Returns
        -------
        Array
            (6, loads), N and N·mm.
        """
        mesh = self.mesh
        total = np.zeros((6, self.displacement.shape[2]))
        touching = cells[nodes[mesh.cells[cells]].any(axis=1)]
        for part in np.unique(mesh.part_of[touching]):
            if not self.elasticity[part].any():
                continue
            own = touching[mesh.part_of[touching] == part]
            for some, order in batches(mesh, own):
                chunk = mesh.cells[own[some]]
                forces = cell_forces(mesh.nodes, chunk, self.displacement, self.elasticity[part], order)
                forces *= nodes[chunk][:, :, None, None]
                modes = rigid_modes(mesh.nodes[chunk].reshape(-1, 3), about)
                total += np.einsum("pia,pil->al", modes, forces.reshape(*modes.shape[:2], -1))
        return total

    def through(self, before: Ints, behind: Ints, about: Array) -> Array:
        """Force and moment (6, loads) that cells exert on the cells before them.

        The cut is where the two groups share nodes; the moment is about a point (3,).
        """
        return self.pull(before, self._shared(before, behind), about)

    def misplaced(
        self, nodes: Flags, beyond: Flags, is_beyond: Callable[[Array], bool], about: Array
    ) -> Array:
        """Force and moment (6, loads) of stops that a cut gives to the wrong side of a part.

        A cut between cells runs through windows; a stop belongs whole to the side of the point where
        it is read.

        Parameters
        ----------
        nodes, beyond : array of bool
            Nodes of the part, and those beyond the cut and not in it (n,).
        is_beyond : callable
            Whether a point (3,) lies beyond the cut.
        about : Array
            Point (3,) of the moment, mm.

        Returns
        -------
        Array
            To be added to what the part carries through the cut towards what lies beyond.
        """
        total = np.zeros((6, self.displacement.shape[2]))
        for pair in self.pairs:
            wrong = nodes[pair.nodes] & (beyond[pair.nodes] != (home := is_beyond(pair.point)))
            if wrong.any():
                places = self.mesh.nodes[pair.nodes[wrong]]
                off = resultant(places, pair.forces[wrong], about)
                total += off if home else -off
        return total

    def _shared(self, before: Ints, behind: Ints) -> Flags:
        marks = np.zeros((2, len(self.mesh.nodes)), dtype=bool)
        for mark, cells in zip(marks, (before, behind), strict=True):
            mark[self.mesh.cells[cells]] = True
        return np.asarray(np.logical_and(*marks))


def cell_forces(nodes: Array, cells: Ints, displacement: Array, elasticity: Array, order: int) -> Array:
    """Forces that its nodes exert on each cell.

    Parameters
    ----------
    nodes : Array
        Positions (n, 3), mm.
    cells : Ints
        Their nodes (m, 10).
    displacement : Array
        Nodal displacements (n, 3, loads), mm.
    elasticity : Array
        Stress over strain (6, 6), MPa.
    order : int
        Order of the quadrature rule, as in the assembly.

    Returns
    -------
    Array
        (m, 10, 3, loads), N.
    """
    points, weights = cell_rule(order)
    gradient, det = gradients(nodes[cells], points)
    stress = elasticity @ strains(nodes, cells, displacement, points)[0]
    weighted = stress[:, :, PAIRS] * (det * weights)[:, :, None, None, None]
    return np.einsum("mqnj,mqijl->mnil", gradient, weighted, optimize=True)
