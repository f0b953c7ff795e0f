"""A case on disk: whole or not there, and found out when anything in it changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.storage.casebook import case_folder, fault_of, folder_of

ADDRESS = "0123456789abcdef"
FILES = {"rows.csv": "stage,value\nwoven,1.5\n", "summary.json": "{}\n", "log.txt": "begun\n"}


def store(out: Path, **changed: str) -> Path:
    """Write a case."""
    with case_folder(out, ADDRESS) as folder:
        for name, text in FILES.items():
            (folder / name).write_text(changed.get(name.partition(".")[0], text))
    return folder_of(out, ADDRESS)


@pytest.mark.parametrize("name", FILES)
def test_a_changed_or_lost_file_is_found_out(tmp_path: Path, name: str):
    # Definition: the sum of every file is compared, whatever its length and date.
    file = store(tmp_path) / name
    assert fault_of(tmp_path, ADDRESS) == ""
    file.write_text(file.read_text().replace("e", "o").replace("{}", "[]"))
    assert fault_of(tmp_path, ADDRESS) == f"{name} is not as it was written"
    file.unlink()
    assert fault_of(tmp_path, ADDRESS).startswith("it can not be read")


def test_what_fails_while_it_is_written_leaves_the_finished_case_and_nothing_else(tmp_path: Path):
    def fail() -> None:
        with case_folder(tmp_path, ADDRESS) as folder:
            (folder / "rows.csv").write_text("half")
            raise RuntimeError("no more memory")

    with pytest.raises(RuntimeError):
        fail()
    assert list((tmp_path / "cases").iterdir()) == []
    store(tmp_path)
    with pytest.raises(RuntimeError):
        fail()
    assert [path.name for path in (tmp_path / "cases").iterdir()] == [ADDRESS]
    assert fault_of(tmp_path, ADDRESS) == ""
    assert (store(tmp_path, rows="stage\n") / "rows.csv").read_text() == "stage\n"
