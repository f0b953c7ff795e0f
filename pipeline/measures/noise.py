"""What is nothing against the load is told as nothing, before shares and percentages blow it up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipeline.fem.limits import BALANCE_TOLERANCE
from pipeline.fem.space import Array
from pipeline.measures.dictionary import QUANTITIES, Measure

KINDS = ("mm", "deg", "MPa", "kPa")
NO_ANSWER = (
    "contact_height",
    "contact_side",
    "rim_side",
    "strain_band",
)  # places, and shares of a whole
STRAIN = "strain"


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
    largest of their kind.

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
        kind = _kind(one)
        if kind in (*KINDS, STRAIN):
            largest[kind] = max(largest.get(kind, 0.0), abs(one.value))
    for one in measures:
        noise = BALANCE_TOLERANCE * largest.get(_kind(one), 0.0)
        yield replace(one, value=0.0) if abs(one.value) < noise else one


def _kind(one: Measure) -> str:
    """What it is compared with: its unit, of strains that they are strains."""
    if one.quantity in NO_ANSWER:
        return ""
    unit = QUANTITIES[one.quantity].unit
    return STRAIN if unit == "%" and STRAIN in one.quantity else unit
