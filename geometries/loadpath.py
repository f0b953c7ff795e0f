"""What holds what: the graph of fragments and implants, before any mesh."""

from __future__ import annotations

from collections.abc import Iterator

from geometries.bone import Defect, Femur
from geometries.defect import gap_centre, gap_levels
from geometries.nail import bolt_levels, fit_span, nail_spans
from geometries.parameters import Nail, Stem
from geometries.plate import screw_levels
from geometries.plating import Plate

DISTAL, PROXIMAL = "distal fragment", "proximal fragment"
FREE = "slides along the shaft, turns about it, and shifts and tilts to both sides"
Joint = tuple[str, str]


def unheld(
    femur: Femur, defect: Defect, rod: Nail | Stem | None, plates: tuple[Plate, ...]
) -> tuple[list[str], str]:
    """Bodies that nothing holds.

    Parameters
    ----------
    femur, defect :
        Bone and gap.
    rod, plates :
        Implants.

    Returns
    -------
    list of str
        A sentence for each implant, or piece of one, that nothing holds whatever the tissue.
    str
        A sentence if only tissue joins the two fragments, else empty.
    """
    joints = list(_joints(femur, defect, rod, plates))
    findings = []
    if isinstance(rod, Nail):
        held = {body for joint in joints for body in joint}
        for number, (low, high) in enumerate(nail_spans(rod), start=1):
            if f"nail {number}" not in held and rod.canal != "contact":
                findings.append(
                    f"nail: no bolt holds it between {low:g} and {high:g} mm, so it {FREE}; allowed is "
                    "1 bolt there or more, or canal = 'contact', 'filler' or 'bonded': use one of them"
                )
    if PROXIMAL in _reached(DISTAL, joints):
        return findings, ""
    return findings, (
        f"only tissue joins the fragments: without it the {PROXIMAL} {FREE}; leave out the empty "
        "stage, or add bolts, screws or a plate across the gap"
    )


def _reached(start: str, joints: list[Joint]) -> set[str]:
    """Bodies that hang together with one of them."""
    found, count = {start}, 0
    while len(found) > count:
        count = len(found)
        for joint in joints:
            if not found.isdisjoint(joint):
                found.update(joint)
    return found


def _joints(
    femur: Femur, defect: Defect, rod: Nail | Stem | None, plates: tuple[Plate, ...]
) -> Iterator[Joint]:
    """Pairs of bodies that something other than tissue ties to each other."""
    low, high = gap_levels(femur, defect)
    centre = gap_centre(femur, defect)

    def side(z: float) -> str:
        return DISTAL if z < centre else PROXIMAL

    if defect.bridge_percent > 0:
        yield DISTAL, PROXIMAL
    if isinstance(rod, Nail):
        tied = _tied(femur, rod)
        for number, (start, end) in enumerate(nail_spans(rod), start=1):
            levels = [z for z in bolt_levels(rod) if start < z < end]
            yield from ((f"nail {number}", side(z)) for z in levels)
            if tied and max(start, tied[0]) < min(end, low, tied[1]):
                yield f"nail {number}", DISTAL
            if tied and max(start, high, tied[0]) < min(end, tied[1]):
                yield f"nail {number}", PROXIMAL
    for number, plate in enumerate(plates):
        yield from ((f"plate {number}", side(z)) for z in screw_levels(plate, centre))


def _tied(femur: Femur, nail: Nail) -> tuple[float, float] | None:
    """Heights between which something in the canal ties the nail to the bone, mm."""
    if nail.canal == "filler":
        return nail.ends_mm
    return fit_span(nail, femur) if nail.canal == "bonded" else None
