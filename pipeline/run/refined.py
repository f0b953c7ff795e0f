"""What a finer space would answer besides, from the one mesh that is there.

A solution leaves residuals on the bubbles of its mesh, and these would move by them. What that movement
works on the load of a dual solution, less what it strains there, is how much the dual's reading is off
(Becker & Rannacher 2001, Acta Numer 10:1; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometries.solids import BONE_ENDS, Geometry
from pipeline.fem.bubbles import AnySpread, Bubbles
from pipeline.fem.loads import Spread
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.solve import Solver
from pipeline.fem.space import Array, Flags
from pipeline.fem.within import InnerSpread
from pipeline.measures.mesh_error import LoadError, Moved
from pipeline.measures.play import NEARBY
from pipeline.run.columns import MOTIONS, Columns, Settled

PLAY = ("plus", "minus")  # of a load's neighbours, those that the free play lies between


@dataclass(frozen=True)
class Weighed:
    """Works of the residuals of some solutions.

    Parameters
    ----------
    besides : Array
        What each column's reading is off by (columns, k), for solution after solution.
    whole, between : Array
        Twice the energies that are missing, solution by solution (k, k), N·mm: in all, and between the
        reference sections.
    """

    besides: Array
    whole: Array
    between: Array


@dataclass(frozen=True)
class Refined:
    """A mesh's bubbles, and what loads and duals spread over it.

    Parameters
    ----------
    bubbles : Bubbles
        Of the mesh.
    units : tuple of Spread
        Tractions of the unit loads.
    ends : tuple of Spread
        Unit forces and moments at the gap's centre, on the proximal and on the distal bone end; none
        without a gap.
    fixed : Array
        Stiffness of the bubbles (bubbles, 3, 3) without the tissue, N/mm.
    tissue : Flags
        Which parts are tissue (parts,).
    between : Flags
        Bubbles between the reference sections (bubbles,).
    """

    bubbles: Bubbles
    units: tuple[Spread, ...]
    ends: tuple[AnySpread, ...]
    fixed: Array
    tissue: Flags
    between: Flags

    @classmethod
    def of(
        cls, mesh: Mesh, units: tuple[Spread, ...], geometry: Geometry, elasticity: Array
    ) -> Refined:
        """Set up for a mesh and the elasticity (parts, 6, 6) of its parts."""
        bubbles = Bubbles.of(mesh)
        tissue = np.array([part.material == "tissue" for part in mesh.parts])
        heights, (low, high) = bubbles.places[:, 2], geometry.sections
        return cls(
            bubbles,
            units,
            bone_ends(mesh, geometry),
            bubbles.stiffness(elasticity * ~tissue[:, None, None]),
            tissue,
            (heights > low) & (heights < high),
        )

    @property
    def duals(self) -> Array:
        """Nodal forces (n, 3, 6) whose work is the movement of the bone ends against each other."""
        return duals_of(self.ends, len(self.bubbles.mesh.nodes))

    def left_over(
        self, elasticity: Array, columns: Columns, shares: Array, displacement: Array
    ) -> tuple[Array, Array]:
        """What solutions leave over on the bubbles, and how these move by it (bubbles, 3, k), N, mm.

        What it takes is that of `weighed`.
        """
        bubbles = self.bubbles
        spreads = columns.spreads(self.units, self.ends)
        left = bubbles.pushed(spreads, shares) - bubbles.inner(elasticity, displacement)
        stiffness = self.fixed + bubbles.stiffness(elasticity * self.tissue[:, None, None])
        return left, bubbles.moved(stiffness, left, bubbles.mesh.patches["distal_end"])

    def weighed(
        self, elasticity: Array, columns: Columns, shares: Array, displacement: Array
    ) -> Weighed:
        """Weigh the residuals of solutions.

        Parameters
        ----------
        elasticity : Array
            Stress over strain of each part (parts, 6, 6), MPa.
        columns : Columns
            Of the stage.
        shares : Array
            Of each column in each solution (columns, k).
        displacement : Array
            Of the solutions (n, 3, k), mm.
        """
        left, moved = self.left_over(elasticity, columns, shares, displacement)
        spreads = columns.spreads(self.units, self.ends)
        besides = self.bubbles.worked(spreads, moved, columns.count)
        strained = self.bubbles.outer(elasticity, moved)
        besides -= _products(columns.displacement, strained)
        inside = self.between
        return Weighed(besides, _products(moved, left), _products(moved[inside], left[inside]))


def bone_ends(mesh: Mesh, geometry: Geometry) -> tuple[AnySpread, ...]:
    """Unit forces and moments at the gap's centre, on the proximal and on the distal bone end."""
    if geometry.gap is None:
        return ()
    about = np.asarray(geometry.gap.centre)
    if geometry.cuts:
        cuts = (geometry.cuts[name] for name in reversed(BONE_ENDS))
        return tuple(InnerSpread.of(mesh, cut.places, cut.weights, about) for cut in cuts)
    faces = (mesh.patches[name] for name in reversed(BONE_ENDS))
    return tuple(Spread.of(mesh.nodes, face, about) for face in faces)


