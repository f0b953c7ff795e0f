"""Parameters to geometry: the one place where bone, defect and implants meet."""

from __future__ import annotations

from itertools import pairwise

from geometries.bone import Defect, Femur
from geometries.constructs import Construct, IntactConstruct, Specimen
from geometries.defect import gap_levels, tissue_parts
from geometries.femur import bone_parts, outer_profile, reamed_profile
from geometries.lint import check_apart, check_clearances
from geometries.nail import bolt_levels, bolt_pins, canal_part, nail_beam, nail_parts
from geometries.parameters import Nail, Plate
from geometries.plate import Label, pad_part, plate_beam, plate_parts, screw_levels, screw_pins, screws
from geometries.readout import Beam, Pin
from geometries.solids import Frustum, GapFrame, Geometry, Part, Patch, Piece, Role, cylinder

SECTION_INSET_MM = 15.0
BONE: tuple[Role, ...] = ("cortex", "cancellous")


def implants_of(construct: Construct) -> tuple[Nail | None, list[Plate]]:
    """Nail of a construct, None where there is none, and its plates, the main one first."""
    plates = [getattr(construct, key, None) for key in ("plate", "second")]
    return getattr(construct, "nail", None), [plate for plate in plates if plate is not None]


def assemble(construct: Construct, femur: Femur, defect: Defect) -> Geometry:
    """Build a construct's geometry after checking its clearances.

    Parameters
    ----------
    construct : Construct
        What to build.
    femur : Femur
        The bone it stands in; unused for a specimen.
    defect : Defect
        The gap; a defect of the construct's own comes first.

    Returns
    -------
    Geometry
        Ordered parts, later ones paint over earlier ones; patches; read-out frames.

    Raises
    ------
    StudyError
        If parts overlap, miss each other or leave the bone.
    """
    if isinstance(construct, Specimen):
        return _specimen(construct)
    defect = construct.defect or defect
    nail, plates = implants_of(construct)
    for one in plates if plates else (None,):
        check_clearances(construct.name, femur, defect, nail, one)

    gap = gap_levels(femur, defect)
    centre, length = sum(gap) / 2, femur.length_mm
    sections = (SECTION_INSET_MM, length - SECTION_INSET_MM)
    outer, inner = outer_profile(femur), reamed_profile(femur, nail)

    canal = None if nail is None else canal_part(nail, inner, gap, femur.cortical)
    parts = [] if canal is None else [canal]
    parts += bone_parts(femur, nail, gap, sections)
    filling = femur.cortical if isinstance(construct, IntactConstruct) else "tissue"
    parts += tissue_parts(femur, nail, defect, filling)
    pins: list[Pin] = []
    beams: list[Beam] = []
    if nail is not None:
        parts += nail_parts(nail, outer)
        pins += bolt_pins(nail)
        beams.append(nail_beam(nail))
    plated: list[list[Part]] = []
    for plate in plates:
        first = 1 + sum(len(one) - 1 for one in plated)
        label = Label(f"plate_{len(plated) + 1}" if plated else "plate", first)
        placed = screws(plate, nail, outer, inner, centre)
        plated.append(plate_parts(plate, placed, outer, centre, label))
        pad = pad_part(plate, outer, gap, label, femur.cortical)
        parts = parts if pad is None else [pad, *parts]
        pins += screw_pins(plate, placed, outer, inner, label)
        beams.append(plate_beam(plate, label))
    check_apart(construct.name, plated)
    parts += [part for one in plated for part in one]

    return Geometry(
        parts=tuple(parts),
        patches=(
            Patch("distal_end", 0.0, BONE),
            Patch("distal_section", sections[0], BONE),
            Patch("gap_distal_face", gap[0], BONE),
            Patch("gap_proximal_face", gap[1], BONE),
            Patch("proximal_section", sections[1], BONE),
            Patch("proximal_end", length, BONE),
        ),
        length=length,
        sections=sections,
        gap=GapFrame(centre, defect.gap_mm, outer.at(centre), plates[0].azimuth_deg if plates else 0.0),
        facts=_facts(femur, defect, nail, plates),
        pins=tuple(pins),
        beams=tuple(beams),
        void=_void(nail),
    )


def _void(nail: Nail | None) -> tuple[float, float] | None:
    """Radii of the nail and of its bore."""
    if nail is None:
        return None
    return nail.diameter_mm / 2, (nail.diameter_mm + nail.reaming_mm) / 2


def _facts(femur: Femur, defect: Defect, nail: Nail | None, plates: list[Plate]) -> dict[str, float]:
    """Numbers that a surgeon would ask for before looking at results."""
    gap = gap_levels(femur, defect)
    centre = sum(gap) / 2
    inner = reamed_profile(femur, nail)
    facts = {
        "gap_centre_mm": centre,
        "cortex_at_gap_mm": outer_profile(femur).at(centre) - inner.at(centre),
    }
    if nail is not None:
        levels = bolt_levels(nail)
        facts["nail_clearance_at_gap_mm"] = inner.at(centre) - nail.diameter_mm / 2
        facts["bolt_to_gap_mm"] = min(max(gap[0] - z, z - gap[1]) for z in levels)
    for plate, which in zip(plates, ("", "second_"), strict=False):
        levels = screw_levels(plate, centre)
        below, above = max(z for z in levels if z < centre), min(z for z in levels if z > centre)
        facts[f"{which}plate_working_length_mm"] = above - below
        facts[f"{which}screw_density"] = len(levels) / plate.hole_count
    return facts


def _specimen(specimen: Specimen) -> Geometry:
    """Bonded tubes on the z axis, cut at the reference sections."""
    length, inset = specimen.length_mm, specimen.section_inset_mm
    levels = (0.0, inset, length - inset, length)
    parts = []
    for number, layer in enumerate(specimen.layers, start=1):
        pieces = []
        for low, high in pairwise(levels):
            outside = cylinder((0.0, 0.0, low), (0.0, 0.0, high - low), layer.outer_diameter_mm)
            cuts: tuple[Frustum, ...] = ()
            if layer.inner_diameter_mm > 0:
                cuts = (cylinder((0.0, 0.0, low), (0.0, 0.0, high - low), layer.inner_diameter_mm),)
            pieces.append(Piece(outside, cuts))
        wall = (layer.outer_diameter_mm - layer.inner_diameter_mm) / 2
        is_bone = layer.material in ("cortical", "cancellous")
        parts.append(
            Part(
                f"layer_{number}",
                "cortex" if is_bone else "nail",
                layer.material,
                tuple(pieces),
                wall,
            )
        )
    roles: tuple[Role, ...] = ("cortex", "nail")
    names = ("distal_end", "distal_section", "proximal_section", "proximal_end")
    return Geometry(
        parts=tuple(parts),
        patches=tuple(Patch(name, z, roles) for name, z in zip(names, levels, strict=True)),
        length=length,
        sections=(inset, length - inset),
        gap=None,
        facts={},
    )
