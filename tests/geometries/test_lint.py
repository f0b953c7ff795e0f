"""Clearances: every finding is said in full, its neighbour passes, and what passes does not overlap."""

from __future__ import annotations

import re
from itertools import combinations, product
from typing import Any

import numpy as np
import pytest
from scipy.stats import qmc

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailPlateConstruct
from geometries.errors import StudyError
from geometries.lint import check_clearances
from geometries.parameters import Bolts, ExchangeNail, Nail, Stem
from geometries.plate import screws
from geometries.plating import Plate, Screws
from geometries.profiles import walls
from geometries.rods import rods
from geometries.solids import Frustum, Geometry, Part, Points, Prism, Solid, radial
from pipeline.study.config import parse_study
from tests.studies import features, seeded, study

FEMUR, DEFECT = Femur(), Defect()  # 430 mm; 3 mm at mid-shaft, 213.5 to 216.5 mm
NAIL_IN_SHAFT = {"distal_end_mm": 165, "length_mm": 240, "bolts": {"distal": 1}}  # bolt at 180 mm
CUFFED: dict[str, Any] = {"site_percent": 80.0, "gap_mm": 60.0, "cuff_mm": 3.0}
REMEDY = re.compile(r"\b(change|choose|fill|lengthen|make|move|or another|shorten|thicken|use)\b")


def _lint(
    femur: Femur = FEMUR,
    defect: Defect = DEFECT,
    nail: Nail | Stem | None = None,
    plate: Plate | None = None,
) -> list[str]:
    try:
        check_clearances("mine", femur, defect, nail, plate)
    except StudyError as error:
        return str(error).splitlines()
    return []


def _nail(**changes: Any) -> dict[str, Any]:
    return {"nail": Nail(**changes)}


def _exchange(**changes: Any) -> dict[str, Any]:
    return {"nail": ExchangeNail(diameter_mm=10, **changes)}


def _stem(**changes: Any) -> dict[str, Any]:
    """A stem that is as thick as any in the middle of the shaft."""
    sizes = {"tip_diameter_mm": 14.0, "top_diameter_mm": 20.0, "length_mm": 190.0}
    return {"nail": Stem(**{**sizes, **changes})}


def _bolts(**changes: Any) -> dict[str, Any]:
    return _nail(
        **{k: changes.pop(k) for k in list(changes) if k in Nail.model_fields}, bolts=Bolts(**changes)
    )


def _plate(**changes: Any) -> dict[str, Any]:
    screws = {k: changes.pop(k) for k in list(changes) if k in ("holes", "cortices", "diameter_mm")}
    return {"plate": Plate(**changes, screws=Screws(**screws))}


def _both(nail: dict[str, Any] | None = None, **plate: Any) -> dict[str, Any]:
    return {"nail": Nail(**nail or {}), **_plate(**plate)}


