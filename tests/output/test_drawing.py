"""Drawings against the sizes of what they show, and against the geometry itself."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.path import Path as Ring

from geometries.assembly import assemble
from geometries.solids import Geometry, Part
from pipeline.output.drawing import _figure, draw_construct
from pipeline.output.notes import shown
from pipeline.output.sides import SideView, view_of
from pipeline.storage.caution import CAUTION_SHORT
from pipeline.study.config import parse_study

EVEN = {"site_percent": 40.0}  # where surface and canal are even
UNLIKE = {
    **EVEN, "gap_mm": 5.0, "rough_mm": 1.5, "rough_faces": "unlike", "fill": "canal", "cuff_mm": 3.0,
}  # fmt: skip
ASIDE = {"distal_offset_mm": [4.0, 3.0], "canal": "filler"}
SHORT = {"length_mm": 160.0, "distal_end_mm": 25.0, "bolts": {"azimuth_deg": 90.0}}
STEM_PLATE = {"hole_count": 14, "shift_mm": 36.0, "screws": {"holes": [2, 4, 6]}}
PAST = {"screws": {"diameter_mm": 3.5, "cortices": "tangential"}}
CONSTRUCTS: dict[str, dict[str, Any]] = {
    "intact": {"kind": "intact"},
    "nail": {"kind": "nail", "nail": {"diameter_mm": 12.0, "canal": "filler"}},
    "slanted": {"kind": "plate", "plate": {"azimuth_deg": 45.0, "on_bone": "bonded"}},
    "behind": {"kind": "plate", "plate": {"azimuth_deg": -90.0, "on_bone": "bonded"}},
    "both": {"kind": "nail_plate"},
    "oblique": {"kind": "nail", "defect": {**EVEN, "oblique_deg": 30.0}},
    "wedge": {"kind": "nail", "defect": {"wedge_mm": 6.0}},
    "rough": {"kind": "nail", "defect": {**EVEN, "rough_mm": 1.0}},
    "unlike": {"kind": "nail_plate", "defect": UNLIKE},
    "bridge": {"kind": "nail", "defect": {**EVEN, "bridge_percent": 25.0}},
    "steep": {
        "kind": "nail",
        "defect": {"gap_mm": 20.0, "oblique_deg": 60.0, "oblique_azimuth_deg": 135.0, "cuff_mm": 5.0},
    },
    "eccentric": {"kind": "nail", "nail": {"proximal_offset_mm": [0.0, 3.0]}},
    "low": {"kind": "nail", "nail": ASIDE, "defect": {"site_percent": 75.0, "fill": "canal"}},
    "slotted": {"kind": "nail", "nail": {"diameter_mm": 13.0, "cannulation_mm": 10.0, "slot_mm": 3.0}},
    "solid": {"kind": "nail", "nail": {"cannulation_mm": 0.0}},
    "broken": {"kind": "nail", "nail": {"break_mm": 180.0}, "defect": {"gap_mm": 60.0}},
    "short": {
        "kind": "nail_plate", "nail": SHORT, "plate": {"hole_count": 8, "screws": {"holes": [2, 3, 4]}},
    },
    "past": {"kind": "nail_plate", "nail": {"diameter_mm": 9.0}, "plate": PAST},
    "stem": {"kind": "stem_plate", "defect": {"site_percent": 45.0}, "plate": STEM_PLATE},
    "ingrown": {
        "kind": "stem_plate", "defect": {"site_percent": 45.0}, "plate": STEM_PLATE,
        "stem": {"fixation": "ingrown", "ingrown_percent": 60.0},
    },
    "two": {"kind": "two_plates"},
    "loose": {"kind": "nail", "nail": {"distal_end_mm": 50.0, "bolts": {"proximal": 0}}},
    "tubes": {
        "kind": "specimen",
        "length_mm": 100.0,
        "layers": [
            {"outer_diameter_mm": 30.0, "inner_diameter_mm": 20.0, "material": "cortical"},
            {"outer_diameter_mm": 20.0, "material": "steel"},
        ],
    },
}  # fmt: skip
FORCE = ("hip_contact", np.array([42.0, 0.0, 407.0]), np.array([-105.0, 0.0, -995.0]))
RADIUS, CANAL = 13.5, 5.5  # of the shaft and of its canal reamed for a 10 mm nail, mm
MIDDLE = 258.0


@cache
def built(name: str) -> Geometry:
    study = {
        "schema_version": 1,
        "title": "drawing",
        "stages": [{"name": "woven"}],
        "loads": [{"kind": "torsion", "name": "twist", "moment_nm": 1.0}],
        "constructs": [{"name": name, **CONSTRUCTS[name]}],
    }
    config = parse_study(study, "test")
    return assemble(config.constructs[0], config.femur, config.defect)


@cache
def seen(name: str, axis: int) -> SideView:
    return view_of(built(name), axis)


def named(geometry: Geometry, name: str) -> Part:
    return next(part for part in geometry.parts if part.name == name)


def extent(outlines: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    points = np.concatenate(outlines)
    return points.min(axis=0), points.max(axis=0)


def area(outlines: list[np.ndarray]) -> float:
    total = 0.0
    for x, z in (outline.T for outline in outlines):
        total += abs(np.dot(x, np.roll(z, -1)) - np.dot(z, np.roll(x, -1))) / 2
    return float(total)


def faces(name: str, axis: int, what: str) -> list[np.ndarray]:
    return seen(name, axis).section.faces[what]


@pytest.fixture(scope="module")
def text_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], str]:
    """The SVG file of a construct, drawn once for all that is asked of it."""
    folder = tmp_path_factory.mktemp("drawings")

    @cache
    def text(name: str) -> str:
        paths = draw_construct(built(name), name, "words", [FORCE], folder)
        assert [path.name for path in paths] == [f"{name}.svg", f"{name}.png"]
        assert paths[1].stat().st_size > 10_000
        return paths[0].read_text(encoding="utf-8")

    return text


@pytest.mark.parametrize("name", CONSTRUCTS)
def test_every_construct_is_drawn(name: str, text_of: Callable[[str], str]):
    text = text_of(name)
    assert len(text) < 1_000_000
    for words in ("hip contact", "1001 N", CAUTION_SHORT):
        assert words in text


@pytest.mark.parametrize("name", ["unlike", "steep", "ingrown", "tubes"])
def test_a_drawing_is_the_same_each_time(name: str, text_of: Callable[[str], str], tmp_path: Path):
    again = draw_construct(built(name), name, "words", [FORCE], tmp_path)
    assert again[0].read_text(encoding="utf-8") == text_of(name)


@pytest.mark.parametrize("name", CONSTRUCTS)
def test_no_words_stand_on_others(name: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("pipeline.output.drawing.view_of", lambda _, axis: seen(name, axis))
    figure = _figure(built(name), name, "canal void, bolts tied · load stance", [FORCE])
    figure.draw_without_rendering()
    texts = [text for axes in figure.axes for text in (*axes.texts, axes.title, axes._left_title)]
    texts += [*figure.texts, *(text for legend in figure.legends for text in legend.get_texts())]
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts if text.get_text()]
    assert len(boxes) > 8
    assert [
        (one, other)
        for (one, box), (other, by) in combinations(boxes, 2)
        if box.padded(-1).overlaps(by.padded(-1))
    ] == []
    page = figure.bbox
    assert [one for one, box in boxes if box.x0 < page.x0 or box.x1 > page.x1] == []


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("name", CONSTRUCTS)
def test_a_section_shows_the_owner_of_every_point(name: str, axis: int):
    # The geometry says itself who owns a point; only hairs beside a border may differ.
    view, random = seen(name, axis), np.random.default_rng(5)
    whole = view.geometry
    centre = whole.gap.height if whole.gap else whole.length / 2
    places = random.uniform((-30, centre - 40), (30, centre + 40), (6000, 2))
    cut = [part for part in whole.parts if part.role not in ("plate", "bolt", "screw")]

    def owners(shift: tuple[float, float]) -> np.ndarray:
        x, z = (places + shift).T
        owner = np.full(len(places), "", dtype=object)
        for part in cut:
            owner[part.contains(view.plane.points(x, z))] = part.role
        return owner

    drawn = np.full(len(places), "", dtype=object)
    for what, outlines in view.section.faces.items():
        for outline in outlines:
            drawn[Ring(outline).contains_points(places)] = what
    hair = 0.05
    near = [owners(shift) for shift in ((0, 0), (hair, 0), (-hair, 0), (0, hair), (0, -hair))]
    is_inside = np.logical_and.reduce([one == near[0] for one in near])
    role = {"bridge": "cortex", "cement": "canal"}
    known = np.array([role.get(one, one) for one in drawn], dtype=object)
    expected = np.where(near[0] == "pad", "", near[0])
    if name == "intact":
        expected = np.where(expected == "gap", "cortex", expected)
    if name == "ingrown":
        expected = np.where(expected == "canal", "cancellous", expected)
    assert is_inside.mean() > 0.95
    assert (known == expected)[is_inside].all()


@pytest.mark.parametrize("name", ["oblique", "unlike", "steep", "low", "broken", "stem", "eccentric"])
def test_lines_run_only_between_unlike_faces(name: str):
    view = seen(name, 1)
    names = {part.name: shown(part) for part in view.geometry.parts}
    segments = [np.stack([line[:-1], line[1:]], axis=1) for line in view.section.lines]
    start, end = np.concatenate(segments).transpose(1, 0, 2)
    along = end - start
    size = np.linalg.norm(along, axis=1)
    is_long = size > 0.2
    beside = 0.1 * along[:, ::-1] * (-1, 1) / size[:, None]
    owners = []
    for side in (-1, 1):
        x, z = ((start + end) / 2 + side * beside)[is_long].T
        owner = np.full(len(x), "", dtype=object)
        for part in view.geometry.parts:
            if part.role not in ("plate", "bolt", "screw", "pad"):
                owner[part.contains(view.plane.points(x, z))] = names[part.name]
        owners.append(owner)
    assert is_long.sum() > 20
    assert (owners[0] != owners[1]).all()


def test_a_close_up_marks_the_tilt_along_the_gap():
    gap = built("oblique").gap
    assert gap is not None
    page = _figure(built("oblique"), "a", "b", [])
    close = next(axes for axes in page.axes if any(text.get_text() == "30°" for text in axes.texts))
    dashed = [line.get_xydata() for line in close.lines if line.get_linestyle() == "--"]
    ends = np.array([line[-1] for line in dashed])
    assert len(ends) == 2
    tilted = ends[np.abs(ends[:, 1] - gap.height).argmax()]
    assert tilted[1] == pytest.approx(float(gap.middle.at(tilted[0], 0.0)))
    assert tilted[0] < -RADIUS


@pytest.mark.parametrize("axis", [0, 1])
def test_nail_and_gap_have_their_size(axis: int):
    low, high = extent(faces("nail", axis, "nail"))
    assert high - low == pytest.approx([12.0, 360.0], abs=1e-2)
    low, high = extent(faces("nail", axis, "gap"))
    assert high - low == pytest.approx([2 * RADIUS, 3.0], abs=1e-2)
    assert area(faces("solid", axis, "nail")) == pytest.approx(3600.0, rel=1e-4)


def test_an_oblique_gap_is_drawn_at_its_angle():
    outlines = faces("oblique", 0, "gap")
    low, high = extent(outlines)
    rise = np.tan(np.radians(30.0))
    assert high[1] - low[1] == pytest.approx(2 * RADIUS * rise + 3.0, abs=0.03)
    assert area(outlines) == pytest.approx(2 * (RADIUS - CANAL) * 3.0, rel=0.01)
    points = np.concatenate(outlines)
    away = np.abs(points[:, 1] - MIDDLE + rise * points[:, 0])  # lateral, on the left, is higher
    assert away.max() == pytest.approx(1.5, abs=0.02)
    assert np.ptp(np.concatenate(faces("oblique", 1, "gap"))[:, 1]) == pytest.approx(3.0, abs=0.01)


def test_a_wedge_is_drawn_as_wide_as_it_is_at_either_side():
    points = np.concatenate(faces("wedge", 0, "gap"))
    for side, wide in ((-1, 3.0), (1, 9.0)):
        at_surface = points[np.abs(points[:, 0] - side * RADIUS) < 0.01]
        assert np.ptp(at_surface[:, 1]) == pytest.approx(wide, abs=0.05)


@pytest.mark.parametrize("name", ["rough", "unlike"])
@pytest.mark.parametrize("axis", [0, 1])
def test_rough_bone_ends_are_drawn_as_they_are(name: str, axis: int):
    gap = built(name).gap
    assert gap is not None
    points = np.concatenate(faces(name, axis, "gap"))
    place = np.zeros((2, len(points)))
    place[axis] = points[:, 0]
    lower, upper = gap.lower.at(*place), gap.upper.at(*place)
    assert (points[:, 1] > lower - 0.05).all()
    assert (points[:, 1] < upper + 0.05).all()
    inside = (np.abs(points[:, 0]) < RADIUS - 0.2) & (np.abs(points[:, 0]) > CANAL + 0.2)
    to_face = np.minimum(points[:, 1] - lower, upper - points[:, 1])[inside]
    assert np.abs(to_face).max() < 0.1
    assert np.ptp(points[inside, 1]) > gap.length


def test_a_bridge_is_drawn_on_its_side_alone():
    low, _ = extent(faces("bridge", 0, "bridge"))
    assert low[0] == pytest.approx(CANAL, abs=0.01)
    assert extent(faces("bridge", 0, "gap"))[1][0] == pytest.approx(-CANAL, abs=0.01)
    assert "bridge" not in seen("bridge", 1).section.faces


def test_an_eccentric_nail_leans_and_is_cut_along_its_axis():
    points = np.concatenate(faces("eccentric", 1, "nail"))
    for z, aside in ((36.0, 0.0), (394.0, 3.0)):
        ends = points[np.abs(points[:, 1] - z) < 1.5, 0]
        assert (ends.min() + ends.max()) / 2 == pytest.approx(aside, abs=0.05)
    view = seen("eccentric", 0)
    assert view.plane.at(np.array([35.0, 395.0])) == pytest.approx([0.0, 3.0])
    low, high = extent(view.section.faces["nail"])
    assert high[0] - low[0] == pytest.approx(10.0, abs=1e-3)


def test_a_slot_opens_the_wall_on_its_side():
    low, high = extent(faces("slotted", 1, "nail"))
    assert (low[0], high[0]) == pytest.approx((-6.5, -5.0), abs=0.01)
    assert extent(faces("slotted", 0, "nail"))[1][0] == pytest.approx(6.5, abs=0.01)


def test_canal_filling_reaches_the_nail_and_the_cuff_lies_outside():
    low, high = extent([one for one in faces("unlike", 1, "inner") if one[:, 0].min() > 0])
    assert (low[0], high[0]) == pytest.approx((5.0, CANAL), abs=0.01)
    low, high = extent([one for one in faces("unlike", 1, "cuff") if one[:, 0].min() > 0])
    assert (low[0], high[0]) == pytest.approx((RADIUS, RADIUS + 3.0), abs=0.03)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_stem_is_a_cone_in_its_bed(axis: int):
    stem = faces("stem", axis, "stem")
    assert area(stem) == pytest.approx((11.0 + 14.0) / 2 * 140.0, rel=1e-3)
    assert extent(stem)[1] == pytest.approx([7.0, 430.0], abs=0.01)
    assert extent(faces("stem", axis, "cement"))[0][1] < 290.0
    assert "cement" not in seen("ingrown", axis).section.faces


def test_pins_are_bars_from_the_side_and_discs_from_their_end():
    bolt = named(built("both"), "bolt_1")
    low, high = extent(seen("both", 1).outlines(bolt))
    assert high - low == pytest.approx([5.0, 5.0], rel=5e-3)
    low, high = extent(seen("both", 0).outlines(bolt))
    assert (high - low)[0] > 20
    assert (high - low)[1] == pytest.approx(5.0, rel=5e-3)


def test_every_other_screw_passes_behind_the_nail():
    front, lateral = (seen("past", axis) for axis in (0, 1))
    assert sum(map(front.is_behind_rod, front.parts("screw"))) == 3
    assert not any(map(front.is_behind_rod, front.parts("bolt")))
    assert not any(map(lateral.is_behind_rod, lateral.parts("screw")))


def test_a_slanted_plate_shows_both_its_sides():
    # Plain trigonometry: at 45 degrees width and thickness project alike on both views.
    plate = named(built("slanted"), "plate")
    front, side = (extent(seen("slanted", axis).outlines(plate)) for axis in (0, 1))
    assert front[1] - front[0] == pytest.approx(side[1] - side[0])
    assert (front[1] - front[0])[0] > (16 + 5) / np.sqrt(2) - 1e-9


def test_a_plate_faces_the_viewer_on_whose_side_it_lies():
    found = [seen(name, axis).facing(named(built(name), plate)) for name, axis, plate in (
        ("behind", 0, "plate"), ("behind", 1, "plate"), ("two", 0, "plate_2"), ("two", 1, "plate"),
    )]  # fmt: skip
    assert found == pytest.approx([-1.0, 0.0, 1.0, 1.0])


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("intact", ["no gap", "read over 3 mm", "femur 430 mm"]),
        ("both", ["gap 3 mm", "nail 360 mm", "plate 180 mm"]),
        ("oblique", ["gap 3 mm", "oblique 30°", "higher on lateral side", "30°"]),
        ("steep", ["oblique 60°", "higher on anteromedial side", "51° in view"]),
        ("wedge", ["gap 3 to 9 mm", "wider on medial side", "3.0 mm", "9.0 mm"]),
        ("rough", ["rough ±1 mm, matching faces"]),
        ("unlike", ["rough ±1.5 mm, unlike faces", "callus cuff", "tissue in the canal"]),
        ("bridge", ["25 % bridged, medial side", "bridge of bone"]),
        ("eccentric", ["proximal end 3 mm anterior", "nail tilted 0.48°", "cut along the nail's axis"]),
        ("low", ["distal end 4 mm medial and 3 mm anterior"]),
        ("slotted", ["nail slotted 3 mm wide on its anterior side"]),
        ("solid", ["nail solid"]),
        ("broken", ["nail broken, ends 0.5 mm apart", "Warning: only tissue joins the fragments"]),
        ("loose", ["Warning: only tissue joins the fragments"]),
        ("short", ["nail 160 mm"]),
        ("stem", ["stem 140 mm", "bone cement", "plate over stem"]),
        ("two", ["plate 180 mm", "plate 2 144 mm"]),
        ("tubes", ["specimen 100 mm"]),
    ],
)
def test_a_drawing_says_what_it_must(name: str, words: list[str], text_of: Callable[[str], str]):
    text = text_of(name)
    assert [one for one in words if one not in text.replace("&#x27;", "'")] == []
    assert ("Warning" in text) == bool(built(name).loose)
