"""Parameters to geometry: the one place where bone, defect and implants meet."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

from geometries.bone import Defect, Femur
from geometries.bow import Bow
from geometries.clearance import check_apart
from geometries.constructs import Construct, Layer, Specimen
from geometries.defect import bone_ends, cuts, gap_centre, gap_levels, tissue_parts
from geometries.errors import StudyError
from geometries.facts import facts_of
from geometries.femur import bone_parts, whole_bone
from geometries.lint import check_clearances
from geometries.loadpath import unheld
from geometries.nail import bolt_pins, canal_part, nail_beam, nail_parts
from geometries.parameters import Nail, Stem
from geometries.plate import (
    Label,
    pad_part,
    plate_beam,
    plate_parts,
    screw_pins,
    screws,
)
from geometries.profiles import (
    SECTION_INSET,
    canal_profile,
    eccentric_hole,
    outer_profile,
    walls,
)
from geometries.readout import Beam, GapFrame, Pin
from geometries.rods import SAME_MM, rods
from geometries.solids import (
    BONE_ENDS,
    Contact,
    Geometry,
    Part,
    Patch,
    Piece,
    Prism,
    Role,
    Tool,
    cylinder,
)
from geometries.stem import bed_part, stem_beam, stem_part
from geometries.touch import stops

THIN_FILLING = 0.5
BONE: tuple[Role, ...] = ("cortex", "cancellous")


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
        If parts overlap, miss each other or leave the bone, or nothing holds one of them.
    """
    if isinstance(construct, Specimen):
        return _specimen(construct)
    defect = construct.defect or defect
    rod, plates = construct.rod, construct.plates
    for one in plates or (None,):
        check_clearances(construct.name, femur, defect, rod, one)
    if not construct.has_gap:
        return _intact(femur, defect)
    findings, loose = unheld(femur, defect, rod, plates)
    if findings:
        raise StudyError("\n".join(f"construct {construct.name!r}: {one}" for one in findings))

    ends, levels = bone_ends(femur, defect), gap_levels(femur, defect)
    centre, length, sections = gap_centre(femur, defect), femur.length_mm, _sections(femur)

    try:
        built = _in_canal(rod, femur, levels)
    except StudyError as error:
        raise StudyError(f"construct {construct.name!r}: {error}") from None
    parts = built.under + bone_parts(femur, rod, ends, sections)
    parts += tissue_parts(femur, rod, defect) + built.over
    pins, beams = built.pins, built.beams
    plated: list[list[Part]] = []
    bone = walls(femur, rod)
    for plate in plates:
        first = 1 + sum(len(one) - 1 for one in plated)
        label = Label(f"plate_{len(plated) + 1}" if plated else "plate", first)
        placed = screws(plate, rods(rod, length), bone, centre)
        plated.append(plate_parts(plate, placed, bone.outer, centre, label))
        pad = pad_part(plate, bone, (levels[0], centre, levels[1]), label, femur.cortical)
        parts = parts if pad is None else [pad, *parts]
        pins += screw_pins(plate, placed, bone, label)
        beams.append(plate_beam(plate, label))
    is_beside = isinstance(rod, Nail) and not rod.is_centred
    bolted = [[part] for part in parts if part.role == "bolt" and is_beside]
    check_apart(construct.name, plated, bolted)
    parts += [part for one in plated for part in one]
    named = {one[0].name: plate for one, plate in zip(plated, plates, strict=True)}

    loaded: tuple[Role, ...] = ("stem",) if isinstance(rod, Stem) else BONE
    return Geometry(
        parts=tuple(parts),
        patches=(
            *_levels(femur, loaded),
            *(Contact(name, f"cortex_{end}", "gap") for name, end in BONE_ENDS.items()),
        ),
        length=length,
        sections=sections,
        gap=GapFrame(*ends, bone.outer.at(centre), plates[0].azimuth_deg if plates else 0.0, femur.bow),
        facts=facts_of(femur, defect, rod, plates),
        loose=loose,
        pins=tuple(_bent(pin, femur.bow) for pin in pins),
        bow=femur.bow,
        beams=tuple(beams),
        void=_void(rod, femur),
        stops=stops(femur, defect, rod, named, sections),
        apart=_apart(rod, parts),
    )


def _intact(femur: Femur, defect: Defect) -> Geometry:
    """Whole bone: only where it is read tells of a gap, so that one mesh serves all gaps."""
    sections, radius = _sections(femur), outer_profile(femur).at(gap_centre(femur, defect))
    return Geometry(
        parts=tuple(whole_bone(femur, sections)),
        patches=_levels(femur, BONE),
        length=femur.length_mm,
        sections=sections,
        gap=GapFrame(*bone_ends(femur, defect), radius, 0.0, femur.bow),
        facts=facts_of(femur, defect, None, ()),
        bow=femur.bow,
        cuts=cuts(femur, defect),
    )


