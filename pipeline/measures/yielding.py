"""Data dictionary: how far bone ends, points of load and tissue give way."""

from __future__ import annotations

from pipeline.measures.quantity import Quantity

_CORTEX = (
    "near: periosteal surface under the plate (lateral without a plate); far: opposite; centre: "
    "shaft axis; all on the middle plane of the gap"
)
_PERCENTILES = (
    "p5, p50, p95, p99: percentiles by volume over the tissue between the bone ends; inner/p5 ...: in "
    "the canal; cuff/p5 ...: in the cuff"
)
_SECTIONS = "sections: the two reference sections"
_RIM = "closing, opening, sliding: the place round the bone's surface at which it is largest"
_LOAD_POINT = "load_point: the head centre under hip forces, or where else a load's one force acts"

YIELDING: dict[str, Quantity] = {
    "gap_movement": Quantity(
        "mm", _CORTEX,
        "Size of the movement of the proximal bone end against the distal one, in any direction.",
    ),
    "gap_axial_movement": Quantity(
        "mm", _CORTEX,
        "Movement of the proximal bone end against the distal one along the shaft; negative closes "
        "the gap. Each end's motion is the area-weighted least-squares rigid fit of its face.",
    ),
    "gap_shear_movement": Quantity(
        "mm", _CORTEX,
        "Size of the movement of the proximal bone end against the distal one across the shaft.",
    ),
    "gap_normal_movement": Quantity(
        "mm", _CORTEX,
        "Movement of the proximal bone end against the distal one along the normal of the fracture "
        "plane, the mean of both bone ends; negative closes the gap. Equal to the axial movement in a "
        "transverse gap.",
    ),
    "gap_sliding_movement": Quantity(
        "mm", _CORTEX,
        "Size of the movement of the proximal bone end against the distal one in the fracture plane.",
    ),
    "rim_movement": Quantity(
        "mm", _RIM,
        "Largest movement of the bone ends against each other anywhere round the bone's surface, from "
        "their rigid fits: towards each other, apart, along the fracture plane. 0 where no place moves "
        "that way.",
    ),
    "rim_strain": Quantity(
        "%", _RIM,
        "Largest share of the local distance of the bone ends, anywhere round the bone's surface, by "
        "which they close, open or slide. Sliding over distance is the tangent of an angle of shear.",
    ),
    "rim_side": Quantity(
        "deg", _RIM,
        "Azimuth at which the rim moves most: 0 lateral, 90 anterior, 180 medial; none where it moves "
        "alike all round.",
    ),
    "gap_rotation": Quantity(
        "deg", "medial_axis, anterior_axis, shaft",
        "Rotation of the proximal bone end's face against the distal one's about the axis.",
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
    "proximal_movement": Quantity(
        "mm", "proximal_end, head",
        "Size of the movement of the loaded end's face, a mean, and of the head centre, which goes "
        "with it as a rigid body; against the held knee end.",
    ),
    "load_point_movement": Quantity(
        "mm", f"{_LOAD_POINT}; load_point/bending, /axial, /shear, /torsion",
        "Movement of the point where a load's one force acts, along that force, and its parts, which "
        "add up: what the shaft, its implants and the gap between yield by bending, along and across "
        "their axis, and by twisting.",
    ),
    "load_point_stiffness": Quantity(
        "N/mm", _LOAD_POINT,
        "One force divided by the movement of the point where it acts, along it, against the held knee "
        "end: what a test machine reads, bending of the shaft included. Where the head is guided, on "
        "its line to the knee. None of moments and of forces at several points.",
    ),
    "load_point_stiffness_tangent": Quantity(
        "N/mm", _LOAD_POINT,
        "load_point_stiffness of the change between 99 and 101 % of the load.",
    ),
    "axial_stiffness": Quantity(
        "N/mm", _SECTIONS,
        "Force along the shaft axis divided by the shortening between the rigid fits of the two "
        "reference sections. Only of a load that is nothing else: beside the axis a force bends the "
        "shaft too, see load_point_stiffness.",
    ),
    "axial_stiffness_by_energy": Quantity(
        "N/mm", _SECTIONS,
        "F^2 / 2U with the strain energy U between the sections; pure axial force only.",
    ),
    "axial_stiffness_tangent": Quantity(
        "N/mm", _SECTIONS,
        "axial_stiffness of the change between 99 and 101 % of the load; axial_stiffness itself is "
        "the secant from no load on, play included.",
    ),
    "torsional_stiffness": Quantity(
        "N·m/deg", _SECTIONS,
        "Torque divided by the twist between the rigid fits of the two reference sections.",
    ),
    "torsional_stiffness_by_energy": Quantity(
        "N·m/deg", _SECTIONS,
        "T^2 / 2U with the strain energy U between the sections; pure torque only.",
    ),
    "torsional_stiffness_tangent": Quantity(
        "N·m/deg", _SECTIONS,
        "torsional_stiffness of the change between 99 and 101 % of the load; torsional_stiffness "
        "itself is the secant from no load on, play included.",
    ),
    "bending_stiffness": Quantity(
        "N·m²", _SECTIONS,
        "Moment times the distance of the two reference sections divided by the angle between their "
        "rigid fits: the mean EI over that length.",
    ),
    "bending_stiffness_by_energy": Quantity(
        "N·m²", _SECTIONS,
        "M^2 L / 2U with the strain energy U between the sections at the distance L; pure bending "
        "only.",
    ),
    "bending_stiffness_tangent": Quantity(
        "N·m²", _SECTIONS,
        "bending_stiffness of the change between 99 and 101 % of the load; bending_stiffness itself is "
        "the secant from no load on, play included.",
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
}  # fmt: skip
