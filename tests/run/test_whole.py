"""Cases of whole bone, solved together and read each at its gap."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.run.alike import VariedCase
from pipeline.run.complete import _jobs
from pipeline.run.jobs import complete_case
from pipeline.run.planning import Plan, plan
from pipeline.run.whole import complete_whole
from pipeline.storage.casebook import ROWS, folder_of, read_record
from pipeline.study.config import parse_study
from pipeline.tables.rows import REQUIRED, Row, read_results


@pytest.fixture
def swept(demo: dict[str, Any]) -> dict[str, Any]:
    """A nail over gaps of fourteen lengths, of which the intact femur is the reference."""
    demo["constructs"] = [one for one in demo["constructs"] if one["name"] == "nail-10"]
    demo["loads"] = [one for one in demo["loads"] if one["name"] in ("hip", "torsion")]
    factor = {"key": "defect.gap_mm", "values": [2.0 + 0.5 * k for k in range(14)]}
    demo["design"] = {"kind": "grid", "factors": [factor]}
    return demo


def jobs_of(planned: Plan, out: Path) -> list[Any]:
    """Jobs of a plan of which nothing but its first case is finished."""
    waiting = dict([*planned.distinct.items()][1:])
    return list(_jobs(planned, waiting, out, "none", {}, None))


def test_whole_bone_of_many_gaps_is_a_few_jobs_on_one_mesh(swept: dict[str, Any], tmp_path: Path):
    # By hand: fourteen cases of the intact femur, twelve to a job; the first is finished and counts.
    planned = plan(parse_study(swept, "swept"))
    made = [job for job in jobs_of(planned, tmp_path) if job.work is complete_whole]
    waits = [[one.waits for one in job.arguments[0]] for job in made]
    assert waits == [[False] + 11 * [True], 2 * [True]]
    assert len({job.after for job in made}) == 1
    assert {one.case.is_whole for job in made for one in job.arguments[0]} == {True}


@pytest.mark.slow
def test_what_is_solved_together_is_what_each_would_have_alone(swept: dict[str, Any], tmp_path: Path):
    # Superposition: loads of other names and sizes beside it, and another gap, change no result.
    swept["design"]["factors"] = [
        {"key": "defect.gap_mm", "values": [4.0, 19.0]},
        {"key": "loads.hip.force_n", "values": [310.0, 740.0]},
    ]
    planned = plan(parse_study(swept, "swept"))
    cases = [item.case for item in planned.distinct.values() if item.case.is_whole]
    assert len(cases) == 4
    alone, out = tmp_path / "alone", tmp_path / "out"
    outcomes = complete_whole([VariedCase(one, {}, one is not cases[0]) for one in cases], out, "none")
    assert [one.case for one in outcomes] == cases[1:]
    assert not any(one.failure or one.failed_stages for one in outcomes)
    complete_case(cases[2], alone, "none")
    found, expected = (rows(place, cases[2].address) for place in (out, alone))
    assert found.keys() == expected.keys()
    largest: dict[tuple[str, str], float] = {}
    for (load, quantity, _), row in expected.items():
        largest[load, quantity] = max(largest.get((load, quantity), 0.0), abs(row.value or 0.0))
    for key, row in expected.items():
        size = largest[key[:2]]
        if size > 1e-6 and not key[1].endswith("_residual"):
            assert found[key].value == pytest.approx(row.value, rel=1e-6, abs=1e-6 * size), key
        if abs(row.value or 0.0) > 1e-2 * size > 1e-8 and row.error is not None:
            assert found[key].error == pytest.approx(row.error, rel=0.01), key
    other = rows(out, cases[3].address)
    assert other["hip", "gap_movement", "far"].value != found["hip", "gap_movement", "far"].value
    records = [read_record(folder_of(place, cases[2].address)) for place in (out, alone)]
    assert records[0]["mesh_hash"] == records[1]["mesh_hash"]
    assert records[0]["gap_mm"] == cases[2].own_defect.gap_mm


def rows(out: Path, address: str) -> dict[tuple[str, str, str], Row]:
    """Rows of a stored case by load, quantity and location."""
    read = read_results(folder_of(out, address) / ROWS, REQUIRED)
    return {(row.load, row.quantity, row.location): row for row in read}