# Each: what is built wrong, what the line must say, and the nearest that must pass.
# A few need values beyond the limits of the parameters; those are checked all the same.
FINDINGS: dict[str, tuple[dict[str, Any], list[str], dict[str, Any]]] = {
    "nail wider than the bone": (
        {"femur": FEMUR.model_copy(update={"shaft_diameter_mm": 16.8}), **_nail(diameter_mm=13)},
        ["cortex", "1.4 mm is left", "1.5 mm or more", "thinner nail", "reaming_mm"],
        {"femur": FEMUR.model_copy(update={"shaft_diameter_mm": 17.2}), **_nail(diameter_mm=13)},
    ),
    "exchange nail that grazes the surface": (
        _exchange(distal_offset_mm=(-6.6, 0.0), proximal_offset_mm=(-6.6, 0.0)),
        ["cortex", "1.4 mm is left", "1.5 mm or more", "thinner nail", "smaller offsets"],
        _exchange(distal_offset_mm=(-6.4, 0.0), proximal_offset_mm=(-6.4, 0.0)),
    ),
    "cortex too thin without a nail": (  # 0.89 of the shaft less 10.5 mm, halved, at 40 and 80 %
        {"femur": FEMUR.model_copy(update={"shaft_diameter_mm": 14.9})},
        ["cortex", "1.4 mm is left", "1.5 mm or more", "thicken the femur"],
        {"femur": FEMUR.model_copy(update={"shaft_diameter_mm": 15.2})},
    ),
    "gap beyond the knee": (
        {"defect": DEFECT.model_copy(update={"site_percent": 95.1})},
        ["gap", "19.6 to 22.6", "20 to 410 mm", "site_percent", "gap_mm"],
        {"defect": DEFECT.model_copy(update={"site_percent": 94.9})},
    ),
    "gap beyond the hip": (
        {"defect": DEFECT.model_copy(update={"site_percent": 4.9})},
        ["gap", "407.4 to 410.4", "20 to 410 mm", "site_percent", "gap_mm"],
        {"defect": DEFECT.model_copy(update={"site_percent": 5.1})},
    ),
    "nail ends in the gap": (
        _bolts(length_mm=180, distal_end_mm=36, first_mm=8, spacing_mm=10),
        ["proximal end at 216 mm", "213.5 to 216.5", "2 mm or more", "length_mm", "distal_end_mm"],
        _bolts(length_mm=175.4, distal_end_mm=36, first_mm=8, spacing_mm=10),
    ),
    "nail begins in the gap": (
        _nail(length_mm=190, distal_end_mm=214),
        ["distal end at 214 mm", "213.5 to 216.5", "2 mm or more", "length_mm", "distal_end_mm"],
        _bolts(length_mm=220, distal_end_mm=190, distal=1),
    ),
    "nail stands out of the bone": (
        _nail(length_mm=381, distal_end_mm=35),
        ["top is at 416 mm", "415 mm or less", "length_mm", "distal_end_mm", "shorten"],
        _nail(length_mm=380, distal_end_mm=35),
    ),
    "bolts as wide as the nail": (
        {"nail": Nail(diameter_mm=9, bolts=Bolts(diameter_mm=6.1, fit="tied"))},
        ["nail.bolts.diameter_mm = 6.1 leaves", "6 mm or less", "thinner bolts"],
        {"nail": Nail(diameter_mm=9, bolts=Bolts(diameter_mm=6, fit="tied"))},
    ),
    "holes as wide as the nail": (
        {"nail": Nail(diameter_mm=9, bolts=Bolts(diameter_mm=5.5, play_mm=0.6))},
        ["nail.bolts.diameter_mm = 5.5", "with play_mm = 0.6", "5.4 mm or less", "thinner bolts"],
        {"nail": Nail(diameter_mm=9, bolts=Bolts(diameter_mm=5.5, play_mm=0.5))},
    ),
    "bolts touch": (
        {"nail": Nail(bolts=Bolts().model_copy(update={"spacing_mm": 5.9}))},
        ["nail.bolts.spacing_mm = 5.9", "6 mm or more"],
        {"nail": Nail(bolts=Bolts().model_copy(update={"spacing_mm": 6.0}))},
    ),
    "bolt in the gap": (
        _bolts(length_mm=220, distal_end_mm=185, first_mm=28, distal=1),
        ["nail bolt at 213 mm", "from the gap", "1 mm or more", "move"],
        _bolts(length_mm=220, distal_end_mm=185, first_mm=25, distal=1),
    ),
    "bolt just below the gap": (
        _bolts(length_mm=220, distal_end_mm=185, first_mm=25.1, distal=1),
        ["nail bolt at 210.1 mm", "0.9 mm from the gap", "1 mm or more", "move"],
        _bolts(length_mm=220, distal_end_mm=185, first_mm=24.9, distal=1),
    ),
    "bolts of both ends cross": (
        _bolts(length_mm=160, distal_end_mm=36, first_mm=50, spacing_mm=40),
        ["nail.length_mm = 160", "cross", "fewer", "bolts.first_mm", "bolts.spacing_mm"],
        _bolts(length_mm=160, distal_end_mm=36, first_mm=30, spacing_mm=20),
    ),
    "plate beyond the hip": (
        _plate(hole_count=18, pitch_mm=18, shift_mm=49),
        ["plate", "102 to 426 mm", "5 to 425 mm", "fewer holes", "shift_mm"],
        _plate(hole_count=18, pitch_mm=18, shift_mm=48, holes=(1, 2, 5, 9)),
    ),
    "plate beyond the knee": (
        _plate(hole_count=18, pitch_mm=18, shift_mm=-49),
        ["plate", "4 to 328 mm", "5 to 425 mm", "fewer holes", "shift_mm"],
        _plate(hole_count=18, pitch_mm=18, shift_mm=-48, holes=(1, 2, 5, 9)),
    ),
    "screw in the gap": (
        _plate(holes=(1, 3), shift_mm=-9),
        ["plate screw at 215 mm", "from the gap", "1 mm or more", "fill holes further out", "shift_mm"],
        _plate(holes=(2, 3), shift_mm=-9),
    ),
    "screw just above the gap": (
        _plate(holes=(1, 3), shift_mm=-4.1),
        ["plate screw at 219.9 mm", "0.9 mm from the gap", "1 mm or more", "fill holes", "shift_mm"],
        _plate(holes=(1, 3), shift_mm=-3.9),
    ),
    "all screws above the gap": (
        _plate(hole_count=6, holes=(1, 2, 3), shift_mm=60),
        ["plate", "one side of the gap", "smaller shift_mm"],
        _plate(hole_count=6, holes=(2, 3), shift_mm=40),
    ),
    "all screws below the gap": (
        _plate(hole_count=6, holes=(1, 2, 3), shift_mm=-60),
        ["plate", "one side of the gap", "smaller shift_mm"],
        _plate(hole_count=6, holes=(2, 3), shift_mm=-40),
    ),
    "screw through the nail": (
        _both(cortices="bicortical"),
        ["plate screw at 134 mm", "hits the nail", "0.0 mm from its", "8.0 mm or more", "cortices"],
        _both(cortices="unicortical"),
    ),
    "screw on a bolt": (
        _both({"distal_end_mm": 115, "length_mm": 280}, holes=(2, 4, 5), shift_mm=0),
        ["plate screw at 134 mm", "bolt at 130 mm", "4.0 mm between", "6 mm or more", "shift_mm"],
        _both({"distal_end_mm": 113, "length_mm": 280}, holes=(2, 5), offset_mm=4),
    ),
    "plate on a bolt": (  # in the straight part of the shaft, where the limit is plain
        _both(NAIL_IN_SHAFT, offset_mm=1.7, holes=(1, 2)),
        ["plate.offset_mm = 1.7", "bolt at 180 mm", "1.5 mm out", "1.8 mm or more", "azimuth_deg"],
        _both(NAIL_IN_SHAFT, offset_mm=1.9, holes=(1, 2)),
    ),
    "stem into the gap": (
        {"nail": Stem(length_mm=195.6)},
        ["stem", "down to 218.4 mm", "tip 234.4 mm", "up to 216.5 mm", "218.5 mm or more", "length_mm"],
        {"nail": Stem(length_mm=195.4)},
    ),
    "stem wider than the bone": (
        {"femur": Femur(shaft_diameter_mm=24.0), **_stem(mantle_mm=2.8)},
        ["cortex", "1.4 mm is left", "1.5 mm or more", "thinner stem", "mantle_mm"],
        {"femur": Femur(shaft_diameter_mm=24.0), **_stem(mantle_mm=2.6)},
    ),
    "unlike rough ends that meet": (
        {"defect": Defect(gap_mm=1.3, rough_mm=0.9, rough_faces="unlike")},
        ["bone ends", "0.15 mm of each other", "0.3 mm or more", "gap_mm", "rough_mm", "'matching'"],
        {"defect": Defect(gap_mm=1.5, rough_mm=0.9, rough_faces="unlike")},
    ),
    "nail that grazes the surface beside the axis": (  # 13.5 - 5.5 - 6.6 mm
        _nail(distal_offset_mm=(-6.6, 0.0), proximal_offset_mm=(-6.6, 0.0)),
        ["cortex", "1.4 mm is left", "1.5 mm or more", "thinner nail", "smaller offsets"],
        _nail(distal_offset_mm=(-6.4, 0.0), proximal_offset_mm=(-6.4, 0.0)),
    ),
    "screw turned too far": (  # arc sine of 9.2 over 18 mm
        _both({"diameter_mm": 12.4}, cortices="tangential"),
        ["plate screw at 242 mm", "turn by 31°", "9.2 mm beside the axis", "30°", "thinner screws"],
        _both({"diameter_mm": 11.9}, cortices="tangential"),
    ),
    "screw turned out of the cortex": (  # 24 / 2 - 1.5 - 2.5 mm are left beside the axis
        {"femur": Femur(shaft_diameter_mm=24.0), **_both({"diameter_mm": 10.2}, cortices="tangential")},
        ["plate screw at 242 mm", "8.1 mm beside the axis", "30° and 8.0 mm", "'unicortical'"],
        {"femur": Femur(shaft_diameter_mm=24.0), **_both({"diameter_mm": 9.8}, cortices="tangential")},
    ),
    "screw through a stem": (
        {"nail": Stem(length_mm=190.0), **_plate(cortices="bicortical", shift_mm=20)},
        ["plate screw at 262 mm", "hits the stem", "0.0 mm from its", "8.6 mm or more", "cortices"],
        {"nail": Stem(length_mm=190.0), **_plate(cortices="unicortical", shift_mm=20)},
    ),
    "cuff beyond the knee": (
        {"femur": Femur(length_mm=380.0), "defect": Defect(**CUFFED, cuff_length_mm=52.8)},
        ["defect.cuff_length_mm = 52.8", "19.6 to 132.4", "20 to 360 mm", "shorten"],
        {"femur": Femur(length_mm=380.0), "defect": Defect(**CUFFED, cuff_length_mm=51.4)},
    ),
    "oblique gap beyond the knee": (
        {
            "femur": Femur(distal_diameter_mm=36.0),
            "defect": Defect(site_percent=80.0, gap_mm=60.0, oblique_deg=60.0),
        },
        ["gap", "outside the bone", "20 to 410 mm", "site_percent", "gap_mm"],
        {"defect": Defect(site_percent=80.0, gap_mm=20.0, oblique_deg=30.0)},
    ),
    "break on a bolt": (
        _nail(break_mm=73.7),
        ["nail.break_mm = 73.7", "35 to 395 mm", "3.8 mm away", "move"],
        _nail(break_mm=73.9),
    ),
}  # fmt: skip


