"""Folders and tables that are whole or not there, and tables as other programs read them."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.errors import OutputError
from pipeline.storage.casebook import case_folder
from pipeline.storage.files import check_writable, read_table, write_table
from pipeline.storage.parquet import write_parquet
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
    write_parquet(tmp_path / "t.parquet", ROWS, RESULT_COLUMNS, NUMBERS)
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


@pytest.mark.parametrize("text", ["=1+2", "+cmd", "-cmd|x", "@sum(a1)", "\tx", "\rx"])
def test_a_spreadsheet_gets_no_formula(tmp_path: Path, text: str):
    # OWASP, CSV injection (from memory): these are the first characters of a formula.
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
