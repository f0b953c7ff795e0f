"""Terminals of any width: no line is longer, and no name, number or path is broken."""

from __future__ import annotations

import re
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from pipeline.cli.commands.draw import draw
from pipeline.cli.shown.plan import print_plan
from pipeline.cli.shown.results import print_results
from pipeline.cli.wide import say_table
from pipeline.loading.statics import actions
from pipeline.output.tables import short_table
from pipeline.run.planning import plan
from pipeline.study.config import load_study
from tests.made import DEMO, row_of, write_run
from tests.runs import asked

EVERY = {  # quantities of the short table, where they are read, and a value as long as they get
    ("gap_axial_movement", "far", "mm"): -12.3456, ("gap_shear_movement", "far", "mm"): 12.3456,
    ("rim_strain", "closing", "%"): 101.23, ("tissue_strain_octahedral", "p50", "%"): 101.23,
    ("load_point_stiffness", "load_point", "N/mm"): 12345.6,
    ("axial_stiffness", "sections", "N/mm"): 123456.7,
    ("torsional_stiffness", "sections", "N·m/deg"): 123.456,
    ("bending_stiffness", "sections", "N·m²"): 1234.5,
    ("von_mises_5mm3", "screw_10", "MPa"): 1234.5,
}  # fmt: skip
NAMES = ("intact-metadiaphysis-3mm", "a-name-of-forty-letters-is-as-long-as-al")


@pytest.fixture(params=[80, 100, 132])
def terminal(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Console:
    """What is printed at some width."""
    console = Console(width=request.param, file=StringIO())
    monkeypatch.setattr("pipeline.cli.console.console", console)
    return console


def said(console: Console) -> str:
    text = console.file.getvalue()
    assert max(map(len, text.splitlines())) <= console.width
    return text


def cells(text: str) -> set[str]:
    """Lines of the cells of tables."""
    return {cell.strip() for cell in re.findall("(?<=│)[^│]*(?=│)", text)}


def test_check_breaks_no_name_and_no_vector(terminal: Console):
    config = load_study(DEMO)
    planned = plan(config)
    print_plan(config, planned)
    there = cells(said(terminal))
    assert {item.case.name for item in planned.first} <= there
    assert {load.name for load in config.loads} <= there
    for load in config.loads:
        for one in actions(load, config.femur, config.femur.top_mm):
            assert one.name in there
            for vector in (one.force, one.point, one.moment / 1000):
                whole = ", ".join(f"{value + 0.0:.0f}" for value in np.round(vector))
                assert not vector.any() or whole in there


def test_the_results_of_a_run_break_no_name_and_no_number(terminal: Console, tmp_path: Path):
    more = {"error": 12.3, "flags": "bone ends overlap"}
    rows = [row_of(name, what, value, **more) for name in NAMES for what, value in EVERY.items()]
    write_run(tmp_path, asked(), rows)
    print_results(asked(), tmp_path)
    there = cells(said(terminal))
    assert {*NAMES} <= there
    lines = {line for _, own in short_table(tmp_path, "atrophic", "hip").lines for cell in own
             for line in cell.text.splitlines()}  # fmt: skip
    assert len(lines) > len(EVERY)
    assert lines <= there


def test_drawings_are_listed_by_whole_paths(terminal: Console, tmp_path: Path):
    study = tmp_path / "one.toml"
    study.write_text(
        """
schema_version = 1
title = "One picture"
stages = [{ name = "empty" }]
loads = [{ kind = "hip_force", name = "stance", force_n = 700.0 }]
constructs = [{ kind = "intact", name = "intact" }]
""",
        encoding="utf-8",
    )
    folder = tmp_path / "a-long-folder" / ("x" * 100)
    draw(study, folder)
    lines = terminal.file.getvalue().splitlines()
    assert lines[:2] == [str(folder / "drawings" / f"intact.{kind}") for kind in ("svg", "png")]
    assert max(map(len, lines[2:])) <= terminal.width


def test_columns_without_anything_are_left_out_and_the_first_stays(terminal: Console):
    say_table("A", ("name", "site", "gap mm"), [("", "", "3")], ("gap mm",))
    text = said(terminal)
    assert "site" not in text
    assert all(heading in text for heading in ("name", "gap mm"))


def test_a_table_without_rows_has_its_headings(terminal: Console):
    say_table("A", ("name", "b"), [])
    assert re.findall(r"name +┃ b", said(terminal))
