from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import meshio
import numpy as np
import pytest
from matplotlib.image import imread

from pipeline.errors import OutputError
from pipeline.output import figures
from pipeline.output.bearing import places
from pipeline.output.figures import FAILED, draw_study, shared_top
from pipeline.output.model import STRAIN, STRESS, read_model, read_values
from pipeline.output.scene import Camera, Scale, loaded_implants
from pipeline.run.record import CASE_COLUMNS
from pipeline.storage import caution
from pipeline.storage.casebook import FIELDS, INDEX, write_index
from pipeline.storage.caution import CAUTION, CAUTION_SHORT
from pipeline.storage.files import read_if_any
from tests.made import Row, row_of, write_case

BLOCKS = (  # role, material, box: two bone ends with a gap, a plate on their lateral side
    ("cortex", "cortical", (-10, -10, 0, 10, 10, 48)),
    ("cortex", "cortical", (-10, -10, 52, 10, 10, 100)),
    ("gap", "tissue", (-10, -10, 48, 10, 10, 52)),
    ("plate", "steel", (-16, -8, 20, -10, 8, 80)),
)
CORNERS = np.array([(x, y, z) for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float)
TETRAHEDRA = [(0, 1, 3, 7), (0, 3, 2, 7), (0, 2, 6, 7), (0, 6, 4, 7), (0, 4, 5, 7), (0, 5, 1, 7)]
EDGES = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)]


def _box(low: np.ndarray, high: np.ndarray, first: int) -> tuple[np.ndarray, np.ndarray]:
    corners = low + CORNERS * (high - low)
    cells = []
    nodes = []
    for tetrahedron in TETRAHEDRA:
        four = corners[list(tetrahedron)]
        middles = [(four[a] + four[b]) / 2 for a, b in EDGES]
        cells.append(np.arange(10) + first + len(nodes))
        nodes += [*four, *middles]
    return np.array(nodes), np.array(cells)


def _same_cases(run: Path, other: Path) -> None:
    """Let another folder have the cases of a run."""
    for name in ("cases", INDEX):
        (other / name).symlink_to(run / name)


def _write_case(
    out: Path,
    name: str,
    level: float,
    *,
    tissue: bool = True,
    solved: bool = True,
    rows: Sequence[Row] = (),
) -> None:
    nodes, cells, part = np.empty((0, 3)), np.empty((0, 10), dtype=int), []
    for index, (_, _, box) in enumerate(BLOCKS):
        more, own = _box(np.array(box[:3], float), np.array(box[3:], float), len(nodes))
        nodes, cells = np.vstack([nodes, more]), np.vstack([cells, own])
        part += [index] * len(own)
    number = np.array(part)
    stress = np.where(number == 3, level * np.linspace(0.5, 1, len(cells)), np.nan)
    strain = np.where((number == 2) & tissue, level / 10, np.nan)
    stage = "soft" if solved else "hard"
    folder = write_case(
        out,
        name,
        rows,
        kind="plate",
        gap_mm=4.0,
        parts=[{"name": r, "role": r, "material": m} for r, m, _ in BLOCKS],
        gap={"height_mm": 50.0, "length_mm": 4.0, "radius_mm": 10.0, "near_azimuth_deg": 0.0},
        failed_stages={} if solved else {"soft": "nail can slide (a mechanism)"},
    )
    meshio.Mesh(
        nodes,
        [("tetra10", cells)],
        point_data={"displacement_mm:soft:axial": np.zeros_like(nodes, dtype=np.float32)},
        cell_data={
            "part": [number.astype(np.int32)],
            f"{STRESS}:{stage}:axial": [stress.astype(np.float32)],
            f"{STRAIN}:{stage}:axial": [strain.astype(np.float32)],
        },
    ).write(folder / FIELDS, file_format="vtu")
    listed = read_if_any(out / INDEX)
    write_index(out, [*listed, {"construct": name, "case": name}])


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("study")
    _write_case(out, "weak", 400.0)
    _write_case(out, "stiff", 40.0, tissue=False)
    return out


