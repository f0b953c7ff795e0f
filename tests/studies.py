"""Random studies that the models take: every construct, gap, load and stage.

In most of them the parts are put where a person would put them, in the others anywhere within their
limits. Whether the parts of a study fit each other is for the lint to say.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, get_args

import numpy as np
from hypothesis import strategies as st

from geometries.bone import Defect, Femur
from geometries.constructs import Construct, Layer
from geometries.defect import gap_centre
from geometries.materials import TISSUES
from geometries.nail import bolt_levels
from geometries.parameters import Nail, Parameters, Stem
from geometries.plate import plate_span
from geometries.plating import Plate
from pipeline.loading.loads import Forces, Load, PointForce, PointName
from pipeline.study.config import MeshChoice, StudyConfig
from pipeline.study.stages import Stage
from pipeline.study.units import Limits
from tests.draws import Chance, Draw, Searched, Seeded, Values

FITTED = 0.85  # share of the studies whose parts are put where they may fit


def _by_kind(union: Any) -> dict[str, Any]:
    models = get_args(get_args(union)[0])
    return {get_args(model.model_fields["kind"].annotation)[0]: model for model in models}


KINDS, LOADS = _by_kind(Construct), _by_kind(Load)


def study(chance: Chance, kind: str | None = None) -> Values:
    """A study of one construct as read from a file; it may well be impossible to build."""
    is_fitted = chance.happens(FITTED)
    draw = Draw(chance, is_usual=is_fitted)
    return draw.taken(StudyConfig, lambda: _study(draw, kind or chance.one_of([*KINDS]), is_fitted))


def seeded(seed: int) -> Seeded:
    """The chance of a seed."""
    return Seeded(np.random.default_rng(seed))


@st.composite
def studies(draw: Callable[[st.SearchStrategy[Any]], Any], kind: str | None = None) -> Values:
    """Studies of one construct, as hypothesis looks for them."""
    return study(Searched(draw), kind)


def _study(draw: Draw, kind: str, is_fitted: bool) -> Values:
    femur, defect = draw.table(Femur), draw.table(Defect)
    tubes = _tubes(draw) if kind == "specimen" else {}
    construct = draw.table(KINDS[kind], kind=kind, name="drawn", **tubes)
    if is_fitted:
        own = Defect(**construct.get("defect", defect))
        construct = _fitted(draw.chance, construct, Femur(**femur), own)
    return {
        "schema_version": 1, "title": "drawn", "mesh": draw.table(MeshChoice), "femur": femur,
        "defect": defect, "stages": _stages(draw), "loads": _loads(draw), "constructs": [construct],
    }  # fmt: skip


def _stages(draw: Draw) -> list[Values]:
    """One or two different ones, built in or with constants of their own."""
    names = [draw.chance.one_of([*TISSUES, "own"]) for _ in range(draw.chance.whole(1, 2))]
    own = {"modulus_mpa": draw.chance.number(Limits(0, 2000)), "poisson_ratio": 0.3}
    return [
        draw.table(Stage, name=name, **(own if name == "own" else {})) for name in dict.fromkeys(names)
    ]


def _loads(draw: Draw) -> list[Values]:
    """One or two of any kind."""
    kinds = [draw.chance.one_of([*LOADS]) for _ in range(draw.chance.whole(1, 2))]
    return [
        draw.table(LOADS[kind], kind=kind, name=f"load-{number}", **_forces(draw, LOADS[kind]))
        for number, kind in enumerate(kinds)
    ]


def _forces(draw: Draw, model: Any) -> Values:
    """Forces at points by name, or in the shaft of every femur."""
    if model is not Forces:
        return {}
    found = []
    for number in range(draw.chance.whole(1, 3)):
        sides = [
            draw.chance.number(Limits(-5, 5)),
            draw.chance.number(Limits(-5, 5)),
            draw.chance.number(Limits(50, 350)),
        ]
        at = draw.chance.one_of([*get_args(PointName), sides])
        found.append(draw.table(PointForce, name=f"force-{number}", at=at))
    return {"forces": found}


def _tubes(draw: Draw) -> Values:
    """Layers from the outside inwards, each touching the next, with room for the reference sections."""
    inner, found = draw.chance.one_of([0.0, draw.chance.number(Limits(0.5, 40))]), []
    for _ in range(draw.chance.whole(1, 4)):
        outer = round(inner + draw.chance.number(Limits(0.3 if inner else 0.5, 12)), 2)
        found.append(draw.table(Layer, outer_diameter_mm=outer, inner_diameter_mm=inner))
        inner = outer
    return {"layers": found[::-1], "length_mm": draw.chance.number(Limits(41, 1000))}


# --- What a study has ------------------------------------------------------------------------------

SPECIAL: dict[type[Parameters], dict[str, Callable[[Any], bool]]] = {
    Femur: {
        "bowed": lambda femur: femur.bow is not None,
        "weak bone": lambda femur: femur.preset == "osteoporotic",
        "cortex other across": lambda femur: femur.cortex == "transverse",
    },
    Defect: {
        "flat": lambda defect: not defect.shape,
        "oblique": lambda defect: defect.oblique_deg > 0,
        "wedged": lambda defect: defect.wedge_mm > 0,
        "rough": lambda defect: defect.rough_mm > 0,
        "unlike ends": lambda defect: defect.rough_mm > 0 and defect.rough_faces == "unlike",
        "bridged": lambda defect: defect.bridge_percent > 0,
        "several shapes": lambda defect: "," in defect.shape,
        "cuff": lambda defect: defect.cuff_mm > 0,
        "filled canal": lambda defect: defect.fill == "canal",
        "bone ends in contact": lambda defect: defect.bone_ends == "contact",
        "bone ends pass": lambda defect: defect.bone_ends == "pass",
    },
    Nail: {
        "beside the axis": lambda nail: nail.distal_offset_mm == nail.proximal_offset_mm != (0, 0),
        "tilted": lambda nail: nail.distal_offset_mm != nail.proximal_offset_mm,
        "slotted": lambda nail: nail.slot_mm is not None,
        "broken": lambda nail: nail.break_mm is not None,
        "solid": lambda nail: nail.cannulation_mm == 0,
        "dynamised": lambda nail: (nail.bolts.proximal == 0) != (nail.bolts.distal == 0),
        "play": lambda nail: nail.bolts.fit == "play" and nail.bolts.play_mm > 0,
        "tied bolts": lambda nail: nail.bolts.fit == "tied",
        "held on its bolts": lambda nail: nail.bolts.fit == "play" and nail.bolts.along == "held",
        "bracketed bolts": lambda nail: nail.bolts.fit == "play" and nail.bolts.along == "bracket",
        "oblique bolts": lambda nail: nail.bolts.azimuth_deg % 90 != 0,
        "nail in contact": lambda nail: nail.canal == "contact",
        "void canal": lambda nail: nail.canal == "void",
        "filler": lambda nail: nail.canal == "filler",
        "bonded nail": lambda nail: nail.canal == "bonded",
        "bracketed nail": lambda nail: nail.canal == "bracket",
    },
    Stem: {
        "cemented": lambda stem: stem.fixation == "cemented",
        "ingrown in part": lambda stem: stem.fixation == "ingrown" and stem.ingrown_percent < 100,
    },
    Plate: {
        "lateral": lambda plate: abs(plate.azimuth_deg) <= 45,
        "anterior": lambda plate: 45 <= plate.azimuth_deg <= 135,
        "medial": lambda plate: abs(plate.azimuth_deg) >= 135,
        "posterior": lambda plate: -135 <= plate.azimuth_deg <= -45,
        "bonded plate": lambda plate: plate.on_bone == "bonded",
        "bracketed plate": lambda plate: plate.on_bone == "bracket",
    },
}
PLACED = ("short of the gap", "screws short", "screws turned past", "plate over bolts")


def features(study: StudyConfig) -> set[str]:
    """What is special about a study's first construct: words of `SPECIAL` and of `PLACED`."""
    construct = study.constructs[0]
    parts = [getattr(construct, key, None) for key in ("nail", "stem", "plate", "second")]
    nail, stem, *plates = parts
    if not any(parts):
        return set()
    defect = construct.defect or study.defect
    parts += [study.femur, defect]
    tables = (
        (part, table) for part in parts for model, table in SPECIAL.items() if isinstance(part, model)
    )
    found = {word for part, table in tables for word, applies in table.items() if applies(part)}
    centre = gap_centre(study.femur, defect)
    if nail and not nail.distal_end_mm < centre < nail.distal_end_mm + nail.length_mm:
        found.add("short of the gap")
    if (nail or stem) and plates[0]:
        turned = plates[0].screws.cortices == "tangential"
        found.add("screws turned past" if turned else "screws short")
    if nail and plates[0]:
        low, high = plate_span(plates[0], centre)
        found |= {"plate over bolts" for z in bolt_levels(nail) if low < z < high}
    return found


