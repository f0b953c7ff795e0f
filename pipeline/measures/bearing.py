"""Data dictionary: what sections, implants, bone and touching surfaces bear."""

from __future__ import annotations

from pipeline.measures.quantity import Quantity

_TOUCHES = (
    "canal_distal, canal_proximal: rod and canal of a bone end; bolt_1 ...: bolt in the nail; "
    "bone_ends; plate_distal, plate_proximal: underside and bone"
)
_LEVELS = "gap (middle of a specimen: middle), and the level of every bolt and screw"
_SHARES = "level/part, for every part that the level cuts"
_LEFT = (
    "None where the whole is less than a tenth of the largest part, or lost in round-off: shares of "
    "next to nothing say nothing."
)
_PLANES = (
    "bolt/near_shear_plane (lateral, or the front) and far_shear_plane: in the void beside the nail; "
    "screw/plate_gap: between plate and bone; screw/near_cortex: middle of the near cortex"
)
_FRAGMENTS = "distal or proximal bone end / the part that acts on it, or applied: loads and support"
_SLEEVES = "bolt or screw / near (side of the head; lateral for bolts) or far"
_IMPLANTS = "each implant part: nail, plate, bolt_1 ..., screw_1 ... numbered from the knee upwards"

BEARING: dict[str, Quantity] = {
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
        "Part's share of the section's axial force; parts sum to 100 and may have opposite signs. "
        f"{_LEFT}",
    ),
    "torque_share": Quantity("%", _SHARES, f"Part's share of the section's torque. {_LEFT}"),
    "bending_share": Quantity(
        "%", _SHARES,
        "Part's share of the section's bending moment about the shaft axis, along that moment. "
        f"{_LEFT}",
    ),
    "bending_share_own": Quantity(
        "%", _SHARES,
        "Share of the section's bending moment that the part carries by bending itself; what "
        "bending_share has besides is its axial force times its distance from the shaft axis. "
        f"{_LEFT}",
    ),
    "pin_axial_force": Quantity(
        "N", _PLANES, "Force along the bolt or screw; positive pulls it out towards its head.",
    ),
    "pin_shear_force": Quantity("N", _PLANES, "Size of the force across the bolt or screw."),
    "pin_bending_moment": Quantity("N·m", _PLANES, "Size of the bending moment of the bolt or screw."),
    "pin_torque": Quantity("N·m", _PLANES, "Torque of the bolt or screw about its axis."),
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
        "%", _SLEEVES,
        "Smallest principal strain that 5 % of the cortex within 1.5 mm of the bolt or screw falls "
        "below: the most compressed bone.",
    ),
    "screw_bone_volume_over": Quantity(
        "mm³", "sleeve/0.7 or sleeve/1.0: limit in percent",
        "Volume of the sleeve compressed beyond the limit. Models that took 0.73 % in tension and "
        "1.04 % in compression for the limits of bone foretold how femurs fail (Schileo 2014, J "
        "Biomech, read in its abstract).",
    ),
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
