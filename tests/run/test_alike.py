"""Cases that differ in materials and loads alone: a twin answers for most, in full where it can not."""

from __future__ import annotations

import shutil
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipeline.measures.columns import REDUCED, ROUND_OFF
from pipeline.run.alike import IN_FULL, VariedCase, complete_alike, spread_out
from pipeline.run.case import Case
from pipeline.run.complete import _jobs
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Planned, plan
from pipeline.run.record import REDUCED_STAGES
from pipeline.run.whole import complete_whole
from pipeline.storage.casebook import ROWS, fault_of, folder_of, read_record
from pipeline.study.config import parse_study
from pipeline.tables.rows import REQUIRED, Row, read_results
from tests.kills.commands import ROOT
from tests.models import SHORT_PLATE, case_of, specimen

FORCES = (-500.0, -700.0, -900.0, -1100.0, -1300.0)
STIFF = specimen(30.0, 8.0, (15.0, 9.0, "cortical"), (9.0, 4.0, "titanium"))
OTHER = specimen(30.0, 8.0, (15.0, 9.0, "cortical"), (9.0, 4.0, "steel"))


def case(construct: dict[str, object], force: float) -> Case:
    """A specimen under one force."""
    load = {"name": "pull", "kind": "end_force", "proximal_n": force, "medial_n": 20.0}
    return replace(case_of(construct, "coarse", loads=[load]), variant=f"f{-force:g}")


@pytest.fixture(scope="module")
def ended(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Case], tuple[Outcome, ...]]:
    """Ten specimens of two metals under five forces, completed together."""
    out = tmp_path_factory.mktemp("alike")
    cases = [case(construct, force) for construct in (STIFF, OTHER) for force in FORCES]
    return out, cases, complete_alike([VariedCase(one, {}) for one in cases], out, "none")


def rows_of(out: Path, case: Case) -> dict[tuple[str, str], Row]:
    stored = read_results(folder_of(out, case.address) / ROWS, REQUIRED)
    return {(row.quantity, row.location): row for row in stored}


def test_every_case_is_there_once_and_whole(ended: tuple[Path, list[Case], tuple[Outcome, ...]]):
    out, cases, outcomes = ended
    assert sorted(one.case.label for one in outcomes) == sorted(one.label for one in cases)
    assert all(not one.failure and not fault_of(out, one.case.address) for one in outcomes)
    reduced = [
        one for one in cases if REDUCED_STAGES in read_record(folder_of(out, one.address))["facts"]
    ]
    assert len(reduced) == len(cases) - IN_FULL


def test_rows_say_what_gave_them_and_how_far_it_may_be_off(
    ended: tuple[Path, list[Case], tuple[Outcome, ...]],
):
    out, cases, _ = ended
    for one in cases:
        is_reduced = REDUCED_STAGES in read_record(folder_of(out, one.address))["facts"]
        rows = rows_of(out, one)
        said = [row.mesh for row in rows.values() if row.mesh not in ("", ROUND_OFF)]
        assert all(words.startswith(REDUCED) == is_reduced for words in said)
        moved = rows["proximal_movement", "proximal_end"]
        assert moved.error is not None
        assert moved.error > 0


def test_answers_grow_with_the_load_and_with_nothing_else(
    ended: tuple[Path, list[Case], tuple[Outcome, ...]],
):
    # Hooke: twice the force along the axis moves twice as far; the bending force is the same in all, so
    # movements of two pairs with the same difference of force differ by the same.
    out, cases, _ = ended
    of_titanium = [rows_of(out, one)["section_axial_force", "middle"].number for one in cases[:5]]
    assert of_titanium == pytest.approx(FORCES, rel=2e-3)


def test_first_and_farthest_cases_are_solved_in_full():
    cases = [replace(case(STIFF, force), variant=f"v{k}") for k, force in enumerate(FORCES)]
    assert spread_out(cases)[0] == 0
    assert len(spread_out(cases)) == IN_FULL


