"""One construct over many materials, loads and clearances: asked of its twin, sample after sample."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain
from pathlib import Path

import numpy as np

from geometries.errors import StudyError
from geometries.materials import isotropic
from geometries.solids import Geometry
from pipeline.fem.space import Array
from pipeline.loading.loads import Forces, Load, PointForce
from pipeline.measures.dictionary import HIGHEST, PEAK, Measure
from pipeline.measures.implants import DeformedImplant, hottest
from pipeline.measures.load_point import load_point
from pipeline.measures.readings import Readings
from pipeline.reduced.model import Answered, BeyondError, Borne
from pipeline.reduced.packed import unpack
from pipeline.reduced.terms import spans, young_and_poisson
from pipeline.reduced.twin import Twin
from pipeline.run.case import Case
from pipeline.run.equilibrium import part_elasticity
from pipeline.run.superposition import combined, push_of
from pipeline.run.tilted import tilted
from pipeline.run.twins import ADDED, FLOOR, MOVED, MOVED_FLOOR
from pipeline.storage.casebook import TWIN, folder_of
from pipeline.study.stages import Stage

BOLT = "bolt"  # what the touches of bolts in their holes begin with
IMPLANTS = ("nail", "plate", "stem")
POINT = "load_point"
JUDGED = 200  # samples at which it is asked how far the twin may be off
Place = tuple[str, str]
"""Quantity and location."""


def values_at(places: Sequence[Place], measures: Iterable[Measure]) -> list[float]:
    """Values of some quantities, the highest stress of any implant too; NaN where there is none."""
    found: dict[Place, float] = {}
    left = set(places)
    for one in measures:
        found[one.quantity, one.location] = one.value
        left.discard((one.quantity, one.location))
        if not left:
            break  # measures are read as they come, and few are wanted
    peaks = [value for (quantity, _), value in found.items() if quantity == PEAK]
    found |= {(PEAK, HIGHEST): max(peaks)} if peaks else {}
    return [found.get(place, float("nan")) for place in places]


def stored_twin(out: Path, case: Case) -> Twin:
    """The reduced model of a finished case.

    Raises
    ------
    StudyError
        If it is not there, is not as it was written, or is another case's.
    """
    twin = unpack(folder_of(out, case.address) / TWIN, case.address)
    if not isinstance(twin, Twin):
        raise StudyError(f"{case.label}: its reduced model is none; run the study again")
    return twin


@dataclass(frozen=True)
class Inquiry:
    """A construct at one stage under one load, whose inputs may move.

    Parameters
    ----------
    case : Case
        The construct.
    twin : Twin
        Its reduced model.
    stage : Stage
        The tissue, where no input says otherwise.
    load : Load
        The load.
    touches : mapping of str to float
        Clearances other than the case has, mm, by what touches there.
    """

    case: Case
    twin: Twin
    stage: Stage
    load: Load
    touches: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def geometry(self) -> Geometry:
        """What was meshed."""
        return self.case.geometry()

    @cached_property
    def written(self) -> Array:
        """Numbers of the twin's terms (terms,), as the study has them."""
        return self.twin.readout.terms.weights(part_elasticity(self.geometry, self.stage))

    @cached_property
    def units(self) -> Array:
        """Shares of the unit loads (units,), as the study has them."""
        case = self.case
        return combined(self.load, case.loads, case.femur, self.geometry.top[2])

    @cached_property
    def per_force(self) -> tuple[Array, Array]:
        """Shares of the unit loads per N along x, y, z (units, 3), and the load's force (3,), N.

        The load is one force at one point, which the plan has seen to.
        """
        case, top = self.case, self.geometry.top[2]
        push = push_of(self.load, case.femur, top)
        if push is None:
            raise StudyError(f"load {self.load.name!r} is not one force at one point; allowed is one")
        point, columns = tuple(push.point.tolist()), []
        for axis in np.eye(3):
            force = PointForce(name="one", at=point, force_n=tuple(axis.tolist()))
            one = Forces(name="one", kind="forces", forces=(force,), support=self.load.support)
            columns.append(combined(one, case.loads, case.femur, top))
        return np.stack(columns, axis=1), push.force

    def weights(self, values: Mapping[str, float]) -> Array:
        """Numbers of the terms with the inputs at some values."""
        found = self.written.copy()
        for group, own in spans(self.twin.readout.terms.groups):
            if group.name == "tissue":
                modulus, poisson = young_and_poisson(*found[own].tolist())
                modulus = values.get("tissue_modulus_mpa", modulus)
                poisson = values.get("tissue_poisson", poisson)
                found[own] = group.numbers(isotropic(modulus, poisson))
            elif group.name in IMPLANTS:
                found[own] *= values.get("metal_factor", 1.0)
            else:
                found[own] *= values.get(f"{group.name}_factor", 1.0)
        return found

    def shares(self, values: Mapping[str, float], tilt: tuple[float, float] | None) -> Array:
        """Shares of the unit loads with inputs at some values; the tilt is angle and azimuth, deg."""
        if tilt is None:
            return values.get("weight_factor", 1.0) * self.units
        per_force, _ = self.per_force
        return np.asarray(per_force @ self.force(values, tilt))

    def force(self, values: Mapping[str, float], tilt: tuple[float, float] | None) -> Array:
        """The one force (3,) of the load, N."""
        _, force = self.per_force
        turned = force if tilt is None else tilted(force, *np.radians(tilt))
        return np.asarray(values.get("weight_factor", 1.0) * turned)

    def clearance(self, values: Mapping[str, float]) -> dict[str, float]:
        """Clearances of the touches whose play moves, mm."""
        factor = values.get("play_factor", 1.0)
        stops = self.twin.model.stops.listed
        moved = {
            stop.touch: factor * stop.clearance
            for stop in stops
            if factor != 1 and stop.touch.startswith(BOLT)
        }
        return moved | dict(self.touches)


