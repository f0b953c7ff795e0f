"""Flags travel: a marked value and the footnote in all that is printed or exported of a run."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pipeline.cli.shown.results import print_results
from pipeline.output.exports import Print, export
from pipeline.output.tables import short_table
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import read_table
from pipeline.tables.flagged import FOOTNOTE, MARK
from tests.made import write_comparisons, write_results
from tests.output.test_exports import XLSX, cells_of
from tests.runs import asked, write_run

PULLED, STRAINED = "bonded gap tissue is pulled", "gap strain 35 % (closing, at the rim)"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fabricated run of the demo in which the nail alone is flagged, under the hip's load."""
    folder = write_run(tmp_path_factory.mktemp("flagged") / "run")
    rows = read_table(folder / "results.csv")
    for row in rows:
        if (row["construct"], row["load"]) == ("nail-10", "hip"):
            row |= {"flags": f"{STRAINED}; {PULLED}"}
    write_results(folder, rows)
    write_comparisons(folder, {"nail-10": "mid", "nail-10-plate": "mid"})
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
