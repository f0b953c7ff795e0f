"""Curves from a case's record to the run's table, into a bundle and out of it."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

import pytest

from pipeline.fem.mesh import Mesh
from pipeline.measures.curves import CURVE_COLUMNS, CurvePoint
from pipeline.run.clock import Clock
from pipeline.run.curves import RUN_CURVE_COLUMNS, curve_ends, write_curves
from pipeline.run.jobs import Outcome
from pipeline.run.planning import cases
from pipeline.run.record import store_case
from pipeline.run.solving import CaseResult
from pipeline.sharing.bundle import bundle
from pipeline.sharing.opening import opened
from pipeline.storage.casebook import CURVES, fault_of, folder_of
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from pipeline.tables.rows import Row
from tests.made import row_of, write_case, write_run

POINTS = (
    CurvePoint("twist", -0.75, 1.25, -0.5, 2.5, 311.5, "bolt_2", ("bolt_2", "canal_distal"), False),
    CurvePoint("twist", 0.0, 0.0, 0.0, 0.0, 0.0, "nail", (), False),
    CurvePoint("twist", 0.1875, 0.625, -0.25, 1.5, 97.25, "nail", ("bolt_1",), True),
    CurvePoint("axial", 1.0, 3.5, -3.25, 0.5, None, "", ("canal_distal",), False),
)


def stored(case: Any, mesh: Mesh, out: Path, points: tuple[CurvePoint, ...] = POINTS) -> None:
    result = CaseResult(mesh, None, (), {}, {}, {}, {}, tuple(("soft", one) for one in points))
    store_case(case, result, Clock(), out, keep="none")


def test_a_table_has_what_was_measured(small: Mesh, demo: dict[str, Any], tmp_path: Path):
    _, case, other, lost, *_ = cases(parse_study(demo, "demo"))
    stored(case, small, tmp_path)
    stored(other, small, tmp_path, points=())
    outcomes = [Outcome(case, "", 1.0), Outcome(other, "", 1.0), Outcome(lost, "no mesh", 1.0)]
    write_curves(outcomes, tmp_path)
    rows = read_table(tmp_path / CURVES)
    assert tuple(rows[0]) == RUN_CURVE_COLUMNS
    assert [row["construct"] for row in rows] == [case.name] * len(POINTS)
    assert {row["interfaces"] for row in rows} == {case.construct.interfaces}
    for row, point in zip(rows, POINTS, strict=True):
        said = (row["load"], row["stage"], row["stress_part"], row["bearing"], row["kink"])
        bearing = " ".join(point.bearing)
        assert said == (point.load, "soft", point.part, bearing, "yes" if point.is_kink else "")
        numbers = [row[name] for name in CURVE_COLUMNS[2:6]]
        expected = [point.factor, point.movement, point.axial, point.rotation]
        assert [float(one) for one in numbers] == expected
        assert row["stress_MPa"] == ("" if point.stress is None else f"{point.stress:g}")
    assert not (folder_of(tmp_path, other.address) / CURVES).exists()
    assert not fault_of(tmp_path, case.address)


def test_flags_of_the_whole_load_stand_at_its_end_alone(
    small: Mesh, demo: dict[str, Any], tmp_path: Path
):
    _, case, *_ = cases(parse_study(demo, "demo"))
    stored(case, small, tmp_path)
    usual = {"construct": case.name, "stage": "soft", "value": 1.0}
    rows = [
        Row(**usual, load="axial", quantity="gap_movement", location="far", flags="large; pulled"),
        Row(**usual, load="axial", quantity="von_mises_5mm3", location="nail", flags="pulled; yields"),
        Row(**usual, load="axial", quantity="axial_stiffness", flags="soft"),  # in no curve
        Row(**usual, load="twist", quantity="gap_rotation", flags="turned"),  # and its end is not held
    ]
    write_curves([Outcome(case, "", 1.0)], tmp_path, curve_ends(rows))
    flags = {(row["load"], row["factor"]): row["flags"] for row in read_table(tmp_path / CURVES)}
    assert flags.pop(("axial", "1")) == "large; pulled; yields"
    assert set(flags.values()) == {""}


def test_no_table_of_an_earlier_run_stays(tmp_path: Path):
    (tmp_path / CURVES).write_text("old\n")
    write_curves([], tmp_path)
    assert not (tmp_path / CURVES).exists()


def test_a_bundle_holds_the_curves_of_its_cases(demo: dict[str, Any], tmp_path: Path):
    out = tmp_path / "run"
    study = parse_study(demo, "demo")
    write_run(out, study, [row_of("nail-10", ("gap_shear_movement", "far", "mm"), 1.0)])
    (address,) = {path.name for path in (out / "cases").iterdir()}
    write_case(out, address, curves=[point.cells("soft") for point in POINTS])
    (out / CURVES).write_text((folder_of(out, address) / CURVES).read_text())
    target = bundle(out, tmp_path / "run.zip")
    assert f"cases/{address}/{CURVES}" in zipfile.ZipFile(target).namelist()
    folder = opened(target, tmp_path / "opened")
    assert len(read_table(folder / CURVES)) == len(POINTS)
    assert not fault_of(folder, address)


@pytest.mark.parametrize("name", CURVE_COLUMNS)
def test_every_column_has_a_cell(name: str):
    assert all(name in point.cells("soft") for point in POINTS)
