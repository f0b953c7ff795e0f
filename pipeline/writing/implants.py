"""Constructs of a study file in words."""

from __future__ import annotations

from collections.abc import Iterator

from geometries.bone import Defect
from geometries.constructs import Compared, Layer, Specimen
from geometries.parameters import Nail, Stem
from geometries.plating import Plate, Screws
from pipeline.writing.words import listed

SIDES = {0.0: "lateral", 90.0: "anterior", 180.0: "medial", -180.0: "medial", -90.0: "posterior"}


def construct_words(construct: Compared) -> str:
    """What a construct is made of."""
    if isinstance(construct, Specimen):
        tubes = listed(map(_tube, construct.layers))
        return f"bonded tubes {construct.length_mm:g} mm long, {tubes}"
    rod = construct.rod
    words = [] if rod is None else [_nail(rod) if isinstance(rod, Nail) else _stem(rod)]
    beside = "" if rod is None else rod.noun
    words += [_plate(plate, beside) for plate in construct.plates]
    return ", and ".join(words) or "the femur without gap or implant"


def gap_words(defect: Defect) -> str:
    """A gap: its length, its place, its shape, what the tissue fills."""
    words = [
        f"{defect.gap_mm:g} mm long",
        f"centred at {defect.site_percent:g} % of the femur's length from the hip ({defect.site})",
        *(_shape(defect) or ["transverse between flat bone ends"]),
    ]
    if defect.fill == "canal":
        words.append("with tissue in the canal too")
    if defect.cuff_mm:
        words.append(f"with a cuff {defect.cuff_mm:g} mm thick round the bone ends")
    return ", ".join(words)


def _shape(defect: Defect) -> list[str]:
    """What sets a gap apart from a flat transverse one, and on which side."""
    oblique, wedge, bridge = defect.oblique_deg, defect.wedge_mm, defect.bridge_percent
    words = {
        f"oblique by {oblique:g}°, highest {_side(defect.oblique_azimuth_deg)}": oblique,
        f"{wedge:g} mm wider {_side(defect.wedge_azimuth_deg)}": wedge,
        f"with rough, {defect.rough_faces} ends up to {defect.rough_mm:g} mm uneven": defect.rough_mm,
        f"{bridge:g} % bridged by bone {_side(defect.bridge_azimuth_deg)}": bridge,
    }
    return [text for text, size in words.items() if size]


def _side(azimuth_deg: float) -> str:
    """A side of the bone by its name, or by its angle."""
    if azimuth_deg in SIDES:
        return f"on the {SIDES[azimuth_deg]} side"
    return f"at {azimuth_deg:g}° (0 lateral, 90 anterior)"


def _tube(layer: Layer) -> str:
    size = f"{layer.outer_diameter_mm:g} mm outer, {layer.inner_diameter_mm:g} mm inner diameter"
    slot = f" and a slot of {layer.slot_mm:g} mm" if layer.slot_mm else ""
    return f"{layer.material} of {size}{slot}"


def _nail(nail: Nail) -> str:
    bore = f"a bore of {nail.cannulation_mm:g} mm" if nail.cannulation_mm else "no bore"
    size = f"{nail.diameter_mm:g} mm in diameter and {nail.length_mm:g} mm long"
    bolts = nail.bolts
    words = [
        f"a {nail.material} nail {size} with {bore}",
        f"its distal end {nail.distal_end_mm:g} mm above the knee end",
        f"in a canal reamed {nail.reaming_mm:g} mm wider",
        *_unusual(nail),
        f"with {bolts.proximal} proximal and {bolts.distal} distal bolts of {bolts.diameter_mm:g} mm "
        f"{_side(bolts.azimuth_deg)}",
    ]
    return ", ".join(words)


def _unusual(nail: Nail) -> Iterator[str]:
    """What sets a nail apart from a whole, closed one on the axis."""
    for end, (x, y) in (("distal", nail.distal_offset_mm), ("proximal", nail.proximal_offset_mm)):
        if x or y:
            yield f"its {end} end {x:g} mm medial and {y:g} mm anterior of the shaft axis"
    if nail.slot_mm:
        yield f"slotted {nail.slot_mm:g} mm wide over {nail.slot_percent:g} % of its length"
    if nail.break_mm:
        yield f"broken {nail.break_mm:g} mm above the knee end"


def _stem(stem: Stem) -> str:
    size = f"{stem.top_diameter_mm:g} mm thick at the top and {stem.tip_diameter_mm:g} mm at the tip"
    how = f"cemented with a mantle of {stem.mantle_mm:g} mm or more"
    if stem.fixation == "ingrown":
        how = f"ingrown over {stem.ingrown_percent:g} % of its length"
    return f"a {stem.material} hip stem {stem.length_mm:g} mm long, {size}, {how}"


def _plate(plate: Plate, beside: str) -> str:
    """A plate; `beside` names the nail or stem that its screws meet, if there is one."""
    size = f"{plate.width_mm:g} mm wide and {plate.thickness_mm:g} mm thick"
    words = [
        f"a {plate.material} plate {_side(plate.azimuth_deg)}, {size}",
        f"{plate.offset_mm:g} mm off the bone",
        f"with {plate.hole_count} holes {plate.pitch_mm:g} mm apart",
    ]
    if plate.shift_mm:
        way = "above" if plate.shift_mm > 0 else "below"
        words.append(f"its centre {abs(plate.shift_mm):g} mm {way} the gap's")
    words.append(f"with {_screws(plate.screws, beside)}")
    return ", ".join(words)


def _screws(screws: Screws, beside: str) -> str:
    how = "bicortical"
    if beside and screws.cortices in ("auto", "unicortical"):
        how = f"unicortical beside the {beside}"
    elif beside and screws.cortices == "tangential":
        how = f"turned past the {beside}"
    elif screws.cortices == "unicortical":
        how = "unicortical"
    holes = listed(map(str, screws.holes))
    return f"screws of {screws.diameter_mm:g} mm, {how}, in holes {holes} on either side of its centre"
