"""Curves as they are drawn: where their rows say, kinks as circles, nothing where there is nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure

from pipeline.output.dots import HUES
from pipeline.output.exports import Print, export
from pipeline.output.growth import MOST_LINES, Growth, by_curve, draw, growths, printed
from pipeline.output.report.growing import curve_charts
from pipeline.output.report.run import ReportedRun
from pipeline.storage.files import read_table
from tests.made import write_run
from tests.output.growing import NAIL, curve_rows, some_curves, write_curves
from tests.output.report.made_up import HOSTILE, NAMES, rows_of, study_of


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> ReportedRun:
    study = study_of(demo)
    out = write_run(tmp_path / "out", study, rows_of())
    write_curves(out, some_curves())
    return ReportedRun(study, out)


def found(run: ReportedRun) -> list[Growth]:
    rows = by_curve(read_table(run.out / "curves.csv"), "atrophic")
    return list(growths(rows, run.study, NAMES))


def test_loads_without_any_kink_and_other_stages_have_no_chart(run: ReportedRun):
    assert [growth.load for growth in found(run)] == ["hip", "torsion"]  # order of the study


def test_torsion_shows_rotation_over_torque_and_a_force_movement(run: ReportedRun):
    axial, torsion = found(run)
    assert (axial.x, axial.y) == ("movement of the far cortex, mm", "force, N")
    assert (torsion.x, torsion.y) == ("rotation of the gap, deg", "torque, N·m")
    nail = torsion.lines[0]
    # 10 N·m and 1000 N in the demo; movement takes the sense of the load: definition
    assert nail.up == pytest.approx([10 * factor for factor, *_ in NAIL])
    assert nail.across == pytest.approx([turned if at > 0 else -turned for at, _, turned, _ in NAIL])
    assert axial.lines[0].up[-1] == 1000.0


def test_kinks_are_open_circles_where_they_are(run: ReportedRun):
    axes = Figure().add_subplot()
    _, torsion = found(run)
    draw(axes, torsion, HUES)
    (circles,) = [line for line in axes.lines if line.get_marker() == "o" and len(line.get_xdata())]
    assert circles.get_markerfacecolor() == "white"
    assert list(circles.get_xdata()) == pytest.approx([-3.129, 4.117, 5.519])
    assert list(circles.get_ydata()) == pytest.approx([-0.043, 0.039, 6.211])


def test_a_curve_that_ends_in_a_flag_has_a_dagger_there_and_says_so(run: ReportedRun):
    ends = ("plate", "hip", 1)
    where = ("construct", "load", "factor")
    rows = [
        row | {"flags": "pulled" if ends == tuple(row[name] for name in where) else ""}
        for row in some_curves()
    ]
    write_curves(run.out, rows)
    charts = {chart.title: chart for chart in curve_charts(ReportedRun(run.study, run.out))}
    told = {title: (chart.svg.count("†"), "†" in chart.note) for title, chart in charts.items()}
    assert told == {
        "Movement of the far cortex as load hip grows": (1, True),
        "Rotation of the gap as load torsion grows": (0, False),
    }


def test_the_page_says_what_it_draws_in_cells_of_the_table(run: ReportedRun):
    axial, torsion = curve_charts(run)
    assert axial.title == "Movement of the far cortex as load hip grows"
    assert axial.words == (
        "Movement of the far cortex as load hip grows: nail-10 1.94 mm at 1.00 of the load, kinks 2, "
        "the first at 1.27 mm and 0.00390 of the load; plate 0.621 mm at 1.00 of the load, all but "
        "straight."
    )
    assert "nail-10 6.02 deg at 1.00 of the load" in torsion.words
    assert "free play" in torsion.note
    assert "force, N" in axial.svg
    assert "nail-10" in axial.svg


def test_a_run_without_curves_has_no_chart(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo)
    out = write_run(tmp_path / "out", study, rows_of())
    assert not list(curve_charts(ReportedRun(study, out)))
    export(out, tmp_path / "export", study, Print(("svg",)))
    assert not list((tmp_path / "export" / "figures").glob("load-curves*"))


def test_exports_have_all_loads_in_one_figure(run: ReportedRun, tmp_path: Path):
    export(run.out, tmp_path, run.study, Print(("svg",)))
    text = (tmp_path / "figures" / "load-curves.svg").read_text(encoding="utf-8")
    assert all(words in text for words in ("load hip", "load torsion", "torque, N·m", "nail-10"))
    assert "load-curves: " in (tmp_path / "captions.txt").read_text(encoding="utf-8")
    assert len(printed(found(run), HUES).axes) == 2


def test_many_constructs_and_hostile_names_are_drawn_as_text(run: ReportedRun):
    names = [HOSTILE, *(f"n{number}" for number in range(12))]
    rows = [row for name in names for row in curve_rows(name, "torsion", NAIL)]
    texts = [{key: str(value) for key, value in row.items()} for row in rows]
    (growth,) = growths(by_curve(texts, "atrophic"), run.study, names)
    assert len(growth.lines) == MOST_LINES
    figure = printed([growth], HUES)
    figure.savefig(run.out / "many.svg")
    looks = {(line.get_color(), line.get_linestyle()) for line in figure.axes[0].lines[2::2]}
    assert len(looks) == MOST_LINES


def test_cells_that_are_no_numbers_are_passed_over(run: ReportedRun):
    rows = some_curves()
    rows[3] |= {"gap_rotation_deg": "lots"}
    write_curves(run.out, rows)
    _, torsion = found(run)
    assert len(torsion.lines[0].up) == len(NAIL) - 1
    assert len(list(curve_charts(run))) == 2
