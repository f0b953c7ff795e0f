"""The data dictionary: one definition for every quantity in the results."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Quantity:
    """A reported quantity.

    Parameters
    ----------
    unit : str
        Unit of the value.
    locations : str
        Where it is read.
    definition : str
        How it is computed.
    """

    unit: str
    locations: str
    definition: str


@dataclass(frozen=True)
class Measure:
    """One value of a quantity at a location, in the dictionary's unit."""

    quantity: str
    location: str
    value: float


_CORTEX = (
    "near: periosteal surface under the plate (lateral without a plate); far: opposite; centre: "
    "shaft axis; all on the middle plane of the gap"
)
_PERCENTILES = "p5, p50, p95: percentiles by volume over the gap tissue"
_IMPLANTS = "each implant part: nail, plate, bolt_1 ..., screw_1 ... numbered from the knee upwards"

QUANTITIES: dict[str, Quantity] = {
    "gap_axial_movement": Quantity(
        "mm", _CORTEX,
        "Movement of the proximal bone end against the distal one along the shaft; negative closes "
        "the gap. Each end's motion is the area-weighted least-squares rigid fit of its face.",
    ),
    "gap_shear_movement": Quantity(
        "mm", _CORTEX,
        "Size of the same relative movement across the shaft.",
    ),
    "interfragmentary_strain": Quantity(
        "%", _CORTEX,
        "Axial gap movement divided by the gap length; negative closes the gap.",
    ),
    "gap_face_misfit": Quantity(
        "mm", "distal, proximal: the bone end",
        "Root mean square of what the rigid fit of a bone end's face leaves over. Large against the "
        "gap movement: the end is not rigid and the movement is a mean.",
    ),
    "tissue_strain_major": Quantity(
        "%", _PERCENTILES, "Largest principal strain e1 at quadrature points.",
    ),
    "tissue_strain_minor": Quantity(
        "%", _PERCENTILES, "Smallest principal strain e3 at quadrature points.",
    ),
    "tissue_strain_octahedral": Quantity(
        "%", _PERCENTILES,
        "Octahedral shear strain (2/3) sqrt((e1-e2)^2 + (e2-e3)^2 + (e3-e1)^2). Other authors divide "
        "it by 2 or by sqrt(2); compare formulas before numbers.",
    ),
    "axial_stiffness": Quantity(
        "N/mm", "sections: the two reference sections",
        "Axial part of the force divided by the shortening on the shaft axis between the rigid fits "
        "of the two reference sections.",
    ),
    "torsional_stiffness": Quantity(
        "N·m/deg", "sections: the two reference sections",
        "Torque divided by the twist between the rigid fits of the two reference sections.",
    ),
    "bending_stiffness": Quantity(
        "N·m²", "sections: the two reference sections",
        "Moment times the distance of the two reference sections divided by the angle between their "
        "rigid fits: the mean EI over that length.",
    ),
    "von_mises_p99": Quantity(
        "MPa", _IMPLANTS,
        "Von Mises stress not exceeded in 99 % of the part's volume. Diluted by a longer implant.",
    ),
    "von_mises_5mm3": Quantity(
        "MPa", _IMPLANTS,
        "Von Mises stress exceeded in exactly 5 mm³ of the part, by volume at quadrature points: "
        "comparable between implants of unlike size. Peaks are not given: at a bonded re-entrant "
        "corner they have no value.",
    ),
}  # fmt: skip
