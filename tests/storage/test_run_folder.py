"""Tables of someone else's run: what they name must stay inside the run's folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometries.errors import StudyError
from pipeline.storage.files import write_table
from pipeline.storage.run_folder import listed_cases, named_rows

COLUMNS = ("variant", "construct", "case", "status")
SOUND = "0123456789abcdef"


def listed(out: Path, case: str) -> list[str]:
    row = {"variant": "", "construct": "nail", "case": case, "status": "ok"}
    write_table(out / "cases.csv", [row], COLUMNS)
    return [found["case"] for found in listed_cases(out)]


@pytest.mark.parametrize(
    "case", [f"{SOUND}/../../elsewhere", f"../{SOUND}", f"{SOUND}0", SOUND[1:], SOUND.upper(), ""]
)
def test_a_case_is_named_by_sixteen_digits_and_nothing_before_or_behind(tmp_path: Path, case: str):
    # Definition of an address; a path behind one would lead out of the folder.
    assert listed(tmp_path, SOUND) == [SOUND]
    with pytest.raises(StudyError, match="allowed are 16 hexadecimal digits"):
        listed(tmp_path, case)


@pytest.mark.parametrize("name", ["../up", "a/b", "", ".hidden", "nail 10", "Nail", "nail\n", "näil"])
def test_a_construct_that_names_a_file_has_a_name_that_a_study_may_give(tmp_path: Path, name: str):
    # Definition of a construct's name; the table is that of a figure for each construct.
    table = tmp_path / "sensitivity.csv"
    assert named_rows(table) == []
    write_table(table, [{"construct": "nail-10"}, {"construct": name}], ("construct", "value"))
    with pytest.raises(
        StudyError, match=r"sensitivity.csv, line 3: .* can not name a file; allowed are"
    ):
        named_rows(table)
    write_table(table, [{"construct": "nail-10"}], ("construct", "value"))
    assert [row["construct"] for row in named_rows(table)] == ["nail-10"]
