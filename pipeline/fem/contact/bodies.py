"""Bodies that only stops hold: their rigid motions, and how they are solved for without a support.

A floating body is held at six components, which determine it statically, and its loads are brought
into balance by nodal forces of rigid-mode shape. Its true motion and the balance of its true loads are
for the small problem of the stops.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import qr

from pipeline.fem.loads import rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.mechanism import MOTIONS, LooseBody
from pipeline.fem.space import Array, Flags


@dataclass(frozen=True)
class Floating:
    """Bodies that supports do not hold.

    Parameters
    ----------
    bodies : tuple of LooseBody
        The bodies.
    modes : Array
        Their rigid motions (n, 3, 6 for each body): translations of 1 mm, and rotations that move the
        body's farthest node by 1 mm.
    """

    bodies: tuple[LooseBody, ...]
    modes: Array

    @classmethod
    def of(cls, mesh: Mesh, bodies: Iterable[LooseBody]) -> Floating:
        """Set up for loose bodies of a mesh."""
        bodies = tuple(bodies)
        modes = np.zeros((*mesh.nodes.shape, 6 * len(bodies)))
        for number, body in enumerate(bodies):
            places = mesh.nodes[body.nodes]
            centre = places.mean(axis=0)
            own = rigid_modes(places, centre)
            own[:, :, 3:] /= np.linalg.norm(places - centre, axis=1).max()
            modes[body.nodes, :, 6 * number : 6 * number + 6] = own
        return cls(bodies, modes)

    def holds(self, vertex_count: int) -> Flags:
        """Six components (n, 3) of each body that hold it, at corners far apart.

        A factorization with pivots picks the rows of the rigid motions that are farthest from
        depending on each other.
        """
        held = np.zeros(self.modes.shape[:2], dtype=bool)
        for number in range(len(self.bodies)):
            rows = self.modes[:vertex_count, :, 6 * number : 6 * number + 6].reshape(-1, 6)
            _, _, order = qr(rows.T, mode="economic", pivoting=True)
            held.ravel()[order[:6]] = True
        return held

    @property
    def _flat(self) -> Array:
        """Rigid motions as columns (3 n, modes)."""
        return self.modes.reshape(3 * len(self.modes), -1)

    def resultants(self, forces: Array) -> Array:
        """Work (modes, loads) of nodal forces (n, 3, loads) in the rigid motions, N·mm."""
        return np.asarray(self._flat.T @ forces.reshape(len(self._flat), -1))

    def balanced(self, values: Array) -> Array:
        """Nodal forces or displacements (n, 3, loads) less what moves the bodies as a whole."""
        if not self.bodies:
            return values
        shares = np.linalg.solve(self._flat.T @ self._flat, self.resultants(values))
        return values - (self._flat @ shares).reshape(values.shape)

    def named(self, motion: Array) -> str:
        """Say which body moves, and how, from the shares of the rigid motions (modes,)."""
        sizes = np.abs(motion).reshape(-1, 6)
        body, mode = np.unravel_index(int(sizes.argmax()), sizes.shape)
        return f"{body_name(self.bodies[body].parts)} can {MOTIONS[mode]}"


def body_name(parts: Sequence[str]) -> str:
    """A body's name for a sentence: its parts, bone first."""
    return ", ".join(sorted(parts, key=lambda name: (not name.startswith("cortex"), name)))
