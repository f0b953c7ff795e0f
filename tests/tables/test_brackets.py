"""Constructs at every bound of interfaces that nobody knows, and the table of their span."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from geometries.constructs import (
    Construct,
    NailConstruct,
    NailPlateConstruct,
    PlateConstruct,
    SecondPlate,
    TwoPlatesConstruct,
)
from geometries.errors import StudyError
from geometries.parameters import Bolts, Nail
from geometries.plating import Plate
from pipeline.run.collect import write_tables
from pipeline.run.planning import plan
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from pipeline.tables.brackets import BRACKET_COLUMNS, bracket_rows
from pipeline.tables.rows import Row

NAIL, PLATE = Nail(canal="bracket"), Plate(on_bone="bracket")
ASKED = [
    (
        NailConstruct(name="n", kind="nail", nail=NAIL),
        {
            "n-void": "canal void",
            "n-contact": "canal contact",
            "n-filler": "canal filler",
            "n-bonded": "canal bonded",
        },
    ),
    (
        PlateConstruct(name="p", kind="plate", plate=PLATE),
        {"p-offset": "plate offset", "p-bonded": "plate bonded"},
    ),
    (
        NailPlateConstruct(name="np", kind="nail_plate", nail=NAIL, plate=PLATE),
        {
            "np-void-offset": "canal void, plate offset",
            "np-void-bonded": "canal void, plate bonded",
            "np-contact-offset": "canal contact, plate offset",
            "np-contact-bonded": "canal contact, plate bonded",
            "np-filler-offset": "canal filler, plate offset",
            "np-filler-bonded": "canal filler, plate bonded",
            "np-bonded-offset": "canal bonded, plate offset",
            "np-bonded-bonded": "canal bonded, plate bonded",
        },
    ),
    (
        NailConstruct(name="b", kind="nail", nail=Nail(bolts=Bolts(along="bracket"))),
        {
            "b-slides": "bolts with 0.2 mm play, nail slides along them",
            "b-held": "bolts with 0.2 mm play, nail held along them",
        },
    ),
    (
        TwoPlatesConstruct(name="pp", kind="two_plates", second=SecondPlate(on_bone="bracket")),
        {"pp-offset": "second plate offset", "pp-bonded": "second plate bonded"},
    ),
]


@pytest.mark.parametrize(("construct", "expected"), ASKED, ids=lambda one: getattr(one, "name", ""))
def test_a_bracket_is_every_combination_of_bounds(construct: Construct, expected: dict[str, str]):
    made = construct.at_bounds()
    assert {one.name: words for one, words in made} == expected
    for one, words in made:
        assert set(words.split(", ")) <= set(one.interfaces.split(", "))


def test_canal_and_bolts_may_ask():
    # Definition: every combination, the most compliant first.
    nail = Nail(canal="bracket", bolts=Bolts(along="bracket", play_mm=0.3))
    made = NailConstruct(name="n", kind="nail", nail=nail).at_bounds()
    assert [(one.nail.canal, one.nail.bolts.along) for one, _ in made] == [
        (canal, along)
        for canal in ("void", "contact", "filler", "bonded")
        for along in ("slides", "held")
    ]
    name, words = made[3][0].name, made[3][1]
    assert name == "n-contact-held"
    assert words == "canal contact, bolts with 0.3 mm play, nail held along them"


@pytest.mark.parametrize("bolts", [{"fit": "tied"}, {"proximal": 0, "distal": 0}])
def test_bolts_that_nothing_slides_along_ask_for_nothing(bolts: dict[str, Any]):
    # Definition: the same case twice would be no span.
    nail = Nail(bolts=Bolts(along="bracket", **bolts))
    construct = NailConstruct(name="n", kind="nail", nail=nail)
    assert construct.at_bounds() == ((construct, ""),)


def test_both_plates_may_ask():
    second = SecondPlate(on_bone="bracket")
    construct = TwoPlatesConstruct(name="pp", kind="two_plates", plate=PLATE, second=second)
    made = [(one.plate.on_bone, one.second.on_bone) for one, _ in construct.at_bounds()]
    assert made == [(a, b) for a in ("offset", "bonded") for b in ("offset", "bonded")]


def test_what_asks_for_no_bracket_is_left_alone():
    for construct, _ in ASKED:
        for one, _ in construct.at_bounds():
            assert one.at_bounds() == ((one, ""),)


@pytest.fixture
def asking(demo: dict[str, Any]) -> dict[str, Any]:
    """The demo with a bracket wherever a study file may ask for one."""
    constructs = [construct.model_dump(mode="json", exclude_unset=True) for construct, _ in ASKED]
    return {**demo, "constructs": constructs}


def _values(node: Any) -> list[Any]:
    inside = list(node.values()) if isinstance(node, dict) else node if isinstance(node, list) else []
    return [value for one in inside for value in _values(one)] if inside else [node]


def test_no_case_is_left_with_a_bracket(asking: dict[str, Any]) -> None:
    # Assembly knows bounds only; it would take a bracket for a tie.
    planned = plan(parse_study(asking, "test")).items
    assert [item.case.name for item in planned[1:]] == [name for _, made in ASKED for name in made]
    for item in planned:
        assert "bracket" not in _values(item.case.construct.model_dump(mode="json"))


@pytest.mark.parametrize("name", ["n-void", "np-bonded-offset"])
def test_a_construct_with_the_name_of_a_variant_is_refused(asking: dict[str, Any], name: str) -> None:
    asking["constructs"].append({"kind": "plate", "name": name})
    with pytest.raises(StudyError, match=f"constructs: the name '{name}' occurs more than once"):
        parse_study(asking, "test")


# --- The table ---------------------------------------------------------------------------------------

COMMON = {"stage": "woven", "load": "axial", "quantity": "q", "location": "far", "unit": "mm"}


def rows_of(values: dict[str, float], **other: Any) -> list[Row]:
    return [Row(construct=name, value=value, **(COMMON | other)) for name, value in values.items()]


def test_bracket_table_names_the_ends_of_the_span():
    values = {
        "np-void-offset": -0.8, "np-void-bonded": -0.9, "np-filler-offset": -0.3,
        "np-filler-bonded": 0.2, "np-bonded-offset": 0.1, "np-bonded-bonded": 0.0,
        "n-void": 7.0, "n-bonded": 4.0,
    }  # fmt: skip
    both, alone = bracket_rows([one for one, _ in ASKED], rows_of(values))
    assert tuple(both) == BRACKET_COLUMNS
    assert (both["lowest"], both["lowest_with"]) == (-0.9, "canal void, plate bonded")
    assert (both["highest"], both["highest_with"]) == (0.2, "canal filler, plate bonded")
    assert both["span"] == pytest.approx(1.1)
    assert [alone[key] for key in ("construct", "lowest_with", "highest_with")] == [
        "n", "canal bonded", "canal void",
    ]  # fmt: skip


def test_each_end_of_the_span_has_its_own_error():
    # By hand: 2 % of 7 and 5 % of 4; without one the cell is empty.
    table = rows_of({"n-void": 7.0}, error=2.0) + rows_of({"n-bonded": 4.0}, error=5.0)
    (alone,) = bracket_rows([one for one, _ in ASKED], table)
    assert (alone["lowest_error"], alone["highest_error"]) == pytest.approx((0.2, 0.14))
    (alone,) = bracket_rows([one for one, _ in ASKED], rows_of({"n-void": 7.0, "n-bonded": 4.0}))
    assert (alone["lowest_error"], alone["highest_error"]) == ("", "")


def test_flags_are_those_of_both_ends():
    # np-void-bonded lies between the ends: its value is not in the table, nor is its flag.
    ends = {"np-void-offset": (1.0, "touches"), "np-bonded-offset": (9.0, "pulled; yields")}
    table = [row for name, (value, said) in ends.items() for row in rows_of({name: value}, flags=said)]
    table += rows_of({"np-void-bonded": 5.0}, flags="not told")
    (both,) = bracket_rows([one for one, _ in ASKED], table)
    assert both["flags"] == "lowest: touches; highest: pulled; yields"
    (both,) = bracket_rows([one for one, _ in ASKED], table[1:])
    assert both["flags"] == "lowest: not told; highest: pulled; yields"


def test_a_singular_bound_is_named_and_a_sound_one_is_not():
    # Definition: as the row says of itself, whether it is an end of the span or lies between.
    bad = "three meshes: singular, do not quote"
    table = rows_of({"np-void-offset": 1.0, "np-void-bonded": 5.0, "np-bonded-offset": 2.0})
    table += rows_of({"np-filler-offset": 9.0, "np-contact-bonded": 3.0}, mesh=bad)
    (both,) = bracket_rows([one for one, _ in ASKED], table)
    assert both["singular"] == "canal filler, plate offset; canal contact, plate bonded"
    (both,) = bracket_rows([one for one, _ in ASKED], table[:3])
    assert both["singular"] == ""


def test_results_that_differ_in_any_key_are_not_mixed():
    listed = [one for one, _ in ASKED]
    for key in COMMON:
        table = rows_of({"n-void": 1.0, "n-bonded": 2.0}) + rows_of({"n-filler": 9.0}, **{key: "x"})
        assert [row["span"] for row in bracket_rows(listed, table)] == [1.0]


def test_failed_and_single_values_make_no_bracket():
    listed = [one for one, _ in ASKED]
    table = rows_of({"n-void": 1.0}) + rows_of({"n-filler": 9.0}, status="failed")
    assert bracket_rows(listed, table) == []
    assert bracket_rows(listed, rows_of({"other": 1.0, "another": 2.0})) == []


def test_tables_leave_no_bracket_of_an_earlier_run(tmp_path: Path, asking: dict[str, Any]) -> None:
    planned = plan(parse_study(asking, "test"))
    write_tables(planned, [], rows_of({"n-void": 1.0, "n-bonded": 2.5}), tmp_path)
    (row,) = read_table(tmp_path / "brackets.csv")
    assert (row["construct"], row["lowest_with"], row["span"]) == ("n", "canal void", "1.5")
    write_tables(planned, [], [], tmp_path)
    assert not (tmp_path / "brackets.csv").exists()
