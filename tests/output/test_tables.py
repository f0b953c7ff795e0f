"""The short table that a run ends with: errors, ties, and no order of merit."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.output.tables import short_table
from tests.made import write_comparisons, write_results

Values = dict[str, tuple[float, str]]
SHEAR = {"quantity": "gap_shear_movement", "location": "far"}
CLOSING = {"quantity": "gap_axial_movement", "location": "far"}
TORSION = {"quantity": "torsional_stiffness", "location": "sections"}


def rows(values: Values, **other: str) -> list[dict[str, object]]:
    """A row for each construct: value and error in percent."""
    common = {"stage": "woven", "load": "axial", "status": "ok", "mesh": "", "unit": "mm"}
    return [
        {**common, **other, "construct": name, "value": value, "error": error}
        for name, (value, error) in values.items()
    ]


def write_tables(out: Path, table: list[dict[str, object]], gaps: dict[str, str]) -> None:
    write_results(out, table)
    write_comparisons(out, gaps)


def headline(out: Path, stage: str, load: str) -> list[tuple[str, ...]]:
    """Name and printed cells of each construct."""
    lines = short_table(out, stage, load).lines
    return [(name, *(cell.text for cell in cells)) for name, cells in lines]


def printed(out: Path, table: list[dict[str, object]]) -> list[str]:
    """Cells of the column that the table's first row belongs to; all constructs have one gap."""
    write_tables(out, table, {str(row["construct"]): "mid" for row in table})
    short = short_table(out, "woven", "axial")
    assert all(1 + len(cells) == len(short.headings) for _, cells in short.lines)
    where = [column.quantity for column in short.columns].index(str(table[0]["quantity"]))
    return [cells[where].text for _, cells in short.lines]


def first_lines(out: Path, table: list[dict[str, object]]) -> list[str]:
    return [cell.split("\n")[0] for cell in printed(out, table)]


def test_values_stand_with_their_errors_in_the_order_of_the_study(tmp_path: Path):
    table = rows({"c": (0.5, "10"), "a": (0.1, "2"), "b": (0.9, "1")}, **SHEAR)
    assert printed(tmp_path, table) == ["0.500\n±0.050", "0.100\n±0.002", "0.900\n±0.009"]
    assert [cells[0] for cells in headline(tmp_path, "woven", "axial")] == ["c", "a", "b"]


def test_what_the_errors_do_not_tell_from_the_smallest_is_marked_with_it(tmp_path: Path):
    # 0.50 and 0.52 differ by 0.02, their errors are 0.035 in sum; 0.58 lies 0.08 off, with 0.026.
    table = rows({"a": (0.52, "2"), "b": (0.5, "5"), "c": (0.58, "0.1")}, **SHEAR)
    assert printed(tmp_path, table) == ["0.520 ~\n±0.010", "0.500 ~\n±0.025", "0.580\n±0.001"]


def test_closing_is_compared_by_size_and_stiffness_from_the_largest(tmp_path: Path):
    table = rows({"a": (-0.52, "3"), "b": (0.51, "1"), "c": (-0.9, "1")}, **CLOSING)
    assert first_lines(tmp_path, table) == ["-0.520 ~", "+0.510 ~", "-0.900"]
    table = rows({"a": (4.0, "2"), "b": (9.0, "2"), "c": (8.8, "2")}, **TORSION)
    assert first_lines(tmp_path, table) == ["4.00", "9.00 ~", "8.80 ~"]


def test_columns_that_no_construct_has_are_left_out(tmp_path: Path):
    write_tables(tmp_path, rows({"a": (0.5, "")}, **TORSION), {})
    assert short_table(tmp_path, "woven", "axial").headings == ["construct", "torsion\nN·m/deg"]


def test_an_unknown_error_leaves_it_open_too(tmp_path: Path):
    table = rows({"a": (0.2, "1"), "b": (0.9, "")}, **SHEAR)
    assert printed(tmp_path, table) == ["0.200 ~\n±0.002", "0.900 ~"]


def test_other_gaps_and_the_femur_without_one_tie_nothing(tmp_path: Path):
    table = rows({"a": (0.50, "5"), "b": (0.49, "5"), "c": (0.51, "5")}, **SHEAR)
    table += rows({"intact": (0.48, "5")}, **SHEAR, stage="intact")
    gaps = {"a": "mid", "b": "low", "c": "mid", "intact": "mid"}
    write_tables(tmp_path, table, gaps)
    found = {cells[0]: cells[1].split("\n")[0] for cells in headline(tmp_path, "woven", "axial")}
    assert found == {"a": "0.500 ~", "b": "0.490", "c": "0.510 ~", "intact": "0.480"}


def test_a_singular_value_is_not_quoted(tmp_path: Path):
    table = rows({"a": (0.2, "1"), "b": (0.1, "")}, **SHEAR)
    table[1]["mesh"] = "three meshes: singular, do not quote"
    assert printed(tmp_path, table) == ["0.200\n±0.002", "singular"]


def test_the_highest_stress_names_its_part(tmp_path: Path):
    peak = {"quantity": "von_mises_5mm3"}
    table = rows({"a": (200.0, "1")}, **peak, location="nail")
    table += rows({"a": (300.0, "5")}, **peak, location="bolt_1")
    write_tables(tmp_path, table, {})
    (cells,) = headline(tmp_path, "woven", "axial")
    assert cells[-1] == "300 bolt_1\n±15"


@pytest.mark.parametrize(
    ("error", "words"), [("2", "~ errors leave open"), ("", "No errors are known")]
)
def test_one_line_says_what_the_signs_mean(tmp_path: Path, error: str, words: str):
    table = rows({"a": (0.50, error), "b": (0.50, error)}, **SHEAR)
    assert ("~" in "".join(printed(tmp_path, table))) == bool(error)
    (line,) = short_table(tmp_path, "woven", "axial").legend
    assert line.partition(". ")[2].startswith(words) or line.startswith(words)
    assert len(line) <= 132


def test_a_line_more_names_whose_errors_are_borrowed(tmp_path: Path):
    table = rows({"a": (0.50, "2"), "b": (0.50, "2"), "c": (0.50, "2")}, **SHEAR)
    for row in table[1:]:
        row["mesh"] = "borrowed from 1 of 3 constructs: a; same stage and load"
    write_tables(tmp_path, table, {})
    legend = short_table(tmp_path, "woven", "axial").legend
    assert legend[1].startswith("± of b, c is partly borrowed")
