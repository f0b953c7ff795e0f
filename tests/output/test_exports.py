"""Exports for a paper: the numbers of the tables, nothing that runs, figures that can be printed."""

from __future__ import annotations

import re
import struct
import zipfile
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from matplotlib.colors import to_rgb
from typer.testing import CliRunner

from geometries.errors import StudyError
from pipeline import cli
from pipeline.errors import OutputError
from pipeline.output import dots, exports, spreadsheet
from pipeline.output.exports import Print, export
from pipeline.output.latex import escaped, long_table, table
from pipeline.output.panels import save
from pipeline.output.spreadsheet import write_sheets
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import read_table, write_table
from pipeline.study.config import parse_study
from pipeline.tables.rows import COLUMNS as RESULT_COLUMNS
from tests import made
from tests.designs import fabricate, share, study_of
from tests.made import results_of, row_of, write_comparisons, write_results
from tests.runs import asked, write_run

XLSX = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"  # ECMA-376


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fabricated run of the demo; the plate over the nail has errors, one value is singular."""
    folder = write_run(tmp_path_factory.mktemp("exports") / "run")
    rows = read_table(folder / "results.csv")
    for row in rows:
        if row["construct"] == "nail-10-plate":
            row |= {"error": "10"}
        if row["quantity"] == "torsional_stiffness" and row["construct"] == "nail-10":
            row |= {"mesh": "three meshes: singular, do not quote"}
    rows.append({"construct": "plate", "stage": "empty", "status": "failed", "reason": "=1+1"})
    write_results(folder, rows)
    write_comparisons(folder, {})
    return folder


@pytest.fixture(scope="module")
def out(run: Path) -> Path:
    """What is exported of it, with figures in all formats."""
    paths = export(run, run.parent / "out", asked(), Print())
    assert all(path.exists() for path in paths)
    return run.parent / "out"


def cells_of(book: Path, sheet: int) -> list[list[object]]:
    """Cells of a sheet, read from the format's own parts; numbers are floats."""
    with zipfile.ZipFile(book) as parts:
        root = ElementTree.fromstring(parts.read(f"xl/worksheets/sheet{sheet}.xml"))
        there = "xl/sharedStrings.xml" in parts.namelist()
        shared = ElementTree.fromstring(parts.read("xl/sharedStrings.xml")) if there else []
        strings = ["".join(one.itertext()) for one in shared]
    assert not list(root.iter(f"{XLSX}f")), "a formula"
    rows = []
    for row in root.iter(f"{XLSX}row"):
        cells: list[object] = []
        for cell in row.iter(f"{XLSX}c"):
            text = "".join(cell.itertext())
            kind = cell.get("t")
            cells.append(strings[int(text)] if kind == "s" else text if kind else float(text))
        rows.append(cells)
    return rows


def test_the_main_table_has_the_numbers_of_the_results(out: Path):
    """Values of tests/runs.py, errors of 10 % of them (definition)."""
    rows = {row["construct"]: row for row in read_table(out / "main-table.csv")}
    assert rows["nail-10"]["shear far, mm"] == "0.517"
    assert rows["nail-10"]["shear far, error"] == ""
    both = rows["nail-10-plate"]
    assert (both["shear far, mm"], both["shear far, error"]) == ("0.204", "0.020")
    assert rows["nail-10"]["torsion, remark"] == "singular"
    assert rows["nail-10"]["torsion, N·m/deg"] == ""
    text = (out / "main-table.tex").read_text(encoding="utf-8")
    assert r"nail-10-plate & +0.310 $\pm$ 0.031 & 0.204 $\pm$ 0.020" in text
    assert r"nail-10 & $-$0.830 & 0.517 &" in text
    assert escaped(CAUTION) in text


def test_latex_has_as_many_cells_in_every_row_and_closes_what_it_opens(out: Path):
    for name, kind in (("main-table.tex", "tabular"), ("results.tex", "longtable")):
        text = (out / name).read_text(encoding="utf-8")
        body = re.sub(r"(?m)^%.*$", "", text)
        (columns,) = re.findall(rf"begin{{{kind}}}{{([lr]+)}}", body)
        rows = [line for line in body.splitlines() if line.endswith(r"\\") and "caption" not in line]
        assert len(rows) > 3
        assert {len(re.findall(r"(?<!\\)&", row)) + 1 for row in rows} == {len(columns)}
        bare = re.sub(r"\\[{}]", "", body)
        assert bare.count("{") == bare.count("}")
        assert re.findall(r"\\begin{(\w+)}", body) == re.findall(r"\\end{(\w+)}", body)[::-1]
        for rule in ("toprule", "midrule", "bottomrule"):
            assert f"\\{rule}" in body


