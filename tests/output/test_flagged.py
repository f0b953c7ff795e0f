"""Flags travel: a marked value and the footnote in all that is printed or exported of a run."""

from __future__ import annotations

import re
import zipfile
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pipeline.cli.shown.results import print_results
from pipeline.output.dots import CHARTS, draw_chart
from pipeline.output.exports import Print, export
from pipeline.output.indices import draw_indices
from pipeline.output.tables import short_table
from pipeline.storage.caution import CAUTION, CAUTION_SHORT
from pipeline.storage.files import read_table, write_table
from pipeline.sweeps.sensitivity import SENSITIVITY_COLUMNS, sensitivity_rows
from pipeline.tables.flagged import FOOTNOTE, MARK
from tests.designs import fabricate, share, study_of
from tests.made import results_of, row_of, write_comparisons, write_results
from tests.output.growing import some_curves, write_curves
from tests.output.test_exports import XLSX, cells_of
from tests.runs import asked, write_run

LOADS = ("hip", "torsion")
SVG = "{http://www.w3.org/2000/svg}"
PULLED, STRAINED = "bonded gap tissue is pulled", "gap strain 35 % (closing, at the rim)"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fabricated run of the demo, with curves; the nail alone is flagged, under the hip's load."""
    folder = write_run(tmp_path_factory.mktemp("flagged") / "run")
    rows = read_table(folder / "results.csv")
    rows += [row_of("nail-10", ("gap_movement", "far", "mm"), 1.943, load=load) for load in LOADS]
    for row in rows:
        if (row["construct"], row["load"]) == ("nail-10", "hip"):
            row |= {"flags": f"{STRAINED}; {PULLED}"}
    write_results(folder, rows)
    write_comparisons(folder, {"nail-10": "mid", "nail-10-plate": "mid"})
    write_curves(folder, some_curves())
    return folder


