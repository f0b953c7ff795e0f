"""Where tissue takes over: a construct over the stiffness of the tissue in its gap."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import log

import numpy as np

from pipeline.fem.space import Array
from pipeline.loading.loads import Weighted
from pipeline.measures.dictionary import PEAK, QUANTITIES, Measure
from pipeline.measures.exploring import FORCE, HALF, SHARE, TISSUE, WEIGHT
from pipeline.measures.plausibility import Doubt
from pipeline.measures.readings import Readings
from pipeline.reduced.model import Answered, BeyondError
from pipeline.reduced.ranges import TISSUE_MPA
from pipeline.run.explored import Inquiry
from pipeline.storage.files import Cells
from pipeline.tables.rows import Row

POINTS = 60
FOLLOWED = {("gap_movement", "far"), ("rim_strain", "closing")}
TRIES, NEAR = 6, 1e-3  # of the factor at which a load brings an implant to its limit
MOST = 50.0  # times the load, beyond which nothing is said
"""Quantities that are followed besides forces and stresses."""


@dataclass(frozen=True)
class Errors:
    """Errors of the mesh of a construct's rows under one load, by stage."""

    moduli: Mapping[str, float]
    rows: Mapping[tuple[str, str, str], Row]

    def of(self, quantity: str, location: str, modulus: float) -> float | str:
        """In percent, as the stage with the nearest modulus has it; empty if that does not know."""
        if not self.moduli:
            return ""
        stage = min(self.moduli, key=lambda name: abs(log(self.moduli[name] / modulus)))
        row = self.rows.get((stage, quantity, location))
        return "" if row is None or row.error is None else row.error


def takeover_rows(asked: Inquiry, errors: Errors) -> Iterator[Cells]:
    """Rows of a construct over the tissue's modulus; moduli that its twin does not cover have none."""
    shares: list[tuple[float, float]] = []
    flags: dict[float, str] = {}
    common: Cells = {"construct": asked.case.name, "load": asked.load.name}
    for modulus in np.geomspace(*TISSUE_MPA, POINTS).tolist():
        inputs = {"tissue_modulus_mpa": modulus}
        try:
            found, doubts = _read(asked, inputs)
        except BeyondError:
            continue
        share = found.get((SHARE, TISSUE), 0.0)
        shares.append((modulus, share))
        flags[modulus] = _told(doubts, Measure(SHARE, TISSUE, share))
        for (quantity, location), value in found.items():
            yield common | {
                "tissue_modulus_mpa": modulus, "quantity": quantity, "location": location,
                "unit": _unit(asked, quantity), "value": value,
                "error": errors.of(quantity, location, modulus),
                "flags": _told(doubts, Measure(quantity, location, value)),
            }  # fmt: skip
    if shares:
        half = half_carried(shares)
        yield common | {
            "tissue_modulus_mpa": half, "quantity": HALF, "location": TISSUE, "unit": "MPa",
            "flags": _nearest(flags, half) if isinstance(half, float) else "",
        }  # fmt: skip


def _told(doubts: Iterable[Doubt], measure: Measure) -> str:
    """Doubts on a measure, in one cell."""
    return "; ".join(doubt.sentence for doubt in doubts if doubt.concerns(measure))


def _nearest(flags: Mapping[float, str], modulus: float) -> str:
    """Flags at the modulus that lies nearest to another one."""
    return flags[min(flags, key=lambda one: abs(log(one / modulus)))]


def half_carried(shares: list[tuple[float, float]]) -> float | str:
    """Modulus at which the second of (modulus, share) first reaches 50 %; empty if it never does."""
    for (low, before), (high, after) in pairwise(shares):
        if before < 50 <= after:
            part = (50 - before) / (after - before)
            return float(low * (high / low) ** part)
    return shares[0][0] if shares[0][1] >= 50 else ""


def _read(
    asked: Inquiry, inputs: Mapping[str, float]
) -> tuple[dict[tuple[str, str], float], list[Doubt]]:
    """What is followed, by quantity and location, and what puts it in doubt."""
    answered = asked.twin.model.at(asked.weights(inputs))
    readings = asked.twin.readout.readings(asked.geometry, answered.weights)
    borne = answered.under(asked.units)
    shares, schemes = borne.coordinates, asked.case.strain_bands
    is_linear = not borne.state.forces
    measures, doubts = readings.under(asked.units, shares, schemes, is_linear=is_linear)
    places = {(one.quantity, one.location): one.value for one in measures}
    levels = {name: value for (quantity, name), value in places.items() if quantity == PEAK}
    found = {place: value for place, value in places.items() if place in FOLLOWED}
    found |= dict(through_the_gap(readings, shares))
    found |= {(PEAK, name): level for name, level in levels.items()}
    factor = limit_factor(asked, answered, readings, levels)
    if factor is not None:
        found[WEIGHT, "most_loaded"] = 100 * factor * _whole(asked)
    return found, doubts


def through_the_gap(readings: Readings, shares: Array) -> Iterator[tuple[tuple[str, str], float]]:
    """Force along the shaft that each part carries through the gap, N, and its share of all, percent.

    Where the forces add up to nothing there are no shares.
    """
    parts = readings.sections["gap"].parts
    forces = {name: float((part @ shares)[2]) for name, part in parts.items()}
    total = sum(forces.values())
    for name, force in forces.items():
        yield (FORCE, name), force
        if total:
            yield (SHARE, name), 100 * force / total


def hot_levels(readings: Readings, shares: Array) -> dict[str, float]:
    """Stress exceeded in 5 mm³ of each implant part, MPa."""
    return {
        part.name: stressed.hot_level
        for part in readings.implants
        for stressed in part.stresses(shares[:, None])
    }


def limit_factor(
    asked: Inquiry, answered: Answered, readings: Readings, levels: Mapping[str, float]
) -> float | None:
    """Times the load at which the most loaded implant is at the lower end of its endurance range.

    The levels are those of the load itself. None where that is far beyond it, or not covered.
    """
    limits = {
        part.name: part.strength.endurance[0] for part in readings.implants if part.strength is not None
    }
    if not limits:
        return None
    factor = 1.0
    for _ in range(TRIES):
        used = max(levels[name] / limit for name, limit in limits.items())
        if used <= 0 or factor / used > MOST:
            return None
        if abs(used - 1) < NEAR:
            return factor
        factor /= used  # what bears changes slowly with the load
        try:
            shares = answered.under(factor * asked.units).coordinates
        except BeyondError:
            return None
        levels = hot_levels(readings, shares)
    return factor


def _whole(asked: Inquiry) -> float:
    """Share of the whole load that the stated one is."""
    return asked.load.fraction if isinstance(asked.load, Weighted) else 1.0


def _unit(asked: Inquiry, quantity: str) -> str:
    if quantity == WEIGHT:
        return "% of body weight" if isinstance(asked.load, Weighted) else "% of the stated load"
    return {SHARE: "%", FORCE: "N"}.get(quantity) or QUANTITIES[quantity].unit
