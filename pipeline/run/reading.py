"""What is read of one stage under each load, from its solutions or from those of a reduced model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometries.solids import Geometry
from pipeline.fem.contact.rules import Rules
from pipeline.fem.contact.states import State
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.loading.applied import points
from pipeline.loading.loads import Load
from pipeline.measures.dictionary import Measure
from pipeline.measures.load_point import load_point, load_point_tangent, movement_of, stations
from pipeline.measures.mesh_error import Reader
from pipeline.measures.motion import Motion
from pipeline.measures.noise import settled
from pipeline.measures.plausibility import Doubt
from pipeline.measures.play import Ends
from pipeline.measures.readings import Readings
from pipeline.measures.touching import touching as touching_measures
from pipeline.run.case import Case
from pipeline.run.columns import Settled
from pipeline.run.equilibrium import Equilibrium
from pipeline.run.superposition import push_of, statics_residuals


@dataclass(frozen=True)
class Loaded:
    """A load's equilibrium.

    Parameters
    ----------
    units : Array
        Shares of the unit loads.
    shares : Array
        Shares of the columns that were read.
    state : State
        What bears.
    near : dict of str to Array
        Shares of the columns of movements under loads near it, by their names.
    moving : Array
        Shares of the columns of movements under the load itself.
    """

    units: Array
    shares: Array
    state: State
    near: dict[str, Array]
    moving: Array

    @classmethod
    def of(cls, found: Settled, load: str) -> Loaded:
        """That of a load that a settled stage bears."""
        state, near = found.states[load], found.near[load]
        moved = {way: one.shares for way, one in near.items()}
        return cls(found.loads[load], found.basis.shares[load], state, moved, state.shares)


@dataclass(frozen=True)
class StageReadings:
    """What one stage is read with.

    Parameters
    ----------
    geometry : Geometry
        The construct.
    stops : Rules
        All that can touch.
    readings : Readings
        Of the columns that measures are read from.
    ends : Ends or None
        Bone ends and sections in the columns of movements; None where nothing can touch.
    shaft : tuple of Motion
        Motions up the shaft in the columns of movements.
    """

    geometry: Geometry
    stops: Rules
    readings: Readings
    ends: Ends | None
    shaft: tuple[Motion, ...]

    @classmethod
    def of(cls, mesh: Mesh, geometry: Geometry, found: Equilibrium) -> StageReadings:
        """Read the solutions of a stage."""
        columns = found.touching.columns
        return cls(
            geometry,
            found.touching.stops,
            Readings.of(mesh, geometry, found.elasticity, found.basis),
            Ends.of(mesh, geometry, columns) if geometry.stops else None,
            stations(mesh, geometry, columns),
        )

    def under(
        self, case: Case, load: Load, found: Loaded, *, has_fields: bool = True
    ) -> tuple[tuple[Measure, ...], list[Doubt]]:
        """All measures under a load, with strains and stresses or without, and doubts on them."""
        top, readings, is_linear = self.geometry.top[2], self.readings, not found.state.forces
        push = push_of(load, case.femur, top)
        measures, doubts = readings.under(
            found.units,
            found.shares,
            case.strain_bands,
            is_linear=is_linear,
            has_fields=has_fields,
        )
        if case.has_site:
            measures += statics_residuals(readings.sections, load, found.shares, case.femur, top)
            head = points(case.femur)["head"]
            measures.append(movement_of(self.shaft[-1], "head", head, found.moving))
        if push is not None:
            measures += load_point(self.shaft, push, found.moving)
        measures += touching_measures(self.stops, found.state)
        if self.ends is not None and found.near:
            measures += [*self.ends.play(found.near), *self.ends.tangent(found.units, found.near)]
            measures += [] if push is None else [load_point_tangent(self.shaft, push, found.near)]
        return tuple(settled(measures, found.units, top)), doubts

    def reader(self, case: Case, load: Load, units: Array, volume: float) -> Reader:
        """What errors of the movements under a load are read with."""
        top, places = np.asarray(self.geometry.top), {}
        if case.has_site:
            places["head"] = points(case.femur)["head"]
        return Reader(
            self.geometry.gap, top, {"proximal_end": top, **places},
            push_of(load, case.femur, self.geometry.top[2]), units,
            self.readings.length, self.readings.shear_modulus, volume,
        )  # fmt: skip