def _sections(femur: Femur) -> tuple[float, float]:
    """Heights of the reference sections, mm."""
    return SECTION_INSET * femur.length_mm, (1 - SECTION_INSET) * femur.length_mm


def _levels(femur: Femur, loaded: tuple[Role, ...]) -> tuple[Patch, ...]:
    """Ends and reference sections; the proximal end belongs to what is loaded."""
    distal, proximal = _sections(femur)
    return (
        Patch("distal_end", 0.0, BONE),
        Patch("distal_section", distal, BONE),
        Patch("proximal_section", proximal, BONE),
        Patch("proximal_end", femur.length_mm, loaded),
    )


@dataclass
class _Built:
    """Parts that the bone paints over, parts that paint over it, and where they are read."""

    under: list[Part] = field(default_factory=list)
    over: list[Part] = field(default_factory=list)
    pins: list[Pin] = field(default_factory=list)
    beams: list[Beam] = field(default_factory=list)


def _in_canal(rod: Nail | Stem | None, femur: Femur, gap: tuple[float, float]) -> _Built:
    """What stands in the canal and what lies round it."""
    outer = outer_profile(femur)
    if isinstance(rod, Stem):
        return _Built([bed_part(rod, femur)], [stem_part(rod, femur)], [], [stem_beam(rod)])
    if rod is None:
        return _Built()
    canal = canal_part(rod, femur, gap)
    under = [] if canal is None else [canal]
    return _Built(under, nail_parts(rod, outer), bolt_pins(rod), [nail_beam(rod, sum(gap) / 2)])


def _void(rod: Nail | Stem | None, femur: Femur) -> tuple[float, float, float] | None:
    """Radii between nail and bore, or the widest hole that touches it, and the clearance."""
    if not isinstance(rod, Nail):
        return None
    largest = rod.bore_mm / 2
    if not rod.is_centred:
        canal = canal_profile(femur)
        holes = eccentric_hole(femur, rod).circles
        largest = max([largest, *(r for _, _, z, r in holes if r > canal.at(z) + SAME_MM)])
    width = rod.clearance_mm
    if rod.canal in ("filler", "bonded") and not rod.is_centred:
        width *= THIN_FILLING  # curved cells must fit between two surfaces that are not parallel
    return rod.diameter_mm / 2, largest, width


def _apart(rod: Nail | Stem | None, parts: list[Part]) -> tuple[tuple[str, str], ...]:
    """Bolts that have play in their nail."""
    if not isinstance(rod, Nail) or rod.bolts.fit == "tied":
        return ()
    return tuple((part.name, "nail") for part in parts if part.role == "bolt")


def _bent(pin: Pin, bow: Bow | None) -> Pin:
    """A pin where bending takes it."""
    if bow is None:
        return pin
    x, y, z = bow.place(pin.foot).tolist()
    return replace(pin, foot=(x, y, z), axis=bow.turn(pin.axis, pin.foot[2]))


def _specimen(specimen: Specimen) -> Geometry:
    """Bonded tubes on the z axis, cut at the reference sections."""
    length, inset = specimen.length_mm, specimen.section_inset_mm
    levels = (0.0, inset, length - inset, length)
    parts = []
    for number, layer in enumerate(specimen.layers, start=1):
        role: Role = "cortex" if layer.material in ("cortical", "cancellous") else "nail"
        pieces = tuple(_tube(layer, low, high) for low, high in pairwise(levels))
        wall = (layer.outer_diameter_mm - layer.inner_diameter_mm) / 2
        parts.append(Part(f"layer_{number}", role, layer.material, pieces, wall))
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


def _tube(layer: Layer, low: float, high: float) -> Piece:
    """A stretch of a tube between two heights."""
    base, axis, reach = (0.0, 0.0, low), (0.0, 0.0, high - low), layer.outer_diameter_mm
    cuts: tuple[Tool, ...] = ()
    if layer.inner_diameter_mm > 0:
        cuts = (cylinder(base, axis, layer.inner_diameter_mm),)
    if layer.slot_mm is not None:
        start, end = low - 1.0, high + 1.0
        outline = ((0.0, start), (reach, start), (reach, end), (0.0, end))
        cuts = (*cuts, Prism(outline, 90.0, layer.slot_mm))
    return Piece(cylinder(base, axis, reach), cuts)
