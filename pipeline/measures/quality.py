"""Balance checks that every row carries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.fem.contact.states import Basis
from pipeline.fem.limits import BALANCE_TOLERANCE
from pipeline.fem.loads import resultant
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Ints
from pipeline.fem.stiffness import batches
from pipeline.measures.field import strain_field


@dataclass(frozen=True)
class Balance:
    """What is out of balance under one load, each as a share.

    Parameters
    ----------
    force, moment : float
        Reactions plus load, against the load; a moment's arm is the length of the model.
    energy : float
        Work of the load against strain energy summed over quadrature points.
    volume : float
        Worst part volume against the exact one.
    """

    force: float
    moment: float
    energy: float
    volume: float

    def fault(self) -> str:
        """What failed, as a sentence; empty if nothing did."""
        shares = {"force": self.force, "moment": self.moment, "energy": self.energy}
        failed = [
            f"{name} balance {share:.1e}, allowed {BALANCE_TOLERANCE:.0e}"
            for name, share in shares.items()
            if not share <= BALANCE_TOLERANCE
        ]
        return "; ".join(failed)


@dataclass(frozen=True)
class Balances:
    """Balance data of a stage's columns, from which each load's balance follows."""

    units: Array
    applied: Array
    reactions: Array
    work: Array
    energy: Array
    about: Array
    volume: float

    @classmethod
    def of(cls, mesh: Mesh, basis: Basis, units: Array, elasticity: Array, about: Array) -> Balances:
        """Gather from the solutions of a stage.

        Parameters
        ----------
        mesh, basis :
            Mesh and solutions.
        units : Array
            Nodal forces of the unit loads (n, 3, units), N.
        elasticity : Array
            Stress over strain of each part (parts, 6, 6), MPa.
        about : Array
            Point (3,) to which the unit loads refer, mm.
        """
        forces, solution = basis.forces, basis.solution
        return cls(
            units=resultant(mesh.nodes, units, about),
            applied=resultant(mesh.nodes, forces, about),
            reactions=resultant(mesh.nodes, solution.reaction, about),
            work=np.einsum("nia,nib->ab", forces, solution.displacement),
            energy=strain_energy(mesh, solution.displacement, elasticity),
            about=about,
            volume=mesh.worst_volume[1],
        )

    def under(self, load: Array, shares: Array) -> Balance:
        """Balance under a load: shares of the unit loads and of the columns.

        The work is that of the load and of the stops, whose forces go through what is left of their
        clearance as well as the bodies' strain.
        """
        arm = float(np.linalg.norm(self.about))
        rest = (self.reactions + self.applied) @ shares
        # Sizes add up over the unit loads, so that a load in balance with itself has a size too.
        force = np.linalg.norm(self.units[:3], axis=0) @ np.abs(load)
        moment = np.linalg.norm(self.units[3:], axis=0) @ np.abs(load)
        work = float(shares @ self.work @ shares)
        return Balance(
            force=float(np.linalg.norm(rest[:3]) / (force + moment / arm)),
            moment=float(np.linalg.norm(rest[3:]) / (moment + force * arm)),
            energy=abs(float(shares @ self.energy @ shares) / work - 1),
            volume=self.volume,
        )


def strain_energy(
    mesh: Mesh, displacement: Array, elasticity: Array, cells: Ints | None = None
) -> Array:
    """Twice the mutual strain energies (loads, loads) of the unit loads, N·mm; of all cells by default.

    Summed over quadrature points from strains, without the assembled matrix, by the rules that the
    assembly uses.
    """
    loads = displacement.shape[2]
    total = np.zeros((loads, loads))
    for part, C in enumerate(elasticity):
        if not C.any():
            continue
        own = (
            np.flatnonzero(mesh.part_of == part)
            if cells is None
            else cells[mesh.part_of[cells] == part]
        )
        for some, order in batches(mesh, own):
            total += strain_field(mesh, own[some], displacement, order).mutual(C)
    return total