@pytest.fixture(scope="module")
def out(run: Path) -> Path:
    """What is exported of it."""
    export(run, run.parent / "out", asked(), Print())
    return run.parent / "out"


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same run without any flag."""
    folder = write_run(tmp_path_factory.mktemp("sound") / "run")
    write_comparisons(folder, {})
    return folder


def letter(number: int) -> str:
    """Name of a column of a sheet, counted from 0; of the first 52."""
    return "A" * (number > 25) + chr(ord("A") + number % 26)


def plain_text(latex: str) -> str:
    """LaTeX as it is read on paper, as far as these tables use it."""
    text = latex.replace(r"\textdagger{}", "†").replace(r"$-$", "-").replace(r"$\pm$", "±")
    return re.sub(r"\\([%_&#$])", r"\1", text)


def texts_of(svg: Path) -> list[str]:
    """Texts of a drawing, one by one."""
    return ["".join(one.itertext()).strip() for one in ElementTree.parse(svg).iter(f"{SVG}text")]


def test_the_short_table_marks_flagged_values_alone_and_says_why(run: Path):
    short = short_table(run, "atrophic", "hip")
    lines = {name: [cell.text for cell in cells] for name, cells in short.lines}
    assert lines["nail-10"] == [f"-0.830 {MARK}", f"0.517 {MARK}", "1.93"]  # torsion is sound
    assert not [text for text in lines["nail-10-plate"] if MARK in text]
    assert short.legend[-1] == FOOTNOTE
    (reason,) = short.flagged
    assert reason.text == f"{MARK} nail-10, atrophic, hip: {STRAINED}; {PULLED}"


def test_nothing_is_said_of_flags_where_there_are_none(sound: Path):
    short = short_table(sound, "atrophic", "hip")
    assert not short.flagged
    assert not [line for line in short.legend if MARK in line]


def test_the_terminal_prints_mark_footnote_and_reason(run: Path, capsys: pytest.CaptureFixture[str]):
    print_results(asked(), run)
    said = " ".join(capsys.readouterr().out.split())
    assert f"0.517 {MARK}" in said
    assert FOOTNOTE in said
    assert f"{MARK} nail-10, atrophic, hip: {STRAINED}; {PULLED}" in said


def test_latex_has_the_mark_in_the_cell_and_the_footnote_below(out: Path):
    main = plain_text((out / "main-table.tex").read_text(encoding="utf-8"))
    assert rf"nail-10 & -0.830 {MARK} & 0.517 {MARK} & 1.93 \\" in main
    assert r"nail-10-plate & +0.310 & 0.204 & 4.21 \\" in main
    notes = main.partition(r"\end{tabular}")[2]
    assert all(words in notes for words in (FOOTNOTE, f"{STRAINED}; {PULLED}", CAUTION))
    long = plain_text((out / "results.tex").read_text(encoding="utf-8"))
    marked = {line.partition(" & ")[0] for line in long.splitlines() if f" {MARK} & " in line}
    assert marked == {"nail-10"}
    assert FOOTNOTE in long


def test_the_main_table_as_csv_says_why_in_its_last_column(out: Path):
    rows = {row["construct"]: row for row in read_table(out / "main-table.csv")}
    assert rows["nail-10"]["shear far, remark"] == MARK
    assert rows["nail-10"][f"{MARK} flags"] == f"hip: {STRAINED}; {PULLED}"
    assert rows["nail-10-plate"][f"{MARK} flags"] == ""


def test_the_spreadsheet_opens_with_the_caution_and_has_it_as_a_property(out: Path):
    said = [cell for row in cells_of(out / "tables.xlsx", 1) for cell in row]
    assert said[1:] == [CAUTION, FOOTNOTE]
    with zipfile.ZipFile(out / "tables.xlsx") as parts:
        book = ElementTree.fromstring(parts.read("xl/workbook.xml"))
        core = ElementTree.fromstring(parts.read("docProps/core.xml"))
    assert next(one.get("name") for one in book.iter() if one.tag.endswith("}sheet")) == "caution"
    assert [one.text for one in core.iter() if one.tag.endswith("}description")] == [CAUTION]


@pytest.mark.parametrize(("sheet", "beside"), [(3, "value"), (4, "verdict")])
def test_sheets_mark_flagged_rows_next_to_what_they_say(out: Path, sheet: int, beside: str):
    head = cells_of(out / "tables.xlsx", sheet)[0]
    assert head[head.index(beside) + 1] == "mark"
    with zipfile.ZipFile(out / "tables.xlsx") as parts:
        rows = ElementTree.fromstring(parts.read(f"xl/worksheets/sheet{sheet}.xml")).iter(f"{XLSX}row")
        filled = [
            {
                re.sub(r"\d", "", str(cell.get("r"))): "".join(cell.itertext())
                for cell in row.iter(f"{XLSX}c")
            }
            for row in rows
        ]
    mark, flags = (letter(head.index(name)) for name in ("mark", "flags"))
    marked = [MARK in row.get(mark, "") for row in filled[1:]]
    assert marked == [PULLED in row.get(flags, "") for row in filled[1:]]
    assert any(marked)
    assert not all(marked)


def test_every_exported_chart_carries_the_caution(out: Path):
    charts = {path.stem: texts_of(path) for path in (out / "figures").glob("*.svg")}
    assert set(charts) == {"gap-movement", "stiffness", "implant-stress", "load-curves"}
    assert all(CAUTION_SHORT in texts for texts in charts.values())


def test_charts_mark_what_is_flagged_with_the_footnote_in_image_and_caption(out: Path):
    captions = (out / "captions.txt").read_text(encoding="utf-8").split("\n\n")
    of_chart = {name: words for name, _, words in (caption.partition(": ") for caption in captions)}
    marks = {"gap-movement": 2, "stiffness": 0, "implant-stress": 1, "load-curves": 1}
    for name, count in marks.items():
        texts = texts_of(out / "figures" / f"{name}.svg")
        assert texts.count(MARK) == count
        assert (FOOTNOTE in texts) == (FOOTNOTE in of_chart[name]) == bool(count)
    assert of_chart["gap-movement"].endswith("Marked: nail-10 (atrophic).")
    assert of_chart["load-curves"].endswith("Marked: nail-10 (hip).")


def test_a_mark_stands_at_the_value_that_is_flagged(run: Path):
    (page,) = draw_chart(CHARTS[0], results_of(run), ["atrophic"], "hip")
    marked = [(*text.xy,) for axes in page.axes for text in axes.texts]
    assert marked == [(-0.83, 0), (0.517, 0)]  # of tests/runs.py; the first row is that of the nail


def test_sensitivity_says_at_how_many_points_a_result_is_flagged(demo, tmp_path: Path):
    study = study_of(demo, kind="one_at_a_time")
    fabricate(study, tmp_path, lambda values: 10 + share(values, 0))
    results = results_of(tmp_path)
    doubted = [replace(row, flags=PULLED) for row in results[:2]] + results[2:]
    for rows, is_marked in ((doubted, True), (results, False)):
        table = sensitivity_rows(study, (), rows)
        assert {f"{MARK} flagged at 2 of {len(results)} points" in row["note"] for row in table} == {
            is_marked
        }
        write_table(tmp_path / "sensitivity.csv", table, SENSITIVITY_COLUMNS)
        texts = texts_of(draw_indices(tmp_path, "woven", "hip")[1])
        assert (f"axial stiffness, sections {MARK}" in texts) == (FOOTNOTE in texts) == is_marked
        write_comparisons(tmp_path, {})
        shown = study.model_copy(update={"show": study.show.model_copy(update={"stage": "woven"})})
        export(tmp_path, tmp_path / "export", shown, Print(("svg",)))
        captions = (tmp_path / "export" / "captions.txt").read_text(encoding="utf-8")
        assert (FOOTNOTE in captions) == is_marked