@pytest.mark.slow
def test_a_stage_that_no_numbers_give_is_solved_in_full_beside_the_others(tmp_path: Path):
    # United tissue is cortex, softer across the shaft than along it, and no isotropic material; over an
    # empty gap nothing but a plate holds the fragments. Neither is in the ranges of a twin.
    plate = {"kind": "plate", "name": "plate", "plate": SHORT_PLATE}
    loads = [[{"name": "hip", "kind": "hip_force", "force_n": 500.0 + 50 * k}] for k in range(5)]
    cases = [
        replace(case_of(plate, "coarse", ("atrophic", "united"), one), variant=f"v{k}")
        for k, one in enumerate(loads)
    ]
    outcomes = complete_alike([VariedCase(one, {}) for one in cases], tmp_path, "none")
    assert len(outcomes) == len(cases)
    assert not any(one.failure or one.failed_stages for one in outcomes)
    for one in cases:
        facts = read_record(folder_of(tmp_path, one.address))["facts"]
        stages = {row.stage for row in read_results(folder_of(tmp_path, one.address) / ROWS, REQUIRED)}
        assert stages == {"atrophic", "united"}
        assert facts.get(REDUCED_STAGES, 1) == 1
    assert sum(REDUCED_STAGES in read_record(folder_of(tmp_path, c.address))["facts"] for c in cases)


@pytest.mark.slow
def test_after_a_stop_the_same_cases_are_solved_in_full(
    ended: tuple[Path, list[Case], tuple[Outcome, ...]], tmp_path: Path
):
    """Finished cases count among those that are alike, and are left as they are."""
    whole, cases, _ = ended
    out = tmp_path / "out"
    shutil.copytree(whole, out)
    lost = cases[3:]
    for one in lost:
        shutil.rmtree(folder_of(out, one.address))
    outcomes = complete_alike([VariedCase(one, {}, one in lost) for one in cases], out, "none")
    assert sorted(one.case.label for one in outcomes) == sorted(one.label for one in lost)
    for one in cases:
        folder = folder_of(out, one.address)
        assert (folder / ROWS).read_bytes() == (folder_of(whole, one.address) / ROWS).read_bytes()


def test_what_is_left_of_a_design_is_completed_as_all_of_it(tmp_path: Path):
    """By hand: of twelve cases that are alike seven wait; all twelve go to one job that says which."""
    study = tomllib.loads((ROOT / "tests" / "kills" / "design.toml").read_text(encoding="utf-8"))
    planned = plan(parse_study(study, "design"))
    waiting = dict([*planned.distinct.items()][5:])
    served: dict[str, list[Planned]] = {}
    jobs = list(_jobs(planned, waiting, tmp_path, "none", served, None))
    (job,) = [job for job in jobs if job.work is complete_alike]
    assert [one.waits for one in job.arguments[0]] == [False] * 5 + [True] * 7
    assert [item.case.address for item in served[job.key]] == [*waiting]
    assert not list(_jobs(planned, {}, tmp_path, "none", {}, None))


def test_of_a_design_the_first_point_alone_has_reduced_models_of_its_own():
    study = tomllib.loads((ROOT / "tests" / "kills" / "asked.toml").read_text(encoding="utf-8"))
    study["design"] = {
        "kind": "latin_hypercube", "samples": 4, "seed": 3, "outcomes": ["gap_movement"],
        "factors": [{"key": "loads.hip.force_n", "low": 300.0, "high": 900.0}],
    }  # fmt: skip
    planned = plan(parse_study(study, "asked"))
    asked = [(item.case.variant, item.case.name) for item in planned.items if item.case.has_twin]
    assert asked == [(planned.first[0].case.variant, name) for name in ("titanium", "steel")]


def test_loads_on_other_heads_are_not_alike(demo: dict[str, Any], tmp_path: Path):
    # Statics: a hip force bends by the offset of the head, which no mesh has in it. By hand: twelve
    # nails under a force of their own each are one job, and were it with a head of their own each.
    demo["constructs"] = [one for one in demo["constructs"] if one["name"] == "nail-10"]
    factor = {"low": 30.0, "high": 55.0}
    demo["design"] = {
        "kind": "latin_hypercube", "samples": 12, "seed": 4, "outcomes": ["gap_movement"],
    }  # fmt: skip
    alike = {}
    for key in ("loads.hip.force_n", "femur.head_offset_mm"):
        demo["design"]["factors"] = [factor | {"key": key}]
        planned = plan(parse_study(demo, "demo"))
        jobs = _jobs(planned, planned.distinct, tmp_path, "none", {}, None)
        alike[key] = [job.work for job in jobs if job.work in (complete_alike, complete_whole)]
    assert alike["loads.hip.force_n"] == [complete_alike, complete_whole]
    assert not alike["femur.head_offset_mm"]
