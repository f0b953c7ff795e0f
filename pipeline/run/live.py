"""What a page needs to answer for constructs itself: reduced models in their weightiest coordinates.

The page solves what `pipeline.reduced.model` solves, so it gets the same small matrices, and of what is
read the rows for movements at the gap and for forces through it. How far these coordinates are off all
of them is looked up at random inputs and told with every value.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometries.errors import StudyError
from pipeline.fem.space import Array
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.exploring import SHARE
from pipeline.reduced.model import Answered, BeyondError
from pipeline.reduced.terms import spans
from pipeline.run.coloured import Coloured, coloured, off
from pipeline.run.explored import BOLT, IMPLANTS, Inquiry
from pipeline.run.superposition import push_of
from pipeline.run.takeover import Errors, through_the_gap
from pipeline.run.twins import ADDED, MOVED_FLOOR
from pipeline.storage.caution import CAUTION
from pipeline.study.robustness import ALLOWED
from pipeline.study.stages import Stage

MOVEMENTS = ("gap_movement", "gap_axial_movement", "gap_shear_movement")
STRAINS = ("interfragmentary_strain", "rim_strain")
ANSWERED = (*MOVEMENTS, *STRAINS, SHARE)
"""Quantities that a page answers for."""
ALIKE = {name: MOVEMENTS if name in MOVEMENTS else (name,) for name in ANSWERED}
"""Of whose largest value an error of each is told as a share."""
WIDEST_DEG = 15.0  # from the load's own direction
JUDGED, TOLD_APART, SEED = 24, 60, 5
WEIGHTS = 0.05, 1.5  # of the load, that a page's control allows
Place = tuple[str, str]


@dataclass(frozen=True)
class LiveModel:
    """One construct as a page asks it.

    Parameters
    ----------
    asked : Inquiry
        The construct at the question's stage and load.
    errors : Errors
        Of the mesh.
    """

    asked: Inquiry
    errors: Errors

    def told(self, stages: Sequence[Stage]) -> dict[str, Any]:
        """All that the page gets, as JSON has it; arrays are little-endian bytes in base 64."""
        model = self.asked.twin.model
        q, units = model.quick, model.works.shape[1]
        lower = np.tril_indices(q)
        own = model.stops.columns(model.chosen)
        rest = np.setdiff1d(np.arange(len(model.moved)), own)
        is_chosen = np.isin(np.arange(len(model.stops.listed)), model.chosen)
        return {
            "name": self.asked.case.name,
            "coordinates": q, "units": units, "modes": len(model.works),
            "groups": list(self._groups()),
            "stiffness": [_doubles(one[:q, :q][lower]) for one in model.stiffness],
            "forces": _doubles(model.forces[:q].T),
            "rigid": _doubles(model.moved[own, len(model.forces) :]),
            "works": _doubles(model.works),
            "stops": [
                {"touch": one.touch, "size": len(one.directions), "clearance": one.clearance,
                 "rest": [float(part) for part in one.rest], "pushes": one.is_one_sided,
                 "chosen": bool(chosen), "bolt": one.touch.startswith(BOLT)}
                for one, chosen in zip(model.stops.listed, is_chosen, strict=True)
            ],
            "elsewhere": _bytes(
                np.delete(model.moved, np.s_[q : len(model.forces)], 1)[rest], "<f4"
            ),
            **self._load(), **self._gap(), **self._shaft(),
            "parts": list(self._parts()),
            "fields": {name: {"cells": _bytes(one.cells, "<i4"), "values": _bytes(one.values, "i1"),
                               "rows": _doubles(self._kept(one.rows))}
                        for name, one in self.colours.items()},
            "off": self._off(),
            "mesh_error": {
                f"{quantity}/{location}": [[one.material().modulus, error] for one in stages
                 if (error := self.errors.of(quantity, location, one.material().modulus)) != ""]
                for quantity, location in self._places()
            },
        }  # fmt: skip

    def values(
        self, inputs: Mapping[str, float], tilt: tuple[float, float] | None, *, is_quick: bool = True
    ) -> dict[Place, float]:
        """What the page answers at some inputs; the tilt is angle and azimuth, degrees.

        Raises
        ------
        BeyondError
            If the reduced model does not cover them.
        """
        asked = self.asked
        answered = asked.twin.model.at(asked.weights(inputs), asked.clearance(inputs))
        units = asked.shares(inputs, tilt)
        shares = (answered.quick if is_quick else answered).under(units).coordinates
        return dict(self._read(answered.weights, units, shares))

    def _read(self, weights: Array, units: Array, shares: Array) -> Iterator[tuple[Place, float]]:
        readings = self.asked.twin.readout.readings(self.asked.geometry, weights)
        for one in readings.moved(units, shares, is_linear=False):
            if one.quantity in ANSWERED:
                yield (one.quantity, one.location), one.value
        carried = dict(through_the_gap(readings, shares))
        for name in readings.sections["gap"].parts:
            yield (SHARE, name), carried.get((SHARE, name), 0.0)

    def _places(self) -> Iterator[Place]:
        readout = self.asked.twin.readout
        gap = self.asked.geometry.gap
        for location in gap.points() if gap else ():
            for quantity in (*MOVEMENTS, STRAINS[0]):
                yield quantity, location
        for way in ("closing", "opening"):
            yield STRAINS[1], way
        for name in readout.sections["gap"].parts:
            yield SHARE, name

    def _groups(self) -> Iterator[dict[str, Any]]:
        """Numbers of the terms as the study has them, and what changes them."""
        for group, span in spans(self.asked.twin.readout.terms.groups):
            kind = "metal" if group.name in IMPLANTS else group.name
            yield {"name": group.name, "kind": kind, "written": self.asked.written[span].tolist()}

    def _load(self) -> dict[str, Any]:
        """The load: shares of the unit loads, and per newton along x, y, z if it can be turned."""
        found: dict[str, Any] = {"load": self.asked.units.tolist()}
        if self.can_turn:
            per_force, force = self.asked.per_force
            push = push_of(self.asked.load, self.asked.case.femur, self.asked.geometry.top[2])
            found |= {"per_force": per_force.tolist(), "force": force.tolist()}
            found |= {"point": push.point.tolist(), "support": self.asked.load.support} if push else {}
        return found

    @cached_property
    def can_turn(self) -> bool:
        """Whether the load is one force at one point, and nothing else moves with it."""
        try:
            per_force, force = self.asked.per_force
        except StudyError:
            return False
        return bool(np.allclose(per_force @ force, self.asked.units, atol=1e-9 * np.linalg.norm(force)))

    def _gap(self) -> dict[str, Any]:
        """Rows for the movement of the proximal against the distal bone end, and where it is read."""
        gap, motions = self.asked.geometry.gap, self.asked.twin.readout.motions
        if gap is None:
            return {}
        about = gap.points()["centre"]
        below, above = (motions[f"gap_{end}_face"] for end in ("distal", "proximal"))
        apart = above.at(np.asarray(about)) - below.at(np.asarray(about))
        rows = np.concatenate([apart, above.rotation - below.rotation])
        lengths, rim = gap.lengths(), gap.rim
        return {
            "apart": _doubles(self._kept(rows)),
            "normal": list(map(float, gap.normal)), "about": list(map(float, about)),
            "points": {name: [*map(float, point), lengths[name]]
                       for name, point in gap.points().items()},
            "rim": _doubles(np.column_stack([rim.places, rim.lengths])),
        }  # fmt: skip

    def _shaft(self) -> dict[str, Any]:
        """Rows for the movement of places up the bone, from the held end to the loaded one."""
        shaft = self.asked.twin.readout.shaft
        rows = np.concatenate([one.translation for one in shaft])
        return {
            "shaft": [one.about.tolist() for one in shaft],
            "shaft_moved": _doubles(self._kept(rows)),
        }

    def _parts(self) -> Iterator[dict[str, Any]]:
        """Rows for the force along the shaft that each part carries through the gap, term by term."""
        readout = self.asked.twin.readout
        owners = {
            int(part): list(range(span.start, span.stop))
            for group, span in spans(readout.terms.groups)
            for part in group.parts
        }
        for name, one in readout.sections["gap"].parts.items():
            terms = owners.get(one.part, [])
            rows = np.stack([*(layer[2] for layer in one.layers[: len(terms)]), one.layers[-1][2]])
            yield {"name": name, "terms": terms, "rows": _doubles(self._kept(rows))}

    def _kept(self, rows: Array) -> Array:
        """Rows (k, coordinates) without the coordinates that the page does not use."""
        model = self.asked.twin.model
        return np.delete(rows, np.s_[model.quick : len(model.forces)], axis=1)

    def _drawn(self, count: int, seed: int) -> Iterator[tuple[dict[str, float], Array, Answered]]:
        """Random inputs with the shares of the unit loads, and the reduced model's answers to them."""
        chance, asked = np.random.default_rng(seed), self.asked
        for _ in range(count):
            inputs = {
                name: limits.low + (limits.high - limits.low) * chance.random()
                for name, limits in ALLOWED.items()
                if name != "tissue_poisson"
            }
            inputs["weight_factor"] = chance.uniform(*WEIGHTS)
            inputs["tissue_modulus_mpa"] = 10.0 ** chance.uniform(-1, 4)
            tilt = (WIDEST_DEG * chance.random(), 360 * chance.random()) if self.can_turn else None
            units = asked.shares(inputs, tilt)
            yield inputs, units, asked.twin.model.at(asked.weights(inputs), asked.clearance(inputs))

    @cached_property
    def colours(self) -> dict[str, Coloured]:
        """What cells are coloured from, by states at other inputs than are judged."""
        asked = self.asked
        own = asked.twin.model.at(asked.written, asked.clearance({})).quick.under(asked.units)
        states = [own.coordinates]
        for _, units, answered in self._drawn(TOLD_APART, SEED + 1):
            with suppress(BeyondError):
                states.append(answered.quick.under(units).coordinates)
        return coloured(asked.twin.readout, asked.written, np.stack(states, axis=1))

    def _off(self) -> dict[str, float]:
        """How far the page may be off the whole reduced model: shares of the largest like it.

        Of colours it is in their own unit, up to where they end with the inputs of the study.
        """
        shares, colours = dict.fromkeys(ANSWERED, 0.0), dict.fromkeys(self.colours, 0.0)
        for inputs, units, answered in self._drawn(JUDGED, SEED):
            try:
                states = [one.under(units).coordinates for one in (answered.quick, answered)]
            except BeyondError:
                continue
            for name, amount in off(
                self.asked.twin.readout, answered.weights, states, self.colours, inputs["metal_factor"]
            ):
                colours[name] = max(colours[name], amount)
            for quantity, share in self._shares_off(answered.weights, units, states):
                shares[quantity] = max(shares[quantity], share)
        return colours | {name: ADDED * share + MOVED_FLOOR for name, share in shares.items()}

    def _shares_off(
        self, weights: Array, units: Array, states: Sequence[Array]
    ) -> Iterator[tuple[str, float]]:
        """How far each quantity is off in the first of two states."""
        quick, whole = (dict(self._read(weights, units, one)) for one in states)
        for quantity in ANSWERED:
            size = max(abs(value) for (name, _), value in whole.items() if name in ALIKE[quantity])
            away = max(abs(whole[p] - quick[p]) for p in whole if p[0] == quantity)
            yield quantity, away / size if size else 0.0


