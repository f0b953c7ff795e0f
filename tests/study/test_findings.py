"""Findings in a file name the line, the entry of a list by its name, and the nearest known key."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometries.errors import StudyError
from pipeline.study.config import load_study
from pipeline.study.lines import line_of

FILE = """\
schema_version = 1
title = "A nail, and a plate over it"
stages = [
    { name = "empty" },
    { name = "atrophic" },
]

# comment
[[loads]]
kind = "torsion"
name = "torsion"
moment_nm = 10.0

[[constructs]]
kind = "nail"
name = "nail"

[[constructs]]
kind = "plate"
name = "plate"

[constructs.plate]
width_mm = 17.5

[constructs.plate.screws]
holes = [
    2,
    4,
]
"""


def _refused(folder: Path, old: str, new: str, *changes: str) -> list[str]:
    """Lines of the refusal of the file with one change, without its path."""
    assert FILE.count(old) == 1
    path = folder / "study.toml"
    path.write_text(FILE.replace(old, new), encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        load_study(path, changes)
    return [line.removeprefix(str(path)) for line in str(caught.value).splitlines()]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("width_mm", "widht_mm", ", line 23: construct 'plate': plate.widht_mm = 17.5: unknown key; "
         "did you mean width_mm? Correct it, or remove it"),
        ("holes =", "hole =", ", line 26: construct 'plate': plate.screws.hole: unknown key; "
         "did you mean holes? Correct it, or remove it"),
        ("# comment", "[femurs]\nlength_mm = 400.0", ", line 8: femurs: unknown key; did you mean "
         "femur? Correct it, or remove it"),
        ("# comment", "[mesh]\nxyz = 1", ", line 9: mesh.xyz = 1: unknown key; allowed level: "
         "correct or remove it"),
        ("# comment", "zzz = 1", ", line 8: zzz = 1: unknown key; allowed schema_version, title, "),
        ('{ name = "atrophic" }', '{ name = "atrophic", modulus = 2.0 }', ", line 5: stage 'atrophic': "
         "modulus = 2.0: unknown key; did you mean modulus_mpa? Correct it, or remove it"),
        ("moment_nm = 10.0", "moment_nm = 10e3", ", line 12: load 'torsion': moment_nm = 10000.0: "
         "allowed -500 to 500; did you mean 10 N·m (10000 N·mm)?"),
        ("moment_nm = 10.0", "", ", line 9: load 'torsion': moment_nm: missing; add it"),
        ('name = "plate"', 'name = "Plate"', ", line 20: constructs.1.name = 'Plate': "),
        ("width_mm = 17.5", "width_mm = 8.0", ", line 22: construct 'plate': plate"),
    ],
)  # fmt: skip
def test_a_finding_names_line_entry_and_what_to_do(tmp_path: Path, old: str, new: str, line: str):
    (found,) = _refused(tmp_path, old, new)
    assert found.startswith(line)


def test_every_finding_has_its_own_line(tmp_path: Path):
    found = _refused(tmp_path, "# comment", "[femur]\nlength = 400.0\nlenght_mm = 400.0")
    assert [line.partition(": ")[0] for line in found] == [", line 9", ", line 10"]


def test_what_the_command_line_changed_has_no_line(tmp_path: Path):
    """The file says another value there, and would be searched for a mistake it does not have."""
    (found,) = _refused(tmp_path, "# comment", "", "constructs.plate.plate.width_mm=900")
    assert found.startswith(": construct 'plate': plate.width_mm = 900: allowed ")
    (found,) = _refused(tmp_path, "# comment", "", "constructs.plate.plate.widht_mm=17")
    assert found.startswith(": construct 'plate': plate.widht_mm = 17: unknown key; did you mean width")


def test_two_entries_of_one_name_go_by_number(tmp_path: Path):
    (found,) = _refused(tmp_path, 'name = "nail"', 'name = "plate"\nnails = 1')
    assert found.startswith(", line 17: constructs.0.nails = 1: unknown key; did you mean nail?")


def test_lines_of_a_long_file_are_found_by_halves():
    """In a file with statements of one line and of several."""
    blocks = [f"[[a]]\n# {n}\nb = {n}\nc = [\n  {n},\n]\nd = {{ e = {n} }}\n\n" for n in range(200)]
    text = "".join(blocks)
    for n in (0, 1, 77, 198, 199):
        first = 8 * n + 1
        assert line_of(text, ("a", n, "b"), n) == first + 2
        assert line_of(text, ("a", n, "c"), [n]) == first + 3
        assert line_of(text, ("a", n, "d", "e"), n) == first + 6
        assert line_of(text, ("a", n, "gone"), None, is_missing=True) == first
    assert line_of(text, ("a", 3, "b"), 4) is None
    assert line_of(text, ("gone",), 4) is None
    assert line_of("", ("a",), 4) is None