@pytest.mark.parametrize("wrong", FINDINGS)
def test_finding(wrong: str):
    built, words, _ = FINDINGS[wrong]
    lines = _lint(**built)
    assert all(line.startswith("construct 'mine': ") for line in lines)
    fitting = [line for line in lines if all(word in line for word in words)]
    assert fitting, f"no line says all of {words}: {lines}"
    assert REMEDY.search(fitting[0]), f"no remedy in: {fitting[0]}"
    assert re.search(r"\d", fitting[0].removeprefix("construct 'mine'")), f"no value in: {fitting[0]}"


@pytest.mark.parametrize("wrong", FINDINGS)
def test_neighbour_just_inside_the_limit_passes(wrong: str):
    assert _lint(**FINDINGS[wrong][2]) == []


def test_default_constructs_pass():
    assert _lint() == []
    assert _lint(nail=Nail()) == []
    assert _lint(nail=ExchangeNail()) == []
    assert _lint(plate=Plate()) == []
    assert _lint(nail=Nail(), plate=Plate()) == []


def test_screw_that_misses_the_cortex():
    """Stopped short of a nail that fills the canal of a thin bone."""
    thin = FEMUR.model_copy(update={"shaft_diameter_mm": 17.8})
    (line, *_) = _lint(thin, **_both({"diameter_mm": 11}))
    assert all(word in line for word in ("misses the cortex", "holds 1.4 mm", "1.5 mm or more"))
    assert REMEDY.search(line)
    thick = FEMUR.model_copy(update={"shaft_diameter_mm": 18.2})
    assert _lint(thick, **_both({"diameter_mm": 11})) == []


