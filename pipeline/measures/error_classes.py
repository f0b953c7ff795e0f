"""Bars of results that one mesh tells no error of: a share of what is like them, by their class.

Their share of a load's error in energy norm was chosen on some constructs and judged on others, see
tests/README.md. They bound a class of results, and say little of a single one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite

from pipeline.fem.space import Array
from pipeline.measures.columns import CLASSED, EXACT, UNKNOWN
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.noise import load_sizes

SMALL = 0.3  # of the largest like it, below which a result's bar does not shrink with it
CLASSES: dict[str, float] = {
    "bone_energy_density": 0.4, "gap_face_misfit": 2.1,
    "contact_force": 1.2, "clearance_used": 1.2,
    "fragment_axial_force": 0.5, "fragment_shear_force": 0.8,
    "axial_load_share": 1.5, "torque_share": 5.1, "bending_share": 1.4, "bending_share_own": 1.8,
    "strain_band": 1.0, "tissue_pressure": 1.4, "tissue_strain_octahedral": 1.1,
    "tissue_strain_major": 1.8, "tissue_strain_minor": 1.2, "tissue_strain_volumetric": 1.3,
}  # fmt: skip
"""By quantity."""
IMPLANTS = ("bolt", "screw", "nail", "plate")
OF_IMPLANTS: dict[str, tuple[float, ...]] = {
    "von_mises_5mm3": (3.3, 1.0, 1.1, 0.7),
    "von_mises_p99": (3.1, 1.8, 0.4, 0.8),
    "von_mises_p99_9": (4.3, 4.8, 1.2, 1.1),
    "yield_factor": (5.4, 1.2, 1.1, 0.7),
    "endurance_factor": (5.5, 1.1, 1.1, 0.7),
    "nominal_stress": (3.5, 1.9, 0.3, 2.4),
    "pin_axial_force": (7.8, 1.9),
    "pin_shear_force": (4.7, 4.2),
    "pin_bending_moment": (3.3, 2.2),
    "pin_torque": (1.7, 4.1),
    "screw_bone_strain_mean": (4.4, 1.6),
    "screw_bone_strain_p5": (5.0, 2.3),
}
"""By quantity and kind of implant; a stem counts as a nail."""
BALANCED = frozenset(
    ("section_axial_force", "section_shear_force", "section_bending_moment", "section_torque",
     "tissue_volume")
)  # fmt: skip
OF_WHOLE = frozenset(
    ("strain_band", "clearance_used", "axial_load_share", "torque_share", "bending_share",
     "bending_share_own")
)  # fmt: skip
NARROW = "plate_gap"
"""A plane where a plate may lie so near to the bone that cells are longer than the way between."""
ALONE = frozenset(("gap_face_misfit",))
Kind = tuple[str, str]


@dataclass(frozen=True)
class ErrorBar:
    """Half-width of a result's error, in its unit, and what it is known from."""

    half: float
    known: str


def class_bar(one: Measure, energy: float, sizes: Mapping[Kind, float]) -> ErrorBar:
    """Half-width of the error of a result's class, infinite where no class is known.

    Parameters
    ----------
    one : Measure
        The result.
    energy : float
        Error of its load in energy norm, a share.
    sizes : mapping of (str, str) to float
        See `sizes_of`.
    """
    if one.quantity in BALANCED:
        return ErrorBar(0.0, EXACT)
    factor = _factor(one)
    if not isfinite(factor):
        return ErrorBar(inf, UNKNOWN)
    return ErrorBar(factor * energy * max(abs(one.value), SMALL * sizes[kind_of_result(one)]), CLASSED)


def _factor(one: Measure) -> float:
    """Of a result's class; infinite where there is none."""
    if one.quantity in OF_IMPLANTS:
        if one.location.endswith(NARROW):
            return inf
        part = re.split(r"[_/]", one.location)[0].replace("stem", "nail")
        return dict(zip(IMPLANTS, OF_IMPLANTS[one.quantity], strict=False)).get(part, inf)
    return CLASSES.get(one.quantity, inf)


def sizes_of(
    measures: Sequence[Measure], load: Array, length: float, shear_modulus: float
) -> dict[Kind, float]:
    """Largest of the results that are alike: at least what the load may bring about, or a whole.

    Parameters
    ----------
    measures : sequence of Measure
        All of one load.
    load : Array
        Shares of the unit loads.
    length : float
        Of the shaft, mm.
    shear_modulus : float
        Of the tissue, MPa; with its strain it is what pressure is held against.
    """
    force, _ = load_sizes(load, length)
    found: dict[Kind, float] = {("fragment", "N"): force}
    strained = 0.0
    for one in measures:
        kind = kind_of_result(one)
        whole = 100.0 if one.quantity in OF_WHOLE else 0.0
        found[kind] = max(found.get(kind, 0.0), abs(one.value), whole)
        if one.quantity == "tissue_strain_octahedral":
            strained = max(strained, shear_modulus * one.value / 100)
    pressed = "tissue", "MPa"
    return found | {pressed: max(found.get(pressed, 0.0), strained)}


def kind_of_result(one: Measure) -> Kind:
    """What a result's size is compared with: first word of its quantity, and unit."""
    unit = QUANTITIES[one.quantity].unit
    if one.quantity in OF_WHOLE or one.quantity in ALONE:
        return one.quantity, unit
    return one.quantity.partition("_")[0], unit
