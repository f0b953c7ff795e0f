"""Where surfaces bear, how hard, and how much of their clearance is used."""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, degrees

import numpy as np

from geometries.stops import Stop
from pipeline.fem.contact.rules import Rules
from pipeline.fem.contact.states import State
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure


def touching(stops: Rules, state: State) -> Iterator[Measure]:
    """Measures of every touch of a construct: ``canal_distal``, ``bolt_1``, ``bone_ends`` and so on."""
    used = state.used(stops)
    for touch, members in stops.touches.items():
        yield Measure("clearance_used", touch, float(100 * used[members].max()))
        yield Measure("overlap_left", touch, float(max(state.overlap[members].max(), 0.0)))
        forces = {k: state.forces[k] for k in members.tolist() if k in state.forces}
        sizes = {k: float(np.linalg.norm(force)) for k, force in forces.items()}
        yield Measure("contact_force", touch, float(sum(sizes.values())))
        if not sizes:
            continue
        hardest = max(sizes, key=lambda k: sizes[k])
        stop = stops.listed[hardest]
        yield Measure("contact_height", touch, stop.height)
        if touch.startswith(("canal", "bone_ends")):
            yield Measure("contact_side", touch, _side(stop, forces[hardest]))


def _side(stop: Stop, force: Array) -> float:
    """Azimuth of the wall that is pressed, or of the place on a bone end's rim, degrees."""
    if stop.touch == "bone_ends":
        x, y, _ = stop.points[0]
    else:
        x, y, _ = -force @ np.asarray(stop.directions)
    return degrees(atan2(y, -x))
