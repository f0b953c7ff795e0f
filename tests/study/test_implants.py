"""Implants that a study file names once: each construct that takes one gets the same."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from geometries.errors import StudyError
from pipeline.study.config import StudyConfig, load_study, parse_study
from pipeline.study.schema import study_schema
from pipeline.sweeps.variants import variants_of

FILE = """\
schema_version = 1
title = "A nail, and a plate over it"
stages = [{ name = "atrophic" }]
loads = [{ kind = "torsion", name = "torsion", moment_nm = 10.0 }]

[implants.retained]
diameter_mm = 11.0
bolts = { distal = 1, proximal = 1 }

[implants.broad]
width_mm = 18.0

[[constructs]]
kind = "nail"
name = "nail"
nail = "retained"

[[constructs]]
kind = "nail_plate"
name = "both"
nail = { implant = "retained", reaming_mm = 1.5, bolts = { distal = 2 } }
plate = "broad"
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "study.toml"
    file.write_text(FILE, encoding="utf-8")
    return file


def _nails(study: StudyConfig) -> list[Any]:
    return [one.nail for one in study.constructs]


def test_an_implant_is_named_once_and_used_twice(path: Path):
    alone, plated = _nails(load_study(path))
    assert (alone.diameter_mm, alone.reaming_mm) == (11.0, 1.0)
    assert (alone.bolts.distal, alone.bolts.proximal) == (1, 1)
    assert (plated.diameter_mm, plated.reaming_mm) == (11.0, 1.5)
    assert (plated.bolts.distal, plated.bolts.proximal) == (2, 1), "tables in it are merged"
    assert load_study(path).constructs[1].plate.width_mm == 18.0


def test_it_is_the_study_with_the_implants_written_out():
    """So everything that reads a study, its address too, is as if they had been written twice."""
    data = tomllib.loads(FILE)
    whole = copy.deepcopy(data)
    implants = whole.pop("implants")
    retained, broad = implants["retained"], implants["broad"]
    whole["constructs"][0]["nail"] = retained
    own = {"reaming_mm": 1.5, "bolts": retained["bolts"] | {"distal": 2}}
    whole["constructs"][1] |= {"nail": retained | own, "plate": broad}
    before = copy.deepcopy(data)
    assert parse_study(data, "x") == parse_study(whole, "x")
    assert data == before, "what was read is left as it is"


def test_set_changes_the_implant_or_one_construct_s_own(path: Path):
    assert [n.diameter_mm for n in _nails(load_study(path, ("implants.retained.diameter_mm=12",)))] == [
        12.0,
        12.0,
    ]
    changes = ("constructs.nail.nail.diameter_mm=12", "constructs.both.nail.bolts.distal=1")
    alone, plated = _nails(load_study(path, changes))
    assert (alone.diameter_mm, plated.diameter_mm) == (12.0, 11.0)
    assert (alone.bolts.distal, plated.bolts.distal, plated.reaming_mm) == (1, 1, 1.5)


def test_a_factor_moves_an_implant_wherever_it_is_used():
    """But for a construct that gives the key a value of its own."""
    data = tomllib.loads(FILE)
    factors = [{"key": "implants.retained.diameter_mm", "values": [10.0, 12.0]},
               {"key": "implants.retained.reaming_mm", "values": [2.0]}]  # fmt: skip
    study = parse_study(data | {"design": {"kind": "grid", "factors": factors}}, "x")
    nails = [_nails(variant.study) for variant in variants_of(study) if variant.study]
    assert [[one.diameter_mm for one in each] for each in nails] == [[10.0, 10.0], [12.0, 12.0]]
    assert [[one.reaming_mm for one in each] for each in nails] == [[2.0, 1.5], [2.0, 1.5]]
    assert study.design is not None
    assert [one.name for one in study.design.factors] == [one["key"] for one in factors]
    factors[0]["key"] = "implants.other.diameter_mm"
    with pytest.raises(StudyError, match=r"key 'implants.other.diameter_mm': 'implants' is not there"):
        parse_study(data | {"design": {"kind": "grid", "factors": factors}}, "x")


@pytest.mark.parametrize(
    ("old", "new", "lines"),
    [
        ('nail = "retained"', 'nail = "retaind"', [": construct 'nail': nail = 'retaind' names no "
         "implant; allowed 'retained', 'broad': correct it, or give a table"]),
        ('plate = "broad"', "", [": implants.broad: no construct uses it; name it in one, as in nail = "
         "'broad', or remove it"]),
        ("[implants.broad]\nwidth_mm = 18.0", "[implants]\nbroad = 3", [": implants.broad: allowed "
         "is a table of an implant's keys; correct it"]),
        ("diameter_mm = 11.0", "diametre_mm = 11.0", [", line 7: implants.retained.diametre_mm = 11.0: "
         "unknown key; did you mean diameter_mm? Correct it, or remove it"]),
        ("diameter_mm = 11.0", "diameter_mm = 30.0", [", line 7: implants.retained.diameter_mm = 30.0: "
         "allowed 8 to 15; correct it"]),
        ("reaming_mm = 1.5", "reaming_mm = 15.0", [", line 21: construct 'both': nail.reaming_mm = "
         "15.0: allowed 0.5 to 5; correct it"]),
        ("diameter_mm = 11.0", "diameter_mm = 11.0\ncannulation_mm = 9.5", [", line 6: implants."
         "retained: nail wall comes out as 0.75 mm; ", ": construct 'both': nail: nail wall"]),
    ],
)  # fmt: skip
def test_a_mistake_is_told_where_it_stands(path: Path, old: str, new: str, lines: list[str]):
    """In an implant by name it is one mistake, though two constructs have it."""
    assert FILE.count(old) == 1
    path.write_text(FILE.replace(old, new), encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        load_study(path)
    found = [line.removeprefix(str(path)) for line in str(caught.value).splitlines()]
    assert [line[: len(told)] for line, told in zip(found, lines, strict=True)] == lines


def test_without_any_named_a_name_is_refused(demo: dict[str, Any]):
    demo["constructs"][1]["nail"] = "retained"
    with pytest.raises(StudyError, match=r"nail = 'retained' names no implant; there is no \[implants"):
        parse_study(demo, "demo")


def test_an_editor_takes_names_and_still_marks_mistakes():
    validator = Draft202012Validator(study_schema())
    assert validator.is_valid(tomllib.loads(FILE))
    for old, new in (("diameter_mm", "diametre_mm"), ("reaming_mm = 1.5", "reaming_mm = 9.0"),
                     ('nail = "retained"', "nail = 3")):  # fmt: skip
        assert not validator.is_valid(tomllib.loads(FILE.replace(old, new, 1)))
