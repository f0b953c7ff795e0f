"""Published measurements beside a study's results: refusals, the table, and one twin for real."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.cli.commands.run import run
from pipeline.output.beside import beside
from pipeline.storage.files import read_table, write_table
from pipeline.study.config import load_study, parse_study
from pipeline.study.published import Published
from pipeline.tables.measured import PUBLISHED_COLUMNS, published_rows
from pipeline.tables.rows import Row

CONFIGS = Path(__file__).parents[2] / "configs"
WORDS = {"source": "invented for this test alone", "differs": "there was no such test at all"}
ENTRY: dict[str, Any] = {
    "name": "stiffer", "of": "over", "against": "alone", "form": "ratio", "quantity": "axial_stiffness",
    "location": "sections", "stage": "woven", "load": "push", "measured": 2.5, "unit": "1", **WORDS,
}  # fmt: skip
ALONE = {"form": "value", "against": None, "unit": "N/mm", "measured": 640.0}


def entry(**changes: Any) -> Published:
    return Published.model_validate(ENTRY | changes)


def row(construct: str, value: float | None, **changes: Any) -> Row:
    common = {"stage": "woven", "load": "push", "quantity": "axial_stiffness", "location": "sections"}
    return Row(construct=construct, value=value, **(common | changes))


TABLE = [
    row("over", 9.0, stage="empty"), row("over", 8.0, load="twist"),
    row("over", 7.0, location="elsewhere"), row("over", 6.0, quantity="bending_stiffness"),
    row("alone", 250.0, flags="nail touches"), row("over", 700.0, flags="nail touches; overlap"),
]  # fmt: skip


def only(one: Published, table: list[Row] = TABLE) -> dict[str, object]:
    (found,) = published_rows([one], table)
    assert tuple(found) == PUBLISHED_COLUMNS
    return found


# --- The table ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "model", "ratio"),
    [
        (ALONE, 700.0, 700.0 / 640.0),
        ({}, 2.8, 1.12),
        ({"form": "change", "unit": "%", "measured": 150.0}, 180.0, 1.2),
        ({"of": "alone", "against": "over", "form": "change", "unit": "%", "measured": -45.0},
         100 * (250 / 700 - 1), 100 * (250 / 700 - 1) / -45),
    ],
)  # fmt: skip
def test_a_measurement_is_set_beside_the_same_result(changes: Any, model: float, ratio: float):
    found = only(entry(**changes))
    assert found["model"] == pytest.approx(model)
    assert found["ratio"] == pytest.approx(ratio)
    assert found["reason"] == ""
    assert (found["source"], found["differs"]) == (WORDS["source"], WORDS["differs"])


@pytest.mark.parametrize(
    ("changes", "errors", "expected"),
    [
        (ALONE, (None, 3), 21.0),
        ({}, (2, 3), 0.05 * 2.8),
        ({"form": "change", "unit": "%"}, (2, 3), 0.05 * 280),
        ({}, (None, 3), ""),
        (ALONE, (2, None), ""),
    ],
)
def test_the_mesh_s_error_goes_with_the_model_s_number(changes: Any, errors: Any, expected: Any):
    # By hand: 3 % of 700; of a ratio the shares add up; one that is unknown leaves the sum unknown.
    table = [row("alone", 250.0, error=errors[0]), row("over", 700.0, error=errors[1])]
    found = only(entry(**changes), table)["model_error"]
    assert found == (expected if expected == "" else pytest.approx(expected))


@pytest.mark.parametrize(
    ("spread", "standing"),
    [(None, "no spread published"), (0.31, "inside the spread"), (0.29, "outside the spread")],
)
def test_a_published_spread_says_where_the_model_stands(spread: float | None, standing: str):
    assert only(entry(spread=spread))["standing"] == standing
    assert only(entry(spread=spread, measured=3.1))["standing"] == standing


@pytest.mark.parametrize(
    ("direction", "values", "standing"),
    [
        ("more", (-0.3, 0.2), "same direction"),  # sizes count, not signs
        ("less", (-0.3, 0.2), "opposite direction"),
        ("less", (0.1, 0.2), "same direction"),
        ("more", (0.1, 0.2), "opposite direction"),
    ],
)
def test_a_source_without_numbers_gives_a_direction(direction: str, values: Any, standing: str):
    found = only(
        entry(measured=None, direction=direction), [row("over", values[0]), row("alone", values[1])]
    )
    assert (found["measured"], found["ratio"], found["standing"]) == (direction, "", standing)


def test_doubts_about_either_result_are_passed_on_once():
    assert only(entry())["flags"] == "nail touches; overlap"


def test_constructs_without_a_gap_are_read_at_their_only_stage():
    intact = row("alone", 350.0, stage="intact")
    assert only(entry(), [row("over", 700.0), intact])["model"] == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        ([TABLE[4], Row(construct="over", status="failed", reason="no mesh")],
         "over failed: no mesh"),
        ([row("over", 700.0), row("alone", None, quantity="", status="failed", reason="a mechanism")],
         "alone failed: a mechanism"),
        ([row("over", 700.0)], "alone has axial_stiffness under push at: nowhere"),
        ([row("over", 7.0, location="near"), row("over", 8.0, location="far"), TABLE[4]],
         "over has axial_stiffness under push at: near, far"),
        ([row("over", 700.0), row("alone", 0.0)], "alone has 0"),
    ],
)  # fmt: skip
def test_without_a_sound_result_the_cell_is_empty_and_says_why(table: Any, reason: str):
    found = only(entry(), table)
    assert (found["model"], found["ratio"], found["standing"]) == ("", "", "")
    assert str(found["reason"]).startswith(reason)


def test_another_stage_s_or_load_s_failure_does_not_count():
    failed = [row("alone", None, stage="empty", status="failed", reason="loose"),
              row("alone", None, load="twist", status="failed", reason="unbalanced")]  # fmt: skip
    assert only(entry(), [*failed, *TABLE])["model"] == pytest.approx(2.8)


def test_the_terminal_shows_the_table_with_the_difference_or_the_reason(tmp_path: Path):
    assert beside(tmp_path) == []
    lost = entry(name="lost", location="nowhere", measured=3.0, spread=1.0)
    rows = published_rows([entry(**ALONE), lost], TABLE)
    other = [{**row, "variant": "v002", "model": 1.0} for row in rows]  # of a design the first counts
    written = [{**row, "variant": "v001"} for row in rows] + other
    write_table(tmp_path / "published.csv", written, ("variant", *PUBLISHED_COLUMNS))
    (sound, words), (empty, reason) = beside(tmp_path)
    assert sound == ("stiffer", "700 N/mm", "640 N/mm", "1.09", "no spread published")
    assert words == WORDS["differs"] + " In the model: nail touches; overlap."
    assert empty == ("lost", "–", "3 ± 1", "–", "")
    assert reason.startswith("over has axial_stiffness")


# --- Refusals ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"of": "gone"}, "published 'stiffer': of = 'gone' is not in the study; allowed "),
        ({"against": "gone"}, "published 'stiffer': against = 'gone' is not in the study"),
        ({"stage": "gone"}, "published 'stiffer': stage = 'gone' is not in the study; allowed "),
        ({"load": "gone"}, "published 'stiffer': load = 'gone' is not in the study"),
        ({"quantity": "axial_stifness"}, "published 'stiffer': quantity = 'axial_stifness': no such "
         "quantity; the nearest allowed are axial_stiffness"),
        ({"unit": "N/mm"}, "published 'stiffer': unit = 'N/mm': allowed '1' for a ratio of "),
        ({"form": "value", "unit": "N/mm"}, "add or remove against"),
        ({"against": None}, "add or remove against"),
        ({"against": "nail-10-plate"}, "is the construct itself; name another one"),
        ({"measured": None}, "allowed is either measured, or direction"),
        ({"direction": "more"}, "allowed is either measured, or direction"),
        ({"measured": None, "direction": "more", "spread": 1.0}, "without spread; correct these"),
        ({"measured": None, "direction": "more", "form": "change", "unit": "%"}, "form = 'ratio'"),
        ({"spread": 0.0}, "published 'stiffer': spread = 0.0: allowed above 0"),
        ({"source": "a paper"}, "published 'stiffer': source = 'a paper': string should have at "),
    ],
)  # fmt: skip
def test_what_does_not_fit_the_study_is_refused(demo: dict[str, Any], changes: Any, words: str):
    names = {"of": "nail-10-plate", "against": "nail-10", "stage": "atrophic"}
    sound = ENTRY | names | {"load": demo["loads"][0]["name"]}
    assert parse_study({**demo, "published": [sound]}, "test").published
    broken = {key: value for key, value in (sound | changes).items() if value is not None}
    with pytest.raises(StudyError) as caught:
        parse_study({**demo, "published": [broken]}, "test")
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_two_entries_of_one_name_are_refused(demo: dict[str, Any]):
    names = {"of": "nail-10-plate", "against": "nail-10", "stage": "atrophic"}
    sound = ENTRY | names | {"load": demo["loads"][0]["name"]}
    with pytest.raises(StudyError, match="published: the name 'stiffer' occurs more than once"):
        parse_study({**demo, "published": [sound, sound]}, "test")


# --- For real ----------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_twin_runs_and_sets_every_measurement_beside_a_result(tmp_path: Path):
    path = CONFIGS / "twin-plate-alloy.toml"
    run(path, tmp_path, 1, None)
    entries = load_study(path).published
    table = read_table(tmp_path / "published.csv")
    results = read_table(tmp_path / "results.csv")
    assert [one["name"] for one in table] == [one.name for one in entries]
    for one, asked in zip(table, entries, strict=True):
        steel, titanium = (
            float(r["value"])
            for name in ("steel", "titanium")
            for r in results
            if (r["construct"], r["quantity"], r["load"]) == (name, asked.quantity, asked.load)
        )
        assert float(one["model"]) == pytest.approx(steel / titanium, rel=1e-5)
        # Bone is shared, so the construct gains by less than the alloys' own ratio, 193 / 110.
        assert 1 < float(one["model"]) < 193 / 110
