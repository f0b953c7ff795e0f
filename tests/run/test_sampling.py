"""Constructs that span a study: the middle first, then whatever is farthest from all chosen ones."""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.run.case import Case
from pipeline.run.planning import cases
from pipeline.run.sampling import left_out, spread
from pipeline.study.config import parse_study

STUDY: dict[str, Any] = {
    "schema_version": 1,
    "title": "t",
    "stages": [{"name": "woven"}],
    "loads": [{"kind": "torsion", "name": "twist", "moment_nm": 1.0}],
}


def nail(name: str, **nail: Any) -> dict[str, Any]:
    return {"kind": "nail", "name": name, "nail": nail}


def listed(*constructs: dict[str, Any]) -> list[Case]:
    """Cases of the constructs alone, without the femur that a study adds."""
    found = cases(parse_study({**STUDY, "constructs": list(constructs)}, "t"))
    return [case for case in found if case.construct.kind != "intact"]


def test_numbers_count_by_their_range_in_the_study():
    # Diameters 9, 10, 10.5, 13 lie at 0, 0.25, 0.375, 1: the sums of distances are least for 10 and
    # 10.5 alike (1.125), so the earlier; then 13 (0.75 off), 9 (0.25), 10.5.
    four = listed(*(nail(f"d{k}", diameter_mm=d) for k, d in enumerate((9.0, 10.0, 10.5, 13.0))))
    assert spread(four, 1) == ("d1",)
    assert spread(four, 2) == ("d1", "d3")
    assert spread(four, 3) == ("d0", "d1", "d3")
    assert spread(four, 4) == spread(four, 99) == ("d0", "d1", "d2", "d3")


def test_the_next_is_farthest_from_its_nearest_chosen_one_not_from_any():
    # At 0, 0.5, 1, 0.95, 0.4 of the range: after the middle and both ends 0.95 is 0.05 from its
    # nearest and 0.4 is 0.1, though 0.95 lies farther from the first.
    diameters = (9.0, 11.0, 13.0, 12.8, 10.6)
    five = listed(*(nail(f"d{k}", diameter_mm=d) for k, d in enumerate(diameters)))
    assert spread(five, 3) == ("d0", "d1", "d2")
    assert spread(five, 4) == ("d0", "d1", "d2", "d4")


def test_units_and_scales_do_not_matter():
    # Half of the range of a length counts as half of the range of a diameter: b is 1 from a, c 0.5.
    named = {"a": (10.0, 300.0), "b": (12.0, 300.0), "c": (10.0, 330.0), "d": (10.0, 360.0)}
    four = listed(*(nail(name, diameter_mm=d, length_mm=x) for name, (d, x) in named.items()))
    # Sums: a 1 + 0.5 + 1 = 2.5, b 1 + 1.5 + 2 = 4.5, c 0.5 + 1.5 + 0.5 = 2.5, d 1 + 2 + 0.5 = 3.5.
    assert spread(four, 1) == ("a",)
    assert spread(four, 2) == ("a", "b")  # as far as d, and earlier
    assert spread(four, 3) == ("a", "b", "d")


def test_words_and_what_only_one_has_count_as_one_difference():
    three = listed(nail("a"), nail("b", material="steel"), nail("c", material="steel", slot_mm=3.0))
    # a - b 1, b - c 1, a - c 2.
    assert spread(three, 1) == ("b",)
    assert spread(three, 2) == ("a", "b")


def test_a_construct_s_own_defect_counts():
    far = {**nail("c"), "defect": {"site_percent": 75.0}}
    assert spread(listed(nail("a"), nail("b"), far), 2) == ("a", "c")


def test_a_new_kind_comes_before_a_farther_case():
    # a - other 1, the kind alone; a - far 3.
    other = {"kind": "exchange_nail", "name": "other", "nail": {"diameter_mm": 10.0}}
    far = nail("far", material="steel", slot_mm=3.0, canal="bonded")
    assert spread(listed(nail("a"), far, other), 2) == ("a", "other")


@pytest.mark.parametrize("count", [5, 6])
def test_every_kind_is_there_if_there_is_room(demo: dict[str, Any], count: int):
    found = cases(parse_study(demo, "demo"))
    chosen = spread(found, count)
    assert len(chosen) == count
    kinds = {case.construct.kind for case in found if case.name in chosen}
    assert kinds == {"intact", "nail", "exchange_nail", "plate", "nail_plate"}
    assert chosen == tuple(case.name for case in found if case.name in chosen)


def test_kinds_without_a_chosen_case_are_named(demo: dict[str, Any]):
    every = cases(parse_study(demo, "demo"))
    assert left_out(every, [case.label for case in every]) == ()
    assert left_out(every, ["nail-10", "intact"]) == ("exchange_nail", "plate", "nail_plate")
