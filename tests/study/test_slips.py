"""Slips of the keyboard that make a file no TOML are told with the line and what to write."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometries.errors import StudyError
from pipeline.sharing.claims import load_claims
from pipeline.study.config import load_study
from pipeline.study.slips import read_toml

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"
POINT, QUOTE = (
    "has a decimal comma; allowed is a point: write ",
    "has a quote that opens and none that ",
)
WORD = "is a word without quotes; allowed are words between two quotes: write "


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("gap_mm = 5,0", f"gap_mm = 5,0 {POINT}5.0"),
        ("gap_mm=-12,75  # mm", f"gap_mm = -12,75 {POINT}-12.75"),
        ("nail = { diameter_mm = 11,5 }", f"diameter_mm = 11,5 {POINT}11.5"),
        ("nail = { diameter_mm = 11,5, length_mm = 360.0 }", f"diameter_mm = 11,5 {POINT}11.5"),
        ('nail = { material = "steel", diameter_mm = 11,5 }', f"diameter_mm = 11,5 {POINT}11.5"),
        ('name = "plate', f'name = "plate {QUOTE}closes'),
        ('name = plate"', f'name = plate" {QUOTE}closes'),
        ("nail = { material = \"steel }", f'nail = {{ material = "steel }} {QUOTE}closes'),
        ("gap_mm = 5,0  # it's", f"gap_mm = 5,0 {POINT}5.0"),
        ('name = "a-b" c"  # x', f'name = "a-b" c" {QUOTE}closes'),
        ("name = plate", f'name = plate {WORD}"plate"'),
        ("nail = { diameter_mm = 9.0, material = steel }", f'material = steel {WORD}"steel"'),
        ("takeover = True", "takeover = True is no value; allowed are small letters: write true"),
    ],
)  # fmt: skip
def test_a_slip_is_told_with_its_line(line: str, said: str):
    with pytest.raises(StudyError) as caught:
        read_toml(f'title = "a, b"\n\n{line}\nmore = 1\n', "study.toml")
    assert str(caught.value).startswith(f"study.toml, line 3: {said}")


def test_an_open_list_is_told_at_the_line_that_broke_it():
    with pytest.raises(StudyError, match=r"line 2: b = 5,0 has a decimal comma"):
        read_toml("a = [1, 2]\nb = 5,0\n", "x")
    with pytest.raises(StudyError, match=r"x: not valid TOML: Unclosed array \(at line 2"):
        read_toml("a = [1, 2\nb = 5\n", "x")


@pytest.mark.parametrize(
    "line",
    ["holes = [1,2]", 'a = "5,0"', "b = true", "c = inf", 'd = { e = 1, f = "g, h" }', "i = 5.0"],
)
def test_what_is_right_is_read(line: str):
    assert read_toml(line, "x")


@pytest.mark.parametrize("value", ["11,5", '"11,5"'])
def test_a_comma_that_toml_takes_for_a_word_is_told_too(value: str):
    with pytest.raises(StudyError) as caught:
        load_study(DEMO, (f"constructs.nail-10.nail.diameter_mm={value}",))
    assert str(caught.value).endswith(f"construct 'nail-10': nail.diameter_mm = '11,5': {POINT}11.5")


def test_study_and_claims_are_told_alike(tmp_path: Path):
    path = tmp_path / "file.toml"
    path.write_text("\nvalue = 5,0\n", encoding="utf-8")
    for load in (load_study, load_claims):
        with pytest.raises(StudyError, match=f"file.toml, line 2: value = 5,0 {POINT}5.0"):
            load(path)