def test_screws_above_the_nail_do_not_hit_it():
    short = {"length_mm": 160.0, "distal_end_mm": 100.0, "bolts": {"first_mm": 8.0, "spacing_mm": 10.0}}
    built = _both(short, holes=(7,), hole_count=14, pitch_mm=11, shift_mm=60, cortices="bicortical")
    hits = [line for line in _lint(**built) if "hits the nail" in line]
    assert all(float(line.split(" at ")[1].split()[0]) < 260 for line in hits), hits


def test_screws_reach_from_the_plate_into_the_bone():
    """Head 1 mm outside the plate; tip 2 mm past the far cortex, or 1.5 mm short of a tight canal."""
    plate = Plate(screws=Screws(holes=(1, 2)))
    surface = FEMUR.shaft_diameter_mm / 2
    for canal, tip in ((None, -(surface + 2)), (Nail(diameter_mm=8, cannulation_mm=4), None)):
        inner = walls(FEMUR, canal).inner
        for screw in screws(plate, rods(canal, 430.0), walls(FEMUR, canal), 215.0):
            assert screw.head == surface + plate.offset_mm + plate.thickness_mm + 1
            assert screw.tip == (tip if tip is not None else inner.at(screw.height) + 1.5)


def test_every_finding_at_once_has_its_line():
    wrong = _nail(length_mm=381, distal_end_mm=35, bolts={"diameter_mm": 6.5, "spacing_mm": 10})
    wrong |= _plate(holes=(1, 3), shift_mm=-9, hole_count=18, pitch_mm=25)
    wrong["nail"] = wrong["nail"].model_copy(update={"diameter_mm": 9.0})
    lines = _lint(**wrong)
    assert len(lines) == len(set(lines)) == 3