def test_nothing_of_a_study_file_is_a_command_of_latex():
    """The ten special characters of LaTeX (its reference manual), and what ends a row."""
    text = escaped(r"\input{x} $a_b^c$ & 50% #1 ~ [2]")
    assert re.sub(r"\\[a-z]+{}|\\[{}$&#%_]|{\[}|{\]}", "", text) == "inputx abc  50 1  2"
    assert escaped("-0.5 a-b 1e-09") == "$-$0.5 a-b 1e-09"
    assert escaped("a\nb\x07") == "a b"
    assert escaped("--levels 3") == "-{}-levels 3"  # or T1 fonts draw one long dash
    assert escaped("“Ü” μ Ω") == r"“Ü” $\mu$ (U+03A9)"  # inputenc knows Latin letters only
    assert r"a \& b & c \\" in table([["a & b", "c"]], [], "d")
    assert long_table(["a", "b"], [["%", "1"]], "c", 1).count(r"\%") == 1


def test_the_spreadsheet_holds_numbers_texts_and_no_formula(out: Path):
    head, *rows = cells_of(out / "tables.xlsx", 3)
    assert [name for name in head if name != "mark"] == list(RESULT_COLUMNS)
    assert [row for row in rows if 0.517 in row]
    (failed,) = [row for row in rows if "failed" in row]
    assert "'=1+1" in failed
    main = cells_of(out / "tables.xlsx", 2)
    assert main[1][:2] == ["nail-10", pytest.approx(-0.83)]


def test_text_stays_text_in_a_spreadsheet(tmp_path: Path):
    path = tmp_path / "a.xlsx"
    rows = [{"case": "1234567890123456", "value": "1e3", "note": "=SUM(A1)", "link": "http://a.b"}]
    rows.append({"case": "12e4", "value": "nan", "note": "\x01", "link": ""})
    write_sheets(path, {"a": rows, "none": []})
    assert cells_of(path, 2)[1] == ["1234567890123456", 1000.0, "=SUM(A1)", "http://a.b"]
    assert cells_of(path, 2)[2][:2] == ["12e4", "nan"]
    with zipfile.ZipFile(path) as parts:
        assert not [name for name in parts.namelist() if "sheet3" in name or "rels/sheet" in name]
    first = path.read_bytes()
    write_sheets(path, {"a": rows})
    assert path.read_bytes() == first, "same table, same file"


def test_a_table_too_long_for_a_spreadsheet_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    assert spreadsheet.MOST_ROWS == 1_048_576 - 1  # below the head (ECMA-376 programs' common limit)
    monkeypatch.setattr(spreadsheet, "MOST_ROWS", 3)
    write_sheets(tmp_path / "a.xlsx", {"results": [{"a": 1}] * 3})
    with pytest.raises(OutputError, match=r"results has more than the 3 rows .* use the CSV"):
        write_sheets(tmp_path / "b.xlsx", {"results": [{"a": 1}] * 4})
    assert [path.name for path in tmp_path.iterdir()] == ["a.xlsx"]


def test_a_run_too_long_for_a_spreadsheet_is_cut_to_its_first_variant_and_says_so(
    tmp_path: Path, demo: dict[str, Any], monkeypatch: pytest.MonkeyPatch
):
    study = parse_study(demo, "demo")
    what = ("axial_stiffness", "sections", "N/mm")
    rows = [
        row_of(name, what, 100.0 + k, variant=variant)
        for variant in ("v1", "v2")
        for k, name in enumerate(("nail-10", "plate"))
    ]
    folder = made.write_run(tmp_path / "out", study, rows)
    for module in (spreadsheet, exports):
        monkeypatch.setattr(module, "MOST_ROWS", 3)
    export(folder, tmp_path / "export", study, Print(("png",)))
    sheets = tmp_path / "export" / "tables.xlsx"
    assert [line[0] for line in cells_of(sheets, 1)][-1] == (
        "results: the first 2 rows of variant v1 of 4; results.csv has all."
    )
    head, *lines = cells_of(sheets, 3)
    assert [line[head.index("variant")] for line in lines] == ["v1", "v1"]


def test_figures_come_in_every_format_at_the_resolution(run: Path, out: Path, tmp_path: Path):
    figures = out / "figures"
    assert {path.suffix for path in figures.iterdir()} == {".png", ".svg", ".pdf"}
    assert (figures / "stiffness.pdf").read_bytes().startswith(b"%PDF-")
    assert b"/CreationDate" not in (figures / "stiffness.pdf").read_bytes()
    assert width_of(figures / "stiffness.png") == 7 * 300
    (page,) = dots.draw_chart(dots.CHARTS[1], results_of(run), ["atrophic"], "hip")
    assert width_of(save(page, tmp_path / "finer.png", 600)) == 7 * 600


def width_of(png: Path) -> int:
    """Width in pixels, from the header of the format."""
    return int(struct.unpack(">I", png.read_bytes()[16:20])[0])