def duals_of(ends: tuple[AnySpread, ...], count: int) -> Array:
    """Nodal forces (count, 3, 6) whose work is the movement of the bone ends; none without a gap."""
    if not ends:
        return np.zeros((count, 3, 0))
    proximal, distal = (one.forces(count) for one in ends)
    return np.asarray(proximal - distal)


def load_errors(
    refined: Refined, elasticity: Array, solver: Solver, found: Settled
) -> dict[str, LoadError]:
    """What a finer space would answer besides, by load, at a stage of an elasticity (parts, 6, 6)."""
    if not found.states:
        return {}
    columns = Columns.of(solver, found.touching, refined.duals)
    asked = _asked(found, columns)
    shares = np.stack(list(asked.values()), axis=1)
    displacement = columns.displacement @ shares
    place = {name: k for k, name in enumerate(asked)}
    for load in found.states:  # solved once more as a whole
        own = found.basis.solution.displacement @ found.basis.shares[load]
        displacement[:, :, place[load, "state"]] = own
    weighed = refined.weighed(elasticity, columns, shares, displacement)

    def motion(load: str, way: str) -> Array:
        """Movements of the loaded end and of the bone ends."""
        state = found.near[load].get(way, found.states[load])
        if (load, way) in place:
            return np.asarray(columns.goals(state).T @ weighed.besides[:, place[load, way]])
        return NEARBY[way] * motion(load, "state")  # nothing bears

    slack, errors = found.touching.bearing.slack, {}
    for load, state in found.states.items():
        first, near = place[load, "state"], found.near[load]
        more = place.get((load, "more"), first)
        ends = motion(load, "state")
        gap = free = None
        if refined.ends:
            gap = Moved(ends[MOTIONS:], slack(state))
        if refined.ends and near:
            played = motion(load, "plus") - motion(load, "minus")
            free = Moved(played[MOTIONS:], slack(near["plus"]) + slack(near["minus"]))
        errors[load] = LoadError(
            top=ends[:MOTIONS],
            gap=gap,
            free=free,
            work=float(weighed.between[first, more]),
            more=float(weighed.between[more, more]),
            pushed=float(weighed.whole[more, more]),
            energy=float(np.sqrt(weighed.between[first, first] / found.basis.energy(load))),
        )
    return errors


def _asked(found: Settled, columns: Columns) -> dict[tuple[str, str], Array]:
    """Shares (columns,) whose error is asked for, by load and what it is of that.

    Where nothing bears, an answer grows with its load, and one tells all.
    """
    asked = {}
    for load, state in found.states.items():
        near = {way: found.near[load][way] for way in PLAY} if found.near[load] else {}
        if found.touching.is_linear:
            near = {}
        else:
            asked[load, "more"] = columns.more(state, found.loads[load])
        for way, one in {"state": state, **near}.items():
            asked[load, way] = np.append(one.shares, np.zeros(columns.works.shape[1]))
    return asked


def _products(one: Array, other: Array) -> Array:
    """Products (a, b) of fields (n, 3, a) and (n, 3, b)."""
    return np.asarray(one.reshape(-1, one.shape[2]).T @ other.reshape(-1, other.shape[2]))