# --- What passes does not overlap: an oracle that only knows the solids ---------------------------

SPREAD = qmc.Sobol(3, seed=np.random.default_rng(1)).random_base2(11)
SHARED = {  # pairs that share space by design: a later part paints over an earlier one
    frozenset(pair)
    for pair in (
        ("bolt", "nail"), ("bolt", "cortex"), ("bolt", "cancellous"), ("screw", "plate"),
        ("screw", "cortex"), ("screw", "cancellous"), ("inner", "gap"),
        # What fills the canal lies under bone, tissue, bolts and screws, cores under the cortex.
        ("canal", "cortex"), ("canal", "cancellous"), ("canal", "gap"), ("canal", "inner"),
        ("canal", "bolt"), ("canal", "screw"), ("cancellous", "cortex"), ("canal", "bridge"),
        # A bridge is bone over tissue, a cuff bonds to what it meets, a pad lies under everything.
        ("bridge", "gap"), ("bridge", "inner"), ("cuff", "plate"), ("cuff", "screw"), ("cuff", "bolt"),
        ("pad", "canal"), ("pad", "cortex"), ("pad", "screw"), ("pad", "bolt"), ("pad", "cuff"),
        ("pad", "cancellous"),
    )
}  # fmt: skip


def _box(solid: Solid, frame: Points) -> tuple[Points, Points]:
    """Least and greatest coordinates of a solid along the rows of the frame."""
    if isinstance(solid, Prism):
        near = np.array(solid.corners())
        corners = np.vstack([near, near + solid.sweep]) @ frame.T
        return corners.min(axis=0), corners.max(axis=0)
    axis = np.array(solid.axis)
    ends = np.array([solid.base, solid.base + axis]) @ frame.T
    tilt = np.sqrt(np.clip(1 - (frame @ axis / solid.height) ** 2, 0, 1))
    reach = np.array([[solid.radius], [solid.end_radius]]) * tilt
    return (ends - reach).min(axis=0), (ends + reach).max(axis=0)


def _between_levels(solid: Solid, low: float, high: float) -> Solid:
    """A plate no longer than the box asks for, so that points are not wasted on its flare."""
    if not isinstance(solid, Prism) or low >= high:
        return solid
    r, z = np.array(solid.outline).T
    half = len(r) // 2  # up along the inner face, down along the outer one
    levels = [low, *[h for h in z[:half] if low < h < high], high]
    inner = [(float(np.interp(h, z[:half], r[:half])), float(h)) for h in levels]
    wall = float(r[half] - r[half - 1])
    outer = [(x + wall, h) for x, h in reversed(inner)]
    return Prism((*inner, *outer), solid.azimuth_deg, solid.width)


def _overlap(one: Part, other: Part, azimuth: float = 0.0) -> float:
    """Shared volume, mm³, by points in the box where two pieces could meet at all."""
    out = radial(azimuth)
    frame = np.array([out, (-out[1], out[0], 0.0), (0.0, 0.0, 1.0)])
    shared = 0.0
    for a, b in product(one.pieces, other.pieces):
        low, high = _meeting(a.solid, b.solid, frame)
        solids = [_between_levels(piece.solid, low[2], high[2]) for piece in (a, b)]
        low, high = _meeting(*solids, frame)
        size = high - low
        if size.min() > 1e-6:
            points = (low + SPREAD * size) @ frame
            shared += float((a.contains(points) & b.contains(points)).mean() * size.prod())
    return shared


def _meeting(one: Solid, other: Solid, frame: Points) -> tuple[Points, Points]:
    (low, high), (least, most) = _box(one, frame), _box(other, frame)
    return np.maximum(low, least), np.minimum(high, most)


def _overlaps(geometry: Geometry) -> list[str]:
    azimuth = geometry.gap.near_azimuth_deg if geometry.gap else 0.0
    return [
        f"{one.name} and {other.name} share {shared:.3f} mm³"
        for one, other in combinations(geometry.parts, 2)
        if frozenset((_layer(one), _layer(other))) not in SHARED
        if (shared := _overlap(one, other, azimuth))
    ]


def _layer(part: Part) -> str:
    """Its role, but for a bridge: cortex where the bone ends may not be."""
    return "bridge" if part.name == "bridge" else part.role


