"""What is nothing against the load is told as nothing, before shares and percentages blow it up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from pipeline.fem.limits import BALANCE_TOLERANCE
from pipeline.fem.space import Array
from pipeline.measures.dictionary import PEAK, QUANTITIES, Measure

# Values of one kind are compared by size; a degree moves what is 57 mm away by a millimetre.
KINDS = {"N": "N", "N·m": "N·m", "mm": "movement", "deg": "movement", "MPa": "MPa", "kPa": "kPa"}
STRAIN = "strain"
PLACES = frozenset(
    ("contact_height", "contact_side", "rim_side", "strain_band")
)  # or shares of a whole
FACTORS = frozenset(("yield_factor", "endurance_factor"))


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
    by_load = {"N": force, "N·m": moment / 1000}
    largest = largest_of(measures) | by_load
    bare: set[str] = set()
    for one in measures:
        is_nothing = abs(one.value) < BALANCE_TOLERANCE * largest[kind_of(one.quantity)]
        if is_nothing and one.quantity == PEAK:
            bare.add(one.location)
        if one.quantity not in FACTORS or _part(one) not in bare:
            yield replace(one, value=0.0) if is_nothing else one


def largest_of(measures: Iterable[Measure]) -> dict[str, float]:
    """Largest size of each kind; 0 of what is of none."""
    found: dict[str, float] = {}
    for one in measures:
        kind = kind_of(one.quantity)
        found[kind] = max(found.get(kind, 0.0), abs(one.value))
    return found | {"": 0.0}


@cache
def kind_of(quantity: str) -> str:
    """What values of a quantity may be compared with by size; empty for none."""
    unit = QUANTITIES[quantity].unit
    if quantity in PLACES:
        return ""
    if unit == "%" and STRAIN in quantity:
        return STRAIN
    return KINDS.get(unit, "")


def _part(one: Measure) -> str:
    return one.location.partition("/")[0]
