"""Folders and tables that are whole or not there, and tables as other programs read them."""

from __future__ import annotations

import errno
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import meshio
import numpy as np
import pandas as pd
import pyarrow.parquet
import pytest

from geometries.errors import StudyError
from pipeline.errors import OutputError
from pipeline.storage import parquet
from pipeline.storage.casebook import case_folder, case_of, write_index
from pipeline.storage.fields import write_fields
from pipeline.storage.files import check_writable, growing_table, read_table, write_json, write_table
from pipeline.storage.parquet import (
    growing_parquet,
    read_columns,
    read_rows_of,
    texts_in,
    write_parquet,
)
from pipeline.tables.rows import COLUMNS as RESULT_COLUMNS
from pipeline.tables.rows import NUMBERS

ROWS: list[dict[str, object]] = [
    {"construct": "nail-10", "value": -1.25e-7, "unit": "N·m/deg", "status": "ok", "gap_mm": 3.5},
    {"construct": "plate", "value": "", "status": "failed", "reason": "can slide, and turn"},
    {"construct": "b", "value": 12_345.678, "percent_of_intact": "", "flags": 'says "no"\nand more'},
]


def test_pandas_reads_the_same_from_both(tmp_path: Path):
    # pandas: numbers are numbers, what is empty is missing, text is whole.
    write_table(tmp_path / "t.csv", ROWS, RESULT_COLUMNS)
    write_parquet(tmp_path / "t.parquet", ROWS, RESULT_COLUMNS, NUMBERS, {"caution": "for teaching"})
    text, typed = pd.read_csv(tmp_path / "t.csv"), pd.read_parquet(tmp_path / "t.parquet")
    assert list(text.columns) == list(typed.columns) == list(RESULT_COLUMNS)
    for table in (text, typed):
        assert table.value.tolist()[0::2] == pytest.approx([-1.25e-7, 12_345.678], rel=1e-6)
        assert table.value.isna().tolist() == [False, True, False]
        assert table.gap_mm[0] == 3.5
        assert table.unit[0] == "N·m/deg"
        assert table["flags"][2] == 'says "no"\nand more'
    numbers = {name for name in typed if pd.api.types.is_float_dtype(typed[name])}
    assert numbers == NUMBERS


def test_a_table_that_grows_is_that_written_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(parquet, "GROUP", 2)
    write_table(tmp_path / "once.csv", ROWS * 3, RESULT_COLUMNS)
    with (
        growing_table(tmp_path / "t.csv", RESULT_COLUMNS) as text,
        growing_parquet(tmp_path / "t.parquet", RESULT_COLUMNS, NUMBERS, {}) as typed,
    ):
        for _ in range(3):
            text(ROWS)
            typed(ROWS)
    assert (tmp_path / "t.csv").read_bytes() == (tmp_path / "once.csv").read_bytes()
    assert pyarrow.parquet.read_metadata(tmp_path / "t.parquet").num_row_groups >= 3
    frame = pd.read_parquet(tmp_path / "t.parquet")
    assert frame.construct.tolist() == [row["construct"] for row in ROWS * 3]
    columns = read_columns(tmp_path / "t.parquet", RESULT_COLUMNS)
    assert columns["unit"].tolist() == ["N·m/deg", "", ""] * 3
    assert np.isnan(columns["value"]).tolist() == [False, True, False] * 3
    assert texts_in(tmp_path / "t.parquet", "status") == ["ok", "failed", ""]
    own = read_rows_of(tmp_path / "t.parquet", ("construct", "value"), construct="plate", unit="")
    assert own == [{"construct": "plate", "value": ""}] * 3


def test_a_table_that_must_not_be_empty_takes_that_of_an_earlier_run_away(tmp_path: Path):
    path = tmp_path / "t.csv"
    for rows in ([{"a": 1}], []):
        with growing_table(path, ("a",), may_be_empty=False) as add:
            add(rows)
        assert path.exists() == bool(rows)


@pytest.mark.parametrize("read", [
    lambda path: texts_in(path, "variant"), lambda path: read_columns(path, ("variant",)),
    lambda path: read_rows_of(path, ("variant",), variant="v1"),
])  # fmt: skip
def test_a_typed_table_that_no_run_wrote_is_a_sentence(tmp_path: Path, read: Any):
    path = tmp_path / "t.parquet"
    with pytest.raises(StudyError, match=r"t\.parquet: can not be read .*give a finished run"):
        read(path)
    path.write_text("a,b")
    with pytest.raises(StudyError, match=r"t\.parquet: can not be read .*give a finished run"):
        read(path)
    write_parquet(path, [{"a": 1}], ("a",), ("a",), {})
    with pytest.raises(StudyError, match=r"t\.parquet: .*(has no variant|variant.*finished run)"):
        read(path)


