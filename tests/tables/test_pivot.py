"""One result by construct and stage: which rows it is of, and the order it stands in."""

from __future__ import annotations

import pytest

from geometries.errors import StudyError
from pipeline.tables.pivot import by_construct_and_stage, in_order
from pipeline.tables.rows import Row

ROWS = [
    Row(construct=name, stage=stage, load="hip", quantity="gap_movement", location="far", value=1.0)
    for name, stage in (("plate", "woven"), ("plate", "empty"), ("femur", "intact"))
]


def test_stages_stand_as_the_study_has_them_and_whole_bone_last():
    found = by_construct_and_stage(ROWS, "gap_movement", "far", "hip")
    assert list(found) == [("plate", "woven"), ("plate", "empty"), ("femur", "intact")]
    order = in_order(list(found), ["empty", "atrophic", "woven"])
    assert order == (["plate", "femur"], ["empty", "woven", "intact"])


def test_a_place_that_is_not_there_is_said_with_those_that_are():
    with pytest.raises(StudyError, match="allowed far under hip: choose among these"):
        by_construct_and_stage(ROWS, "gap_movement", "near", "hip")
    with pytest.raises(StudyError, match="the nearest allowed are gap_movement"):
        by_construct_and_stage(ROWS, "gap_movment", "far", "hip")