@dataclass(frozen=True)
class Samples:
    """Values of some quantities over samples of the inputs.

    Parameters
    ----------
    values : Array
        (samples, quantities), NaN where the twin does not cover the inputs.
    off : Array
        How far the twin may be off, as a share of the largest value like it (quantities,).
    """

    values: Array
    off: Array


@dataclass(frozen=True)
class InquiryReader:
    """Reads some quantities of one construct's states."""

    asked: Inquiry
    places: tuple[Place, ...]

    def sampled(self, samples: Sequence[Mapping[str, float]], tilts: Array | None) -> Samples:
        """Values over samples of the inputs; tilts (samples, 2) are angle and azimuth, degrees."""
        found = np.full((len(samples), len(self.places)), np.nan)
        is_quick = {quantity for quantity, _ in self.places} <= MOVED
        off = np.full(len(self.places), MOVED_FLOOR if is_quick else FLOOR)
        apart = max(1, len(samples) // JUDGED)
        bears: set[int] = set()
        for number, values in enumerate(samples):
            tilt = None if tilts is None else (float(tilts[number, 0]), float(tilts[number, 1]))
            try:
                answered = self._answered(values, is_quick=is_quick)
                borne = (answered.expecting(bears) if bears else answered).under(
                    self.asked.shares(values, tilt)
                )
                bears |= borne.state.forces.keys()
                found[number] = self._read(answered, borne, values, tilt)
                if number % apart == 0:
                    whole = self.at(values, tilt)
                    size = np.maximum(np.abs(whole), np.finfo(float).tiny)
                    off = np.maximum(off, ADDED * np.abs(found[number] - whole) / size)
            except BeyondError:
                continue
        return Samples(found, off)

    def at(
        self,
        values: Mapping[str, float],
        tilt: tuple[float, float] | None,
        *,
        is_quick: bool = False,
    ) -> Array:
        """Values (quantities,) at one sample of the inputs, by the weightiest coordinates if so asked.

        Raises
        ------
        BeyondError
            If the twin does not cover them.
        """
        answered = self._answered(values, is_quick=is_quick)
        borne = answered.under(self.asked.shares(values, tilt))
        return self._read(answered, borne, values, tilt)

    def _answered(self, values: Mapping[str, float], *, is_quick: bool) -> Answered:
        asked = self.asked
        answered = asked.twin.model.at(asked.weights(values), asked.clearance(values))
        return answered.quick if is_quick else answered

    def _read(
        self,
        answered: Answered,
        borne: Borne,
        values: Mapping[str, float],
        tilt: tuple[float, float] | None,
    ) -> Array:
        """Values (quantities,) of a state."""
        units, shares = self.asked.shares(values, tilt), borne.coordinates
        measures = self._measures(answered, units, borne)
        if any(quantity.startswith(POINT) for quantity, _ in self.places):
            measures = chain(measures, self._point(shares, units, self.asked.force(values, tilt)))
        return np.array(values_at(self.places, measures))

    def _measures(self, answered: Answered, units: Array, borne: Borne) -> Iterator[Measure]:
        """What holds the quantities that are asked for, and no more than that."""
        shares, is_linear = borne.coordinates, not borne.state.forces
        wanted = {quantity for quantity, _ in self.places}
        if wanted & MOVED:
            yield from self._moving.moved(units, shares, is_linear=is_linear)
        beside, readout = wanted - MOVED, self.asked.twin.readout
        if beside == {PEAK}:
            yield from self._peaks(readout.deformed(answered.weights), shares[:, None])
        elif beside:
            schemes = self.asked.case.strain_bands
            seen = readout.through(shares[:, None], has_energy=is_linear)
            readings = seen.readings(self.asked.geometry, answered.weights)
            yield from readings.under(units, np.ones(1), schemes, is_linear=is_linear)[0]

    def _peaks(self, parts: Sequence[DeformedImplant], shares: Array) -> Iterator[Measure]:
        """Highest stress of the parts that are asked for, or of whichever has the highest."""
        names = {location for quantity, location in self.places if quantity == PEAK}
        groups = (
            [parts] if names == {HIGHEST} else [[one] for one in parts if {one.name, HIGHEST} & names]
        )
        for group in groups:
            ((level, part),) = hottest(group, shares, np.array([True]))
            if level is not None:
                yield Measure(PEAK, part, level)

    def _point(self, shares: Array, units: Array, force: Array) -> Iterator[Measure]:
        """What the point of the load's one force tells."""
        push = push_of(self.asked.load, self.asked.case.femur, self.asked.geometry.top[2])
        if push is not None:
            push = replace(push, force=force, support=units[:3] - force)
            yield from load_point(self.asked.twin.readout.shaft, push, shares)

    @cached_property
    def _moving(self) -> Readings:
        """Readings of movements, which are the same at any materials."""
        return self.asked.twin.readout.readings(self.asked.geometry, self.asked.written)