def live_model(asked: Inquiry, errors: Errors, stages: Sequence[Stage]) -> dict[str, Any] | None:
    """A construct as ``live.json`` has it; None if its reduced model does not cover the study's own."""
    model = LiveModel(asked, errors)
    try:
        model.values({}, None)
    except BeyondError:
        return None
    return model.told(stages)


def live_content(
    stage: Stage, load: str, stages: Sequence[Stage], models: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """What ``live.json`` has: the question's stage and load, and all constructs that can be asked."""
    return {
        "caution": CAUTION,
        "stage": stage.name,
        "modulus": stage.material().modulus,
        "load": load,
        "stages": [
            {"name": one.name, "modulus": one.material().modulus, "poisson": one.material().poisson}
            for one in stages
        ],
        "widest_deg": WIDEST_DEG if all("force" in model for model in models) else 0.0,
        "limits": {name: [limits.low, limits.high] for name, limits in ALLOWED.items()}
        | {"weight_factor": list(WEIGHTS)},
        "alike": {name: list(names) for name, names in ALIKE.items()},
        "units": {name: "%" if name == SHARE else QUANTITIES[name].unit for name in ANSWERED},
        "constructs": list(models),
    }


def _doubles(values: Array) -> str:
    return _bytes(values, "<f8")


def _bytes(values: NDArray[Any], kind: str) -> str:
    return b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode()