@pytest.mark.parametrize("text", ["=1+2", "+cmd", "-cmd|x", "@sum(a1)", "\tx", "\rx"])
def test_a_spreadsheet_gets_no_formula(tmp_path: Path, text: str):
    # OWASP, CSV injection, as quoted: these are the first characters of a formula.
    write_table(tmp_path / "t.csv", [{"reason": text}], ("reason",))
    assert read_table(tmp_path / "t.csv") == [{"reason": "'" + text.replace("\r", " ")}]


@pytest.mark.parametrize("text", ["-1.5", "+3e-7", "-inf", "1", "a = b", ""])
def test_numbers_and_plain_text_stay_as_they_are(tmp_path: Path, text: str):
    # Definition: a minus sign of a number is no formula.
    write_table(tmp_path / "t.csv", [{"a": text, "b": "x"}], ("a", "b"))
    assert read_table(tmp_path / "t.csv") == [{"a": text, "b": "x"}]


def test_full_disk_leaves_nothing_half_written(tmp_path: Path) -> None:
    def write_partly() -> None:
        with case_folder(tmp_path, "a") as folder:
            (folder / "rows.csv").write_text("partly")
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OutputError, match="free disk space"):
        write_partly()
    assert not list((tmp_path / "cases").iterdir())


def test_a_finished_case_survives_a_failed_rewrite(tmp_path: Path) -> None:
    with case_folder(tmp_path, "a") as folder:
        (folder / "rows.csv").write_text("good")
    with pytest.raises(OutputError), case_folder(tmp_path, "a"):
        raise OSError(errno.ENOSPC, "No space left on device")
    assert (tmp_path / "cases" / "a" / "rows.csv").read_text() == "good"


def test_table_is_whole_or_not_there(tmp_path: Path) -> None:
    def rows() -> Any:
        yield {"a": 1.0}
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OutputError, match="free disk space"):
        write_table(tmp_path / "t.csv", rows(), ("a",))
    assert not list(tmp_path.iterdir())


def test_unwritable_folder_is_refused_before_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "write_text", refuse)
    with pytest.raises(OutputError, match="Permission denied"):
        check_writable(tmp_path)


def test_a_record_is_whole_or_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_json(tmp_path / "summary.json", {"a": 1})
    written = Path.open

    def open_partly(path: Path, mode: str = "r", *words: Any, **more: Any) -> Any:
        file = written(path, mode, *words, **more)
        if "w" in mode:
            file.write("{ partly")
            file.close()
            raise OSError(errno.ENOSPC, "No space left on device")
        return file

    monkeypatch.setattr(Path, "open", open_partly)
    with pytest.raises(OutputError, match="free disk space"):
        write_json(tmp_path / "summary.json", {"a": 2})
    monkeypatch.undo()
    assert [path.name for path in tmp_path.iterdir()] == ["summary.json"]
    assert json.loads((tmp_path / "summary.json").read_text()) == {"a": 1}


def test_fields_are_whole_or_as_they_were(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    nodes = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    pairs = ((0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3))
    nodes = np.concatenate([nodes, [(nodes[a] + nodes[b]) / 2 for a, b in pairs]])
    mesh = SimpleNamespace(nodes=nodes, cells=np.arange(10)[None], part_of=np.zeros(1, dtype=int))
    path = tmp_path / "fields.vtu"
    write_fields(path, mesh, {"u": nodes}, {"s": np.ones(1)})  # type: ignore[arg-type]
    good = path.read_bytes()
    assert meshio.read(path).point_data["u"] == pytest.approx(nodes)

    def write_partly(_: object, place: Path, **__: Any) -> None:
        Path(place).write_text("partly")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(meshio.Mesh, "write", write_partly)
    with pytest.raises(OutputError, match="free disk space"):
        write_fields(path, mesh, {"u": 2 * nodes}, {"s": np.ones(1)})  # type: ignore[arg-type]
    assert [one.name for one in tmp_path.iterdir()] == ["fields.vtu"]
    assert path.read_bytes() == good


def test_the_case_of_one_variant_is_never_that_of_another(tmp_path: Path) -> None:
    write_index(tmp_path, [
        {"variant": "v1", "construct": "nail", "case": "a" * 16, "status": "failed"},
        {"variant": "v1", "construct": "plate", "case": "b" * 16, "status": "ok"},
        {"variant": "v2", "construct": "nail", "case": "c" * 16, "status": "ok"},
    ])  # fmt: skip
    assert case_of(tmp_path, "plate").name == "b" * 16
    assert case_of(tmp_path, "nail", "v2").name == "c" * 16
    with pytest.raises(OutputError, match="no finished case of 'nail' in variant v1"):
        case_of(tmp_path, "nail")
    with pytest.raises(OutputError, match="no finished case of 'plate' in variant v2"):
        case_of(tmp_path, "plate", "v2")
