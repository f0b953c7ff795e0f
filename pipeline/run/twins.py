"""A case's measures from its reduced model, with how much of each the model may be wrong by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from geometries.solids import Geometry
from pipeline.fem.space import Array
from pipeline.loading.loads import Load
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.error_classes import kind_of_result, sizes_of
from pipeline.measures.noise import kind_of, largest_of, load_sizes
from pipeline.measures.plausibility import Doubt
from pipeline.measures.play import NEARBY, Ends
from pipeline.reduced.model import Answered, BeyondError
from pipeline.reduced.readout import Readout
from pipeline.reduced.twin import Twin
from pipeline.run.case import Case
from pipeline.run.reading import Loaded, StageReadings

ALLOWED = 1e-3  # of the largest like it, that the last snapshots may add to a movement or a stiffness
ADDED = 2.0  # times what the last snapshots add is told as the error
MOVED_FLOOR, FLOOR = 5e-4, 1e-2  # of the largest like it, that is told at least: movement, all else
MOVED = frozenset(
    name
    for name in QUANTITIES
    if "_stiffness" in name or name.startswith(("gap_", "rim_", "free_", "proximal_", "load_point"))
) - {"gap_face_misfit", "rim_side"}
FACES = ("gap_distal_face", "gap_proximal_face", "distal_section", "proximal_section")


@dataclass(frozen=True)
class TwinMeasure:
    """A measure, and by how much the full model may have another, in its unit."""

    measure: Measure
    half: float


@dataclass(frozen=True)
class TwinStage:
    """A twin at some materials.

    Parameters
    ----------
    geometry : Geometry
        The construct.
    readout : Readout
        How its states are read.
    answered : Answered
        What its reduced model answers.
    ends : Ends or None
        Bone ends and sections in its coordinates; None where nothing can touch.
    """

    geometry: Geometry
    readout: Readout
    answered: Answered
    ends: Ends | None

    @classmethod
    def of(
        cls,
        twin: Twin,
        geometry: Geometry,
        weights: Array,
        clearance: Mapping[str, float] | None = None,
    ) -> TwinStage:
        """A twin at numbers of its terms (terms,), with other clearances, mm, of some touches.

        Raises
        ------
        BeyondError
            If the materials leave the ranges that it covers.
        """
        answered, readout = twin.model.at(weights, clearance), twin.readout
        ends = None
        if geometry.gap is not None and geometry.stops:
            read = [readout.motions[name] for name in FACES]
            ends = Ends(geometry.gap, (read[0], read[1]), (read[2], read[3]))
        return cls(geometry, readout, answered, ends)

    def under(self, case: Case, load: Load, units: Array) -> tuple[list[TwinMeasure], list[Doubt]]:
        """All measures under a load, how far each may be off the full model, and doubts on them.

        Raises
        ------
        BeyondError
            If something bears that the model does not have, or a movement or a stiffness is not sure to
            a thousandth.
        """
        whole = loaded(self.answered, units)
        inner = loaded(self.answered.inner.expecting(whole.state.forces), units)
        reading = self._reading(whole, inner)
        first, second = (
            replace(one, shares=own) for one, own in zip((whole, inner), np.eye(2), strict=True)
        )
        told, doubts = reading.under(case, load, first)
        less, _ = reading.under(case, load, second, has_fields=False)
        before = {(one.quantity, one.location): one.value for one in less}
        top, shear = self.geometry.top[2], reading.readings.shear_modulus
        sizes = sizes_of(told, units, top, shear)
        force, moment = load_sizes(units, top)
        of_kind = largest_of(told)
        for kind, size in (("N", force), ("N·m", moment / 1000)):
            of_kind[kind] = max(of_kind.get(kind, 0.0), size)
        found = []
        for one in told:
            size = max(sizes[kind_of_result(one)], of_kind.get(kind_of(one.quantity), 0.0))
            added = abs(one.value - before.get((one.quantity, one.location), one.value))
            is_moved = one.quantity in MOVED
            if is_moved and added > ALLOWED * size:
                raise BeyondError(
                    f"{one.quantity} {one.location} is known to {100 * added / size:.2g} % of the "
                    f"largest like it, allowed {100 * ALLOWED:g} %: solve this one in full"
                )
            floor = MOVED_FLOOR if is_moved else FLOOR
            found.append(TwinMeasure(one, ADDED * added + floor * max(size, abs(one.value))))
        return found, doubts

    def _reading(self, *states: Loaded) -> StageReadings:
        """What reads some states, each by its share."""
        is_linear = any(not one.state.forces for one in states)
        shares = np.stack([one.shares for one in states], axis=1)
        seen = self.readout.through(shares, has_energy=is_linear)
        readings = seen.readings(self.geometry, self.answered.weights)
        stops, shaft = self.answered.stops, self.readout.shaft
        return StageReadings(self.geometry, stops, readings, self.ends, shaft)


def loaded(answered: Answered, units: Array) -> Loaded:
    """Equilibrium under a load (shares of the unit loads), in coordinates.

    Raises
    ------
    BeyondError
        If something bears that the model does not have.
    """
    borne = answered.under(units)
    bearing = answered.expecting(borne.state.forces)
    near = dict(_near(bearing, units)) if answered.stops.listed else {}
    return Loaded(units, borne.coordinates, borne.state, near, borne.coordinates)


def _near(answered: Answered, units: Array) -> Iterator[tuple[str, Array]]:
    """Coordinates of the states near a load."""
    for way, share in NEARBY.items():
        yield way, answered.under(share * units).coordinates
