"""A plan on the terminal: the points of a design, as many as a person reads; whether they suffice."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pipeline.cli.shown.plan import print_plan
from pipeline.run.planning import plan
from pipeline.run.unlikely import too_few
from pipeline.run.watch import spoken
from pipeline.study.config import parse_study
from pipeline.study.design import least_points
from pipeline.sweeps.sensitivity import sensitivity_rows
from pipeline.sweeps.variants import points_of
from tests.designs import factors, study_of
from tests.made import results_of, row_of, write_results

NAIL = {"key": "constructs.nail-10.nail.diameter_mm", "label": "nail", "values": [9.0, 10.0, 11.0]}
WIDE = {"key": "femur.length_mm", "label": "length", "low": 420.0, "high": 440.0}


def _plan_of(demo: dict[str, Any], *constructs: str, **design: Any) -> Any:
    kept = [one for one in demo["constructs"] if one["name"] in constructs]
    return plan(study_of(demo | {"constructs": kept}, **design))


def test_points_are_listed_and_no_more_than_a_person_reads(demo: dict[str, Any], capsys: Any):
    cube = {"kind": "latin_hypercube", "samples": 30, "seed": 1, "factors": [NAIL, WIDE]}
    planned = _plan_of(demo, "nail-10", **cube)
    print_plan(planned.study, planned)
    said = capsys.readouterr().out
    assert "A design of 30 variants over nail, length; " in said
    listed = [line for line in said.splitlines() if line.startswith("v0") and ": nail = " in line]
    first = planned.variants[0].point
    assert listed[0] == f"v001: nail = {first[NAIL['key']]:g}, length = {first[WIDE['key']]:.4g}"
    assert len(listed) == 8
    assert "... and 22 more; design.csv of the run lists all." in said
    assert "too few" not in said


@pytest.mark.parametrize(
    ("design", "few"),
    [
        ({"kind": "grid", "factors": [NAIL]}, "3 different points"),
        ({"kind": "grid", "factors": [NAIL | {"values": [9.0, 9.5, 10.0, 11.0]}]}, ""),
        (
            {"kind": "latin_hypercube", "samples": 4, "seed": 1, "factors": [NAIL, WIDE]},
            "4 different points",
        ),
        ({"kind": "latin_hypercube", "samples": 5, "seed": 1, "factors": [NAIL, WIDE]}, ""),
        ({"kind": "sobol_sequence", "samples": 2, "seed": 1, "factors": [WIDE]}, "2 different points"),
        ({"kind": "one_at_a_time", "factors": [NAIL]}, ""),
        ({"kind": "paired", "factors": [NAIL]}, ""),
        ({"kind": "grid", "factors": [{"key": "mesh.level", "values": ["coarse", "fine"]}]}, ""),
    ],
)
def test_too_few_points_are_told_before_the_run(
    demo: dict[str, Any], capsys: Any, design: dict[str, Any], few: str
):
    planned = _plan_of(demo, "nail-10", **design)
    print_plan(planned.study, planned)
    said = " ".join(capsys.readouterr().out.split())
    assert (f"{few} that can be built are too few for indices over " in said) == bool(few)
    least = f"The least is {3 + len(design['factors'])};"
    assert (least in said) == bool(few)


def test_points_that_can_not_be_built_do_not_count(demo: dict[str, Any]):
    """A femur of 400 mm is too short for the nail."""
    lengths = {"key": "femur.length_mm", "values": [420.0, 430.0, 440.0, 445.0]}
    assert too_few(_plan_of(demo, "nail-10", kind="grid", factors=[lengths])) == ""
    lengths["values"] = [420.0, 430.0, 440.0, 400.0]
    planned = _plan_of(demo, "nail-10", kind="grid", factors=[lengths])
    assert [one.name for one in planned.refused] == ["v004"]
    assert "3 different points" in too_few(planned)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_least_number_is_what_the_indices_need(demo: dict[str, Any], tmp_path: Path, count: int):
    """Held against the indices themselves, one point fewer and as many."""
    for samples, has_indices in ((least_points(count) - 1, False), (least_points(count), True)):
        cube = {"kind": "latin_hypercube", "samples": samples, "seed": 1, "factors": factors(count)}
        study = study_of(demo, **cube)
        what = ("axial_stiffness", "sections", "N/mm")
        results = [
            row_of("nail-10", what, sum(map(float, point.values.values())), variant=point.name)
            for point in points_of(study)
        ]
        write_results(tmp_path, results)
        rows = list(sensitivity_rows(study, set(), results_of(tmp_path)))
        assert {row["value"] != "" for row in rows if row["index"] == "ST"} == {has_indices}
        assert (
            any(f"the least is {least_points(count)}" in str(row["note"]) for row in rows)
            != has_indices
        )


def test_limits_of_what_hangs_are_said_before_the_run(demo: dict[str, Any], capsys: Any):
    """Definition: those of the largest case; a reduced model has one where there is one."""
    planned = plan(parse_study(demo | {"explore": True}, "demo"))
    twin = max(item.work.allowed(None).twin_s for item in planned.items)
    print_plan(planned.study, planned)
    said = " ".join(capsys.readouterr().out.split())
    assert f"a reduced model {spoken(twin)} (20 times the forecast, 10 min at least; " in said
    planned = plan(parse_study(demo, "demo"))
    print_plan(planned.study, planned, 90)
    said = " ".join(capsys.readouterr().out.split())
    assert "a mesh may take 90 min, a stage 90 min (as asked; --time-limit MINUTES)" in said


def _said_of(study: Any, capsys: Any) -> str:
    planned = plan(study)
    print_plan(study, planned)
    return " ".join(capsys.readouterr().out.split())


def test_numbers_and_nouns_agree(bench_study: str, demo: dict[str, Any], capsys: Any):
    tubes = tomllib.loads(bench_study)
    one = tubes | {"constructs": tubes["constructs"][:1], "loads": tubes["loads"][:1]}
    said = _said_of(parse_study(one, "tube"), capsys)
    assert "1 case on 1 mesh at level coarse, 1 solution. 1 load by superposition: it is a sum" in said
    said = _said_of(parse_study(tubes, "tubes"), capsys)
    assert "2 cases on 2 meshes at level coarse, 2 solutions. 2 loads by superposition: each is" in said
    said = _said_of(study_of(demo, kind="grid", factors=[NAIL | {"values": [9.0]}]), capsys)
    assert "A design of 1 variant over nail;" in said


def test_a_specimen_has_no_gap_and_its_own_height(bench_study: str, demo: dict[str, Any], capsys: Any):
    """Definition: a tube of 40 mm is loaded 40 mm above its held end, and has no knee and no gap."""
    tubes = tomllib.loads(bench_study)
    said = _said_of(parse_study(tubes, "tubes"), capsys)
    assert "through the gap" not in said
    assert "heights from the held end of thin." in said
    assert "0, 0, 40" in said
    mixed = tubes | {"constructs": [*tubes["constructs"], {"kind": "intact", "name": "whole"}]}
    for study in (parse_study(mixed, "mixed"), parse_study(demo, "demo")):
        said = _said_of(study, capsys)
        assert "What they send through the gap" in said
        assert "heights from the knee end." in said