@pytest.fixture(scope="module")
def pictures(study: Path) -> list[Path]:
    return draw_study(study, ["weak", "stiff"], "soft", "axial")


def test_every_construct_and_the_overview_have_a_picture(study, pictures):
    names = ["weak.png", "stiff.png", "overview.png"]
    assert pictures == [study / "figures" / name for name in names]
    for path in pictures:
        assert path.stat().st_size < 1_000_000
        image = imread(path)[..., :3]
        ink = (image < 0.9).any(axis=2)
        assert 0.02 < ink.mean() < 0.9
    assert sorted(p.name for p in (study / "figures").iterdir()) == sorted(names)


def test_the_overview_is_wide_enough_for_a_page(pictures):
    assert 1600 <= imread(pictures[-1]).shape[1] <= 2000


def test_both_constructs_share_one_range(study):
    values = [read_values(study, name, "soft", "axial")[STRESS] for name in ("weak", "stiff")]
    together = np.concatenate(values)
    assert shared_top(values) == pytest.approx(np.percentile(together, 99))
    assert shared_top(values) > 9 * values[1].max()


def test_a_picture_uses_the_range_it_is_given(study):
    stiff = read_model(study, "stiff", "soft", "axial")
    camera = Camera((0.0, 0.0, 50.0), 25.0, 55.0)

    def red(top: float) -> float:
        scale = Scale(STRESS, top, "viridis", "#ff0000", "")
        image = loaded_implants(stiff, camera, scale).image.astype(int)
        return float((image[..., 0] > image[..., 1] + image[..., 2]).mean())

    assert red(400.0) == 0.0
    assert red(10.0) > 0.02


