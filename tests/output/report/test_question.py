"""The question of a study file: what it asks first, and names that are not there."""

from __future__ import annotations

from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.study.config import parse_study


def test_without_a_question_the_shown_stage_and_load_are_asked(demo: dict[str, Any]):
    del demo["question"]
    study = parse_study(demo, "demo")  # expectation: definition, in the brief of the study file
    assert study.asked == ("gap_movement", "far", "atrophic", "hip")


def test_a_question_names_its_outcome(demo: dict[str, Any]):
    asked = {"quantity": "torsional_stiffness", "location": "sections", "load": "torsion"}
    study = parse_study(demo | {"question": asked, "show": {"stage": "woven"}}, "demo")
    assert study.asked == ("torsional_stiffness", "sections", "woven", "torsion")


@pytest.mark.parametrize(
    ("key", "wrong", "words"),
    [
        ("stage", "osseous", "allowed empty, atrophic, woven"),
        ("load", "jump", "allowed hip, torsion"),
        ("quantity", "gap_shear", "nearest allowed are gap_shear_movement"),
        ("answer", "yes", "unknown key"),
        ("text", "", "correct it"),
    ],
)
def test_a_wrong_name_is_refused_with_what_is_allowed(
    demo: dict[str, Any], key: str, wrong: str, words: str
):
    with pytest.raises(StudyError, match=rf"question\.{key}") as caught:
        parse_study(demo | {"question": {key: wrong}}, "demo")
    assert words in str(caught.value)
