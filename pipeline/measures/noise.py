"""What is nothing against the load is told as nothing, before shares and percentages blow it up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipeline.fem.limits import BALANCE_TOLERANCE
from pipeline.fem.space import Array
from pipeline.measures.dictionary import PEAK, QUANTITIES, Measure

MOVES = {"mm": "movement", "deg": "movement"}  # a degree moves what is 57 mm away by a millimetre
BY_LOAD = ("N", "N·m")
NO_ANSWER = (
    "contact_height",
    "contact_side",
    "rim_side",
    "strain_band",
)  # places, and shares of a whole
STRAIN = "strain"
FACTORS = ("yield_factor", "endurance_factor")


def load_sizes(load: Array, length: float) -> tuple[float, float]:
    """How much force, N, and moment, N·mm, a load may bring about at any level of a shaft.

    Parameters
    ----------
    load : Array
        Shares of the unit loads: force and moment at the proximal end, then forces below it.
    length : float
        Of the shaft, mm.
    """
    force = float(np.linalg.norm(load[:3]) + np.abs(load[6:]).sum())
    moment = float(np.linalg.norm(load[3:6]))
    return force + moment / length, moment + force * length


def settled(measures: Sequence[Measure], load: Array, length: float) -> Iterator[Measure]:
    """The measures of a load, with 0 for what lies below the balance that is allowed.

    Forces and moments are held against the load; movements, angles, stresses and strains against the
    largest of their kind. An implant without stress has no factors.

    Parameters
    ----------
    measures : sequence of Measure
        All of one load.
    load : Array
        Shares of the unit loads.
    length : float
        Of the shaft, mm.
    """
    force, moment = load_sizes(load, length)
    largest = {"N": force, "N·m": moment / 1000}
    for one in measures:
        kind = kind_of(one.quantity)
        if kind and kind not in BY_LOAD:
            largest[kind] = max(largest.get(kind, 0.0), abs(one.value))
    bare: set[str] = set()
    for one in measures:
        noise = BALANCE_TOLERANCE * largest.get(kind_of(one.quantity), 0.0)
        if abs(one.value) >= noise and not (one.quantity in FACTORS and _part(one) in bare):
            yield one
        elif one.quantity not in FACTORS:
            yield replace(one, value=0.0)
            bare |= {_part(one)} if one.quantity == PEAK else set()


def kind_of(quantity: str) -> str:
    """What values of a quantity may be compared with by size; empty for none."""
    unit = QUANTITIES[quantity].unit
    if quantity in NO_ANSWER or unit not in (*BY_LOAD, *MOVES, "MPa", "kPa", "%"):
        return ""
    if unit == "%":
        return STRAIN if STRAIN in quantity else ""
    return MOVES.get(unit, unit)


def _part(one: Measure) -> str:
    return one.location.partition("/")[0]