@pytest.fixture(scope="module")
def half_solved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A construct whose stage was solved, and one that has fields of another stage alone."""
    out = tmp_path_factory.mktemp("half")
    _write_case(out, "sound", 40.0)
    _write_case(out, "loose", 400.0, solved=False)
    return out


def test_a_stage_that_was_not_solved_is_drawn_without_fields(half_solved):
    model = read_model(half_solved, "loose", "soft", "axial")
    assert model.failed
    assert set(model.solids) == {"cortex", "plate"}
    assert not read_model(half_solved, "loose", "hard", "axial").failed
    assert not any(v.size for v in read_values(half_solved, "loose", "soft", "axial").values())


def test_pictures_say_that_a_stage_was_not_solved(half_solved, monkeypatch):
    said = {}

    def keep(figure, path):
        said[path.name] = [text.get_text() for axes in figure.axes for text in axes.texts]
        return path

    monkeypatch.setattr(figures.panels, "save", keep)
    draw_study(half_solved, ["sound", "loose"], "soft", "axial")
    found = {name: texts.count(FAILED) for name, texts in said.items()}
    assert found == {"sound.png": 0, "loose.png": 2, "overview.png": 1}
    assert {"sound", "loose"} <= set(said["overview.png"])


def test_every_picture_carries_the_caution(study, monkeypatch):
    said = {}

    def keep(figure, path):
        said[path.name] = [text.get_text() for text in figure.texts]
        return path

    monkeypatch.setattr(figures.panels, "save", keep)
    draw_study(study, ["weak"], "soft", "axial")
    assert said.keys() == {"weak.png", "overview.png"}
    assert all(CAUTION_SHORT in texts for texts in said.values())


def test_a_study_without_any_solution_at_the_stage_is_drawn(half_solved, tmp_path):
    _same_cases(half_solved, tmp_path)
    drawn = draw_study(tmp_path, ["loose"], "soft", "axial")
    assert [path.name for path in drawn] == ["loose.png", "overview.png"]


def test_nothing_to_show_still_has_a_range():
    assert shared_top([]) == 1.0
    assert shared_top([np.zeros(5)]) == 1.0


def test_an_empty_gap_is_not_drawn_as_tissue(study):
    assert read_model(study, "weak", "soft", "axial").has_tissue
    assert not read_model(study, "stiff", "soft", "axial").has_tissue


def test_a_right_femur_seen_from_the_front_has_lateral_on_the_left_and_proximal_up():
    camera = Camera((0.0, 0.0, 50.0), 25.0, 55.0)
    assert camera.project((-10.0, 0.0, 50.0))[0] < 0
    assert camera.project((0.0, 0.0, 60.0)) == pytest.approx((0.0, 10.0))


def test_a_load_without_fields_is_named(study):
    with pytest.raises(OutputError, match="torsion"):
        draw_study(study, ["weak"], "soft", "torsion")


def test_a_folder_that_takes_no_file_is_named(study, tmp_path):
    _same_cases(study, tmp_path)
    (tmp_path / "figures").write_text("in the way")
    with pytest.raises(OutputError, match="figures"):
        draw_study(tmp_path, ["weak"], "soft", "axial")


def test_what_a_picture_says_is_the_caution_of_every_page():
    """One source, so that no two places say unlike things: definition."""
    assert CAUTION.startswith(CAUTION_SHORT)
    assert "not a medical device" in CAUTION_SHORT
    room = Path(caution.__file__).parents[1]
    own = [path for path in room.rglob("*.*") if path.suffix in (".py", ".html")]
    said = [path.name for path in own if "Research and teaching" in path.read_text(encoding="utf-8")]
    assert said == ["caution.py"]


def bears(touch: str, height: float, side: float | None = None, **more: str) -> list[Row]:
    """Rows of where a touch bears, as a case has them."""
    found = [("contact_height", height, "mm"), ("contact_side", side, "deg")]
    usual = {"stage": "soft", "load": "axial"} | more
    rows = [
        row_of("", (name, touch, unit), value, **usual)
        for name, value, unit in found
        if value is not None
    ]
    return [{key: row[key] for key in CASE_COLUMNS if key in row} for row in rows]


@pytest.fixture
def bearing(tmp_path: Path) -> Path:
    rows = [
        *bears("bone_ends", 50.0, 180.0), *bears("plate_distal", 26.0), *bears("bolt_1", 40.0),
        *bears("canal_distal", 30.0, 0.0, stage="hard"), *bears("plate_proximal", 60.0, load="torsion"),
    ]  # fmt: skip
    _write_case(tmp_path, "firm", 40.0, rows=rows)
    _write_case(tmp_path, "loose", 40.0)
    return tmp_path


def test_rings_stand_on_the_surfaces_that_bear(bearing: Path):
    """Bone from -10 to 10 mm, medial along x; a plate bears on its own, lateral side: definition."""
    model = read_model(bearing, "firm", "soft", "axial")
    assert list(places(bearing, "firm", model, "axial")) == [
        pytest.approx((10.0, 0.0, 50.0)), pytest.approx((-10.0, 0.0, 26.0)),
    ]  # fmt: skip
    assert not list(places(bearing, "loose", read_model(bearing, "loose", "soft", "axial"), "axial"))


@pytest.mark.slow
def test_the_overview_explains_its_rings_where_it_has_any(
    bearing: Path, monkeypatch: pytest.MonkeyPatch
):
    drawn: list[list[str]] = []
    save = figures.panels.save

    def told(figure, path, *rest):
        texts = [text.get_text() for legend in figure.legends for text in legend.get_texts()]
        rings = [line for axes in figure.axes for line in axes.lines if line.get_marker() == "o"]
        drawn.append([path.stem, str("bears on its neighbour" in texts), str(len(rings))])
        return save(figure, path, *rest)

    monkeypatch.setattr(figures.panels, "save", told)
    draw_study(bearing, ["firm", "loose"], "soft", "axial")
    assert drawn[-1] == ["overview", "True", "4"]  # two rings, each on a white one
    draw_study(bearing, ["loose"], "soft", "axial")
    assert drawn[-1] == ["overview", "False", "0"]