def test_charts_show_every_sound_value_where_it_is(run: Path):
    rows = results_of(run)
    movement, stiffness, _ = dots.CHARTS
    (page,) = dots.draw_chart(movement, rows, ["empty", "atrophic", "woven"], "hip")
    lines = [line for axes in page.axes for line in axes.lines if line.get_marker() in dots.MARKS]
    marks = {(x, round(y)) for line in lines for x, y in zip(*line.get_data(), strict=True)}
    assert marks == {(-0.83, 0), (0.31, 1), (0.517, 0), (0.2037, 1)}
    assert [text.get_text() for text in page.axes[0].get_yticklabels()] == ["nail-10", "nail-10-plate"]
    bars = [path.vertices for axes in page.axes for one in axes.collections for path in one.get_paths()]
    ends = {tuple(vertices[:, 0].round(5)) for vertices in bars}
    assert {(0.279, 0.341), (0.18333, 0.22407)} <= ends  # 10 % either way
    (page,) = dots.draw_chart(stiffness, rows, ["atrophic"], "hip")
    assert [text.get_text() for text in page.axes[0].get_yticklabels()] == ["nail-10-plate"]
    assert dots.left_out(stiffness, rows, "hip") == [
        "plate at empty (failed)", "torsional_stiffness of nail-10 at atrophic (singular)",
    ]  # fmt: skip


def test_captions_name_load_and_what_is_left_out(out: Path):
    text = (out / "captions.txt").read_text(encoding="utf-8")
    assert "under load hip" in text
    assert "torsional_stiffness of nail-10 at atrophic (singular)" in text
    assert text.rstrip().endswith(CAUTION)


def test_many_constructs_take_more_pages(run: Path):
    rows = [row for row in results_of(run) if row.construct == "nail-10"]
    many = [replace(row, construct=f"n{number:02d}") for number in range(61) for row in rows]
    pages = list(dots.draw_chart(dots.CHARTS[0], many, ["atrophic"], "hip"))
    assert [len(page.axes[0].get_yticks()) for page in pages] == [30, 30, 1]


def test_colour_blind_readers_and_grey_printers_tell_stages_apart():
    """Dichromats see two of three cones; Viénot 1999's matrix, as quoted, on sRGB values."""
    deutan = ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0))
    seen = [
        [sum(w * c for w, c in zip(row, to_rgb(hue), strict=True)) for row in deutan]
        for hue in dots.HUES
    ]
    apart = [max(abs(p - q) for p, q in zip(a, b, strict=True)) for a, b in combinations(seen, 2)]
    assert min(apart) > 0.1
    looks = {(dots.HUES[k % len(dots.HUES)], dots.MARKS[k % len(dots.MARKS)]) for k in range(20)}
    assert len(looks) == 20, "a study has 20 stages at most"


def test_sensitivity_is_exported_in_the_formats_asked_for(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, kind="one_at_a_time")
    fabricate(study, tmp_path, lambda values: 10 + share(values, 0))
    write_comparisons(tmp_path, {})
    shown = study.model_copy(update={"show": study.show.model_copy(update={"stage": "woven"})})
    names = {path.name for path in export(tmp_path, tmp_path / "export", shown, Print(("pdf",)))}
    assert {"sensitivity-nail-10.pdf", "stiffness.pdf"} <= names
    rows = read_table(tmp_path / "sensitivity.csv")
    write_table(tmp_path / "sensitivity.csv", [r | {"construct": "../up"} for r in rows], list(rows[0]))
    with pytest.raises(StudyError, match="can not name a file"):
        export(tmp_path, tmp_path / "export", shown, Print(("svg",)))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--dpi", "100"), "allowed 300 or 600"),
        (("--format", "bmp"), "allowed png, svg, pdf"),
    ],
)
def test_other_resolutions_and_formats_are_refused(run: Path, words: tuple[str, ...], says: str):
    found = CliRunner().invoke(cli.app, ["export", str(run), *words])
    assert isinstance(found.exception, StudyError)
    assert says in str(found.exception)
    assert not (run / "export").exists()


def test_the_command_writes_beside_the_run(run: Path, tmp_path: Path):
    found = CliRunner().invoke(cli.app, ["export", str(run), "--format", "svg"])
    assert found.exit_code == 0, found.output
    assert (run / "export" / "tables.xlsx").exists()
    assert CAUTION in found.output
    (tmp_path / "inputs.json").write_bytes((run / "inputs.json").read_bytes())
    write_table(tmp_path / "results.csv", [{"construct": "a"}], ("construct", "value"))
    lacking = CliRunner().invoke(cli.app, ["export", str(tmp_path)])
    assert isinstance(lacking.exception, StudyError)
    assert "line 2: no variant" in str(lacking.exception)
    missing = CliRunner().invoke(cli.app, ["export", str(tmp_path / "nothing")])
    assert isinstance(missing.exception, StudyError)
    assert exports.KINDS == ("png", "svg", "pdf")