# --- Where a person would put the parts -----------------------------------------------------------


def _fitted(chance: Chance, construct: Values, femur: Femur, defect: Defect) -> Values:
    """A nail as long as the bone or short of the gap; a second plate between the first one's screws."""
    found, centre, keys = (
        dict(construct),
        gap_centre(femur, defect),
        KINDS[construct["kind"]].model_fields,
    )
    if "nail" in keys:
        found["nail"] = _nail(chance, found.get("nail", {}), femur.length_mm, centre)
    if "stem" in keys:
        stem, room = found.get("stem", {}), femur.length_mm - centre - defect.gap_mm / 2 - 20
        found["stem"] = stem | {"length_mm": max(90.0, min(Stem(**stem).length_mm, room))}
    if "plate" in keys:
        found["plate"] = _over(found.get("plate", {}), defect)
    if "second" in keys:
        main = Plate(**found["plate"])
        azimuth = (main.azimuth_deg + chance.one_of([90.0, -90.0, 180.0]) + 180) % 360 - 180
        shift = main.shift_mm + main.pitch_mm / 2
        found["second"] = found.get("second", {}) | {"azimuth_deg": azimuth, "shift_mm": shift}
    return found


def _over(plate: Values, defect: Defect) -> Values:
    """No screw comes to lie in the gap, if it is no wider than what the screws leave between them."""
    made = Plate(**plate)
    inner = (min(made.screws.holes) - 0.5) * made.pitch_mm
    room = max(inner - defect.gap_mm / 2 - made.screws.diameter_mm, 0.0)
    return plate | {"shift_mm": max(-room, min(room, made.shift_mm))}


def _nail(chance: Chance, nail: Values, length: float, centre: float) -> Values:
    """One in six ends short of the gap; a broken one breaks at it, a slotted one is wide, some tilt."""
    found = dict(nail)
    low = nail.get("distal_end_mm", 35.0)
    high = length - chance.number(Limits(15, 60))
    if chance.happens(1 / 6):
        low, high = chance.one_of([(low, centre - 15), (centre + 15, high)])
    found |= {"distal_end_mm": round(low, 2), "length_mm": round(high - low, 2)}
    if "slot_mm" in found:
        diameter, walls = chance.number(Limits(12, 15)), 2 * chance.number(Limits(1.2, 2))
        found |= {"diameter_mm": diameter, "cannulation_mm": round(diameter - walls, 2)}
    if "distal_offset_mm" in found and chance.happens(0.5):
        found["proximal_offset_mm"] = found["distal_offset_mm"]
    return found | ({"break_mm": centre} if "break_mm" in found else {})
