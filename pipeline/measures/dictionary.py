"""The data dictionary: one definition for every quantity in the results."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

from pipeline.measures.bearing import BEARING
from pipeline.measures.quantity import Quantity as Quantity
from pipeline.measures.yielding import YIELDING

Scheme = Literal["classical", "pressure", "deviatoric"]
"""Published ways to sort tissue strain."""


@dataclass(frozen=True)
class Measure:
    """One value of a quantity at a location, in the dictionary's unit."""

    quantity: str
    location: str
    value: float


QUANTITIES: dict[str, Quantity] = YIELDING | BEARING

PEAK, HIGHEST = "von_mises_5mm3", "highest"  # the implant stress that is compared; of any part
HEADLINE = (
    "gap_movement", "free_movement", "free_rotation", "gap_axial_movement", "gap_shear_movement",
    "rim_movement", "interfragmentary_strain", "rim_strain", "tissue_strain_octahedral",
    "load_point_stiffness", "axial_stiffness", "torsional_stiffness", "bending_stiffness", PEAK,
)  # fmt: skip
"""Quantities that a study is read for first; ``comparisons.csv`` has these."""
BY_SIZE = ("gap_axial_movement", "interfragmentary_strain")
"""Quantities whose sign says which way and whose size says how much."""


def known_quantity(name: str) -> str:
    """Return a name that is in the dictionary; of another a ValueError says which are near."""
    if name not in QUANTITIES:
        near = ", ".join(get_close_matches(name, QUANTITIES, 3, 0.0))
        raise ValueError(f"no such quantity; the nearest allowed are {near}: correct it")
    return name
