"""One result among many: only the one that was asked for, and only if it is sound."""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.study.published import Published
from pipeline.tables.lookup import Results
from pipeline.tables.rows import Row

STIFF, PEAK = "axial_stiffness", "von_mises_5mm3"


def row(value: float, location: str = "sections", **other: Any) -> Row:
    own = {"construct": "nail", "stage": "woven", "load": "push", "quantity": STIFF}
    return Row(value=value, location=location, **(own | other))


RESULTS = Results([
    row(1.0, construct="plate"), row(2.0, stage="empty"), row(3.0, load="twist"),
    row(4.0, status="failed"), row(5.0), row(6.0, quantity="proximal_movement"), row(7.0, "elsewhere"),
    row(8.0, construct="femur", stage="intact"),
    row(300.0, "nail", quantity=PEAK, error=1.0), row(290.0, "bolt_1", quantity=PEAK, error=10.0),
    row(900.0, "nail", quantity=PEAK, load="twist"),
    row(999.0, "screw_1", quantity=PEAK, status="failed"),
])  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "value"),
    [
        (("nail", STIFF, "sections", "woven", "push"), 5.0),
        (("nail", STIFF, "sections", "woven", "twist"), 3.0),
        (("nail", STIFF, "sections", "woven", None), 3.0),
        (("nail", STIFF, "sections", "woven", "bend"), None),
        (("nail", STIFF, "sections", "mature", "push"), None),
        (("nail", STIFF, None, "woven", "push"), None),
        (("nail", STIFF, None, "empty", "push"), 2.0),
        (("femur", STIFF, "sections", "woven", "push"), 8.0),
        (("nail", PEAK, "screw_1", "woven", "push"), None),
        (("nail", PEAK, "highest", "woven", "push"), 300.0),
        (("nail", PEAK, "highest", "woven", "twist"), 900.0),
        (("nail", PEAK, "highest", "woven", "bend"), None),
    ],
)
def test_what_is_asked_for_is_found_or_nothing(asked: tuple[Any, ...], value: float | None):
    found = RESULTS.find(*asked)
    assert (found and found.value) == value


def test_the_highest_may_be_that_of_the_part_below_it():
    # By hand: 300 +- 3 and 290 +- 29, so that the highest may be 319, and is 297 at least.
    found = RESULTS.find("nail", PEAK, "highest", "woven", "push")
    assert found is not None
    assert (found.location, found.part) == ("highest", "nail")
    assert found.error == pytest.approx(100 * 19 / 300, abs=0.01)


@pytest.mark.parametrize("lost", ["", "woven", "intact"])
def test_what_failed_as_a_whole_or_at_its_stage_says_why(lost: str):
    # Definition: an intact femur has a stage of its own, a case that failed as a whole has none.
    asked = {"name": "n", "of": "nail", "form": "value", "unit": "N/mm", "measured": 1.0,
             "quantity": STIFF, "location": "sections", "stage": "woven", "load": "push",
             "source": "invented for this test alone", "differs": "there was no such test"}  # fmt: skip
    failed = Row(construct="nail", stage=lost, load="push", status="failed", reason="a mechanism")
    found = Results([failed]).look_up(Published.model_validate(asked), "nail")
    assert (found.value, found.reason) == (None, "nail failed: a mechanism")