@pytest.mark.parametrize(
    ("kind", "wanted", "least"),
    [
        ("nail", "", 20), ("nail", "beside the axis", 5), ("nail", "tilted", 5), ("nail", "slotted", 5),
        ("nail", "broken", 5), ("exchange_nail", "", 20), ("plate", "", 20), ("plate", "rough", 5),
        ("nail_plate", "", 20), ("nail_plate", "plate over bolts", 20), ("two_plates", "", 15),
        ("nail_plate", "screws turned past", 10), ("nail_plate", "tilted", 5),
        ("stem_plate", "", 15), ("stem_plate", "screws turned past", 10), ("specimen", "", 5),
    ],
)  # fmt: skip
def test_what_passes_does_not_overlap(kind: str, wanted: str, least: int):
    chance, built, offenders = seeded(20), 0, []
    while built < least:
        drawn = study(chance, kind)
        read = parse_study(drawn, "drawn")
        if wanted and wanted not in features(read):
            continue
        try:
            geometry = assemble(read.constructs[0].at_bounds()[-1][0], read.femur, read.defect)
        except StudyError:
            continue
        built += 1
        offenders += [f"{found}: {drawn}" for found in _overlaps(geometry)]
    assert not offenders, f"{len(offenders)} overlaps, first {offenders[0]}"


@pytest.mark.parametrize(
    ("femur", "nail", "plate"),
    [
        (
            {"shaft_diameter_mm": 24, "distal_diameter_mm": 45},
            {"distal_end_mm": 75},
            {"offset_mm": 1.81},
        ),
        (
            {"shaft_diameter_mm": 24},
            {"distal_end_mm": 115, "bolts": {"distal": 1, "first_mm": 60, "diameter_mm": 3.5}},
            {
                "width_mm": 8,
                "offset_mm": 0.3,
                "azimuth_deg": 25,
                "screws": {"diameter_mm": 4, "holes": (2, 5)},
            },
        ),
    ],
    ids=["on the flare", "beside the plate"],
)
def test_plate_that_only_just_lies_on_a_bolt(
    femur: dict[str, Any], nail: dict[str, Any], plate: dict[str, Any]
):
    """Refused, or built without an overlap."""
    nail = {"length_mm": 280, "bolts": {"distal": 1, "first_mm": 15}, **nail}
    plate = {"hole_count": 14, "screws": {"holes": (2, 3)}, **plate}
    construct = NailPlateConstruct(kind="nail_plate", name="any", nail=nail, plate=plate)
    bone, defect = Femur(**femur), Defect(site_percent=55)
    lines = _lint(bone, defect, construct.nail, construct.plate)
    assert all("lies on the nail's bolt" in line for line in lines)
    if not lines:
        assert _overlaps(assemble(construct, bone, defect)) == []


def test_the_oracle_sees_overlaps():
    """It would catch a screw in the nail, a screw in a bolt, and a plate in the bone or on a bolt."""
    bicortical = NailPlateConstruct(kind="nail_plate", name="any")
    geometry = assemble(bicortical, FEMUR, DEFECT)
    parts = {part.name: part for part in geometry.parts}
    assert _overlaps(geometry) == []
    for changed, hit in (("screw_1", "nail"), ("plate", "cortex_distal"), ("screw_1", "bolt_1")):
        moved = _moved(parts[changed], -12.0 if hit != "bolt_1" else 0.0, parts[hit])
        assert _overlap(moved, parts[hit]) > 0, (changed, hit)


def _moved(part: Part, outwards: float, target: Part) -> Part:
    """The part pushed into the bone, or to the height of the target."""
    piece = part.pieces[0]
    solid = piece.solid
    if isinstance(solid, Prism):
        solid = Prism(
            tuple((r + outwards, z) for r, z in solid.outline), solid.azimuth_deg, solid.width
        )
    else:
        x, y, z = solid.base
        goal = target.pieces[0].solid
        height = goal.base[2] if outwards == 0 and isinstance(goal, Frustum) else z
        solid = Frustum((x - outwards, y, height), solid.axis, solid.radius, solid.end_radius)
    return Part(part.name, part.role, part.material, (type(piece)(solid),), part.wall)


@pytest.mark.parametrize(
    ("given", "least"), [({"cuff_mm": 6e-25}, "0.3 mm"), ({"bridge_percent": 1e-20}, "1 %")]
)
def test_tissue_too_thin_for_a_mesh_is_refused_and_none_is_none(given: dict[str, float], least: str):
    with pytest.raises(ValueError, match=f"allowed is 0, or {least} or more"):
        Defect(**given)  # type: ignore[arg-type]
    Defect(**dict.fromkeys(given, 0.0))  # type: ignore[arg-type]
