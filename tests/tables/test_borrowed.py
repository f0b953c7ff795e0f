"""Errors taken from constructs that ran on three meshes: whose, for what, and when none."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from pipeline.tables.borrowed import Known, Sample
from pipeline.tables.rows import Row

KINDS = {"n1": "nail", "n2": "nail", "n3": "nail", "p1": "plate"}


def row(construct: str = "n3", **other: Any) -> Row:
    own = {"stage": "woven", "load": "twist", "quantity": "gap_shear_movement", "location": "far"}
    return Row(construct=construct, **(own | other))


@pytest.fixture
def sample() -> Sample:
    """Two nails: 2 and 3 % at this stage and load, more elsewhere; and a plate."""
    found = Sample(KINDS)
    found.add(row("n1"), Known("n1", 0.02, is_singular=False))
    found.add(row("n2"), Known("n2", 0.03, is_singular=False))
    found.add(row("n2", stage="empty"), Known("n2", 0.05, is_singular=False))
    found.add(row("n1", load="pull"), Known("n1", 0.07, is_singular=False))
    found.add(row("n1", location="near"), Known("n1", 0.4, is_singular=False))
    found.add(row("n1", quantity="gap_axial_movement"), Known("n1", 0.5, is_singular=False))
    found.add(row("p1"), Known("p1", 0.6, is_singular=False))
    return found


@pytest.mark.parametrize(
    ("other", "error", "words"),
    [
        ({}, 3, "borrowed from 2 of 4 constructs: n1, n2; same stage and load"),
        ({"stage": "mature"}, 5, "borrowed from 2 of 4 constructs: n1, n2; same load, any stage"),
        ({"load": "bend"}, 7, "borrowed from 2 of 4 constructs: n1, n2; any stage and load"),
        ({"load": "pull"}, 7, "borrowed from 1 of 4 constructs: n1; same stage and load"),
        ({"location": "near"}, 40, "borrowed from 1 of 4 constructs: n1; same stage and load"),
    ],
)
def test_the_largest_error_of_what_is_most_alike(
    sample: Sample, other: dict[str, str], error: float, words: str
):
    found = sample.lend(row(**other))
    assert (found.error, found.mesh) == (error, words)


@pytest.mark.parametrize("other", [{"location": "centre"}, {"quantity": "gap_rotation"}])
def test_nothing_alike_lends_nothing(sample: Sample, other: dict[str, str]):
    found = sample.lend(row(**other))
    assert found == row(**other)


def test_one_singular_or_unbounded_value_spoils_all_that_are_like_it(sample: Sample):
    sample.add(row("n1"), Known("n1", inf, is_singular=False))
    found = sample.lend(row())
    assert (found.error, found.mesh) == (None, "borrowed: nothing bounds the error in n1")
    sample.add(row("n2"), Known("n2", inf, is_singular=True))
    found = sample.lend(row())
    assert (found.error, found.mesh) == (None, "borrowed: singular in n2, do not quote")


def test_variants_of_one_construct_are_like_each_other():
    # Definition: a construct of a design is of its kind in every variant.
    sample = Sample({"v1-n": "nail", "v2-n": "nail"})
    sample.add(row("n", variant="v1"), Known("v1-n", 0.02, is_singular=False))
    other = sample.lend(row("n", variant="v2"))
    assert (other.error, other.mesh) == (
        2, "borrowed from 1 of 2 constructs: v1-n; same stage and load",
    )  # fmt: skip


def test_numbered_bolts_and_screws_are_alike_and_percentiles_are_not():
    sample = Sample(KINDS)
    sample.add(row("n1", location="bolt_2/near_cortex"), Known("n1", 0.02, is_singular=False))
    sample.add(row("n1", location="p50"), Known("n1", 0.03, is_singular=False))
    bolt = sample.lend(row(location="bolt_1/near_cortex"))
    percentile = sample.lend(row(location="p95"))
    assert (bolt.error, percentile.error) == (2, None)
