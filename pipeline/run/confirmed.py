"""The full model where a twin was asked: at any materials, load and clearances of a construct."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from geometries.errors import StudyError
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.loading.loads import Load
from pipeline.run.equilibrium import Equilibrium, Prepared
from pipeline.run.explored import Inquiry, Place, values_at
from pipeline.run.reading import Loaded, StageReadings
from pipeline.run.tilted import turned


def full_values_at(
    asked: Inquiry,
    places: tuple[Place, ...],
    values: Mapping[str, float],
    tilt: tuple[float, float] | None,
) -> tuple[float, ...]:
    """Values of some quantities from the full model with inputs at some values, on its own mesh.

    Raises
    ------
    StudyError
        If nothing holds the load there.
    """
    clearance = asked.clearance(values)
    stops = tuple(
        replace(stop, clearance=clearance.get(stop.touch, stop.clearance))
        for stop in asked.geometry.stops
    )
    geometry = replace(asked.geometry, stops=stops)
    load: Load = asked.load
    if tilt is not None:
        load = turned(load, asked.case.femur, asked.force(values, tilt)) or load
    case = replace(asked.case, loads=(load,))
    prepared = Prepared.of(build_mesh(geometry, case.level), geometry, case)
    factor = 1.0 if tilt is not None else values.get("weight_factor", 1.0)
    loads = {name: factor * shares for name, shares in prepared.loads.items()}
    elasticity = asked.twin.readout.terms.elasticity(asked.weights(values))
    prepared = replace(prepared, loads=loads)
    _, found = prepared.settled(prepared.assembled(elasticity))
    if load.name not in found.states:
        raise StudyError(found.failures[load.name])
    settled = Equilibrium(**vars(found), stage=asked.stage, elasticity=elasticity, errors={})
    reading = StageReadings.of(prepared.mesh, geometry, settled)
    told, _ = reading.under(case, load, Loaded.of(found, load.name))
    return tuple(values_at(places, told))
