"""The data dictionary: one definition for every quantity in the results."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

Scheme = Literal["classical", "pressure", "deviatoric"]
"""Published ways to sort tissue strain."""


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
_PERCENTILES = (
    "p5, p50, p95, p99: percentiles by volume over the tissue between the bone ends; inner/p5 ...: in "
    "the canal; cuff/p5 ...: in the cuff"
)
_TOUCHES = (
    "canal_distal, canal_proximal: rod and canal of a bone end; bolt_1 ...: bolt in the nail; "
    "bone_ends; plate_distal, plate_proximal: underside and bone"
)
_SECTIONS = "sections: the two reference sections"
_LEVELS = "gap (middle of a specimen: middle), and the level of every bolt and screw"
_SHARES = "level/part, for every part that the level cuts"
_PLANES = (
    "bolt/near_shear_plane (lateral, or the front) and far_shear_plane: in the void beside the nail; "
    "screw/plate_gap: between plate and bone; screw/near_cortex: middle of the near cortex"
)
_TANGENT = "The same of the change between 99 and 101 % of the load."
_FRAGMENTS = "distal or proximal bone end / the part that acts on it, or applied: loads and support"
_SLEEVES = "bolt or screw / near (side of the head; lateral for bolts) or far"
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
    "gap_normal_movement": Quantity(
        "mm", _CORTEX,
        "The same relative movement along the normal of the fracture plane, the mean of both bone "
        "ends; negative closes the gap. Equal to the axial movement in a transverse gap.",
    ),
    "gap_sliding_movement": Quantity(
        "mm", _CORTEX, "Size of the same relative movement in the fracture plane.",
    ),
    "interfragmentary_strain": Quantity(
        "%", _CORTEX,
        "Normal gap movement divided by the distance of the bone ends there, along the same normal; "
        "negative closes the gap.",
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
        "N/mm", _SECTIONS,
        "Axial part of the force divided by the shortening on the shaft axis between the rigid fits "
        "of the two reference sections.",
    ),
    "torsional_stiffness": Quantity(
        "N·m/deg", _SECTIONS,
        "Torque divided by the twist between the rigid fits of the two reference sections.",
    ),
    "bending_stiffness": Quantity(
        "N·m²", _SECTIONS,
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
    "gap_rotation": Quantity(
        "deg", "medial_axis, anterior_axis, shaft",
        "Rotation of the proximal bone end's face against the distal one's about the axis.",
    ),
    "proximal_movement": Quantity(
        "mm", "proximal_end", "Size of the mean movement of the loaded end's face.",
    ),
    "tissue_strain_volumetric": Quantity(
        "%", _PERCENTILES, "Sum of the principal strains at quadrature points.",
    ),
    "tissue_pressure": Quantity(
        "MPa", _PERCENTILES,
        "Hydrostatic pressure, minus the mean of the normal stresses; compression positive.",
    ),
    "tissue_volume": Quantity("mm³", "gap, inner, cuff", "Volume of the region that is read."),
    "strain_band": Quantity(
        "%", "scheme/band, after inner/ or cuff/ for those regions; limits in percent strain and MPa",
        "Share of the gap tissue's volume in a band of a published scheme, never a forecast of "
        "healing. classical: largest principal strain by size (Perren 1979); pressure: "
        "the same with pressure (Claes 1998); deviatoric: octahedral shear strain "
        "(Prendergast 1997, without the flow of its fluid).",
    ),
    "axial_stiffness_by_energy": Quantity(
        "N/mm", _SECTIONS,
        "F^2 / 2U with the strain energy U between the sections; pure axial force only.",
    ),
    "torsional_stiffness_by_energy": Quantity(
        "N·m/deg", _SECTIONS,
        "T^2 / 2U with the strain energy U between the sections; pure torque only.",
    ),
    "bending_stiffness_by_energy": Quantity(
        "N·m²", _SECTIONS,
        "M^2 L / 2U with the strain energy U between the sections at the distance L; pure bending "
        "only.",
    ),
    "section_axial_force": Quantity(
        "N", _LEVELS,
        "Axial force through the level from consistent nodal forces, tension positive.",
    ),
    "section_shear_force": Quantity("N", _LEVELS, "Size of the force across the shaft."),
    "section_bending_moment": Quantity(
        "N·m", _LEVELS, "Size of the bending moment about the shaft axis at the level.",
    ),
    "section_torque": Quantity("N·m", _LEVELS, "Torque about the shaft axis."),
    "statics_residual": Quantity(
        "1", _LEVELS,
        "Difference between the section's force and moment and hand statics of the stated loads, as a "
        "share of the load (moments over the bone's length).",
    ),
    "axial_load_share": Quantity(
        "%", _SHARES,
        "Part's share of the section's axial force; parts sum to 100 and may have opposite signs.",
    ),
    "torque_share": Quantity("%", _SHARES, "Part's share of the section's torque."),
    "bending_share": Quantity(
        "%", _SHARES,
        "Part's share of the section's bending moment about the shaft axis, along that moment.",
    ),
    "bending_share_own": Quantity(
        "%", _SHARES,
        "What of that share the part carries by bending itself; the rest is its axial force times its "
        "distance from the shaft axis.",
    ),
    "pin_axial_force": Quantity(
        "N", _PLANES, "Force along the bolt or screw; positive pulls it out towards its head.",
    ),
    "pin_shear_force": Quantity("N", _PLANES, "Size of the force across the bolt or screw."),
    "pin_bending_moment": Quantity("N·m", _PLANES, "Size of its bending moment."),
    "pin_torque": Quantity("N·m", _PLANES, "Its torque."),
    "nominal_stress": Quantity(
        "MPa", f"{_PLANES}; nail/gap, plate/gap",
        "Beam stress from section forces: bolts and screws 4N/(pi d^2) + 32M/(pi d^3); nail N/A + M/W; "
        "plate N/A + M/W about both axes.",
    ),
    "fragment_axial_force": Quantity("N", _FRAGMENTS, "Force along the shaft on the fragment."),
    "fragment_shear_force": Quantity("N", _FRAGMENTS, "Size of the force across the shaft."),
    "fragment_residual": Quantity(
        "1", "distal, proximal",
        "What the forces and moments on the fragment leave over, as a share of the largest of them "
        "(moments over the bone's length): zero in equilibrium.",
    ),
    "von_mises_p99_9": Quantity(
        "MPa", _IMPLANTS, "Von Mises stress not exceeded in 99.9 % of the part's volume.",
    ),
    "yield_factor": Quantity(
        "1", _IMPLANTS,
        "Least yield stress of the material's standard over von_mises_5mm3.",
    ),
    "endurance_factor": Quantity(
        "1", "implant/notched, implant/smooth: ends of the published range of the endurance limit",
        "Goodman factor of a stress that pulsates between zero and von_mises_5mm3: inverse of "
        "amplitude / endurance limit + mean / ultimate stress.",
    ),
    "screw_bone_strain_mean": Quantity(
        "%", _SLEEVES,
        "Mean smallest principal strain of the cortex within 1.5 mm of the bolt or screw.",
    ),
    "screw_bone_strain_p5": Quantity(
        "%", _SLEEVES, "Its level that 5 % of that volume falls below: the most compressed bone.",
    ),
    "screw_bone_volume_over": Quantity(
        "mm³", "sleeve/0.7 or sleeve/1.0: limit in percent",
        "Volume of the sleeve compressed beyond the limit. Models that took 0.73 % in tension and "
        "1.04 % in compression for the limits of bone foretold how femurs fail (Schileo 2014, J "
        "Biomech, read in its abstract).",
    ),
    "gap_movement": Quantity(
        "mm", _CORTEX,
        "Size of the movement of the proximal bone end against the distal one, in any direction.",
    ),
    "free_movement": Quantity(
        "mm", _CORTEX,
        "Free play: size of the movement of the proximal bone end against the distal one between minus "
        "and plus 1 % of the load, what tissue and implants yield to so little included. None where "
        "nothing holds the load turned round.",
    ),
    "free_rotation": Quantity(
        "deg", "medial_axis, anterior_axis, shaft",
        "Free play: rotation of the proximal bone end against the distal one between minus and plus "
        "1 % of the load.",
    ),
    "axial_stiffness_tangent": Quantity(
        "N/mm", _SECTIONS,
        "The same of the change between 99 and 101 % of the load, where axial_stiffness is the secant "
        "from no load on.",
    ),
    "torsional_stiffness_tangent": Quantity("N·m/deg", _SECTIONS, _TANGENT),
    "bending_stiffness_tangent": Quantity("N·m²", _SECTIONS, _TANGENT),
    "contact_force": Quantity(
        "N", _TOUCHES, "Sum of the sizes of the forces of all stops that bear there.",
    ),
    "contact_height": Quantity(
        "mm", _TOUCHES, "Height above the knee end of the stop that bears most; none where none bears.",
    ),
    "contact_side": Quantity(
        "deg", "canal_distal, canal_proximal, bone_ends",
        "Azimuth of the wall that is pressed most, or of the place on the rim of the bone ends.",
    ),
    "clearance_used": Quantity(
        "%", _TOUCHES, "Largest share of a clearance that movement has used up; 100 where it bears.",
    ),
    "overlap_left": Quantity(
        "mm", _TOUCHES,
        "Largest depth by which surfaces still overlap at any place that is watched; allowed is the "
        "larger of 0.005 mm and 1 % of the clearance.",
    ),
    "bone_energy_density": Quantity(
        "kPa", "distal or proximal / distance from the gap",
        "Mean strain-energy density of the cortex; percent_of_intact shows stress shielding.",
    ),
}  # fmt: skip

PEAK, HIGHEST = "von_mises_5mm3", "highest"  # the implant stress that is compared; of any part
HEADLINE = (
    "gap_movement", "free_movement", "free_rotation", "gap_axial_movement", "gap_shear_movement",
    "interfragmentary_strain", "tissue_strain_octahedral", "axial_stiffness",
    "torsional_stiffness", "bending_stiffness", PEAK,
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
