"""Files that hold too much: too large, too deep, too long. A sentence each, in little time."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.study.config import MOST_BYTES, load_study, parse_study
from pipeline.study.findings import LONGEST, MOST_TOLD
from pipeline.study.lines import line_of
from pipeline.study.slips import DEEPEST
from tests.made import DEMO

LARGE = 10**400  # no float is as large
DEMO_TEXT = DEMO.read_text(encoding="utf-8")


def refusal(path: Path, text: str, *changes: str) -> str:
    path.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        load_study(path, changes)
    return str(caught.value)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("more = 0x" + "f" * 6000, "more: a whole number of more than 300 digits"),
        ("more = " + "9" * 400, "more: a whole number of more than 300 digits"),
        ("more = " + "9" * 5000, "a whole number of thousands of digits; allowed are 300"),
        (".".join(["a"] * 500) + " = 1", f"a: more than {DEEPEST} tables or lists in each other"),
        ("a = " + "[" * 80 + "]" * 80, f"a: more than {DEEPEST} tables or lists in each other"),
        ('"\\u001b[2J" = [[' + "[" * 40 + "]" * 42, r"'\x1b[2J': more than"),
    ],
)
def test_what_can_not_be_worked_with_is_a_sentence(tmp_path: Path, line: str, words: str):
    assert words in refusal(tmp_path / "study.toml", f"{line}\n{DEMO_TEXT}")


@pytest.mark.parametrize("value", ["0x" + "f" * 6000, "[" * 80 + "]" * 80])
def test_set_is_held_to_the_same(tmp_path: Path, value: str):
    assert "allowed are fewer" in refusal(tmp_path / "x.toml", DEMO_TEXT, f"title={value}")
    assert "more than" in refusal(tmp_path / "x.toml", DEMO_TEXT, ".".join(["a"] * 3000) + "=1")


def test_a_number_too_large_for_a_float_in_a_factor_is_a_sentence(demo: dict[str, Any]):
    # It used to end in a traceback; the walk through the file is not what refuses it here.
    factor = {"key": "femur.length_mm", "values": [420.0, LARGE // 10**101]}
    with pytest.raises(StudyError, match=r"allowed a number from -1e\+06 to 1e\+06"):
        parse_study(demo | {"design": {"kind": "grid", "factors": [factor]}}, "demo")
    with pytest.raises(StudyError, match="more than 300 digits"):
        parse_study(demo | {"design": {"kind": "grid", "factors": [{"values": [LARGE]}]}}, "demo")


def test_a_long_file_is_refused_and_no_more_of_it_read(tmp_path: Path):
    assert f"longer than {MOST_BYTES} bytes" in refusal(tmp_path / "x.toml", "#" * (MOST_BYTES + 1))
    endless = tmp_path / "endless.toml"
    endless.symlink_to("/dev/zero")
    with pytest.raises(StudyError, match=f"longer than {MOST_BYTES} bytes"):
        load_study(endless)
    (tmp_path / "x.toml").write_text(DEMO_TEXT + "#" * (MOST_BYTES - len(DEMO_TEXT.encode())))
    load_study(tmp_path / "x.toml")


def test_of_many_findings_the_first_are_told(tmp_path: Path):
    start = time.process_time()
    many = "".join(f"unknown-{number} = 1\n" for number in range(4_000))
    said = refusal(tmp_path / "x.toml", many + DEMO_TEXT).splitlines()
    assert len(said) == MOST_TOLD + 1
    assert said[-1].endswith(f"{4_000 - MOST_TOLD} findings more; correct these first")
    assert time.process_time() - start < 20


@pytest.mark.parametrize("change", ["show.stage", "constructs.LONG.name", "question.quantity"])
def test_a_long_value_is_told_in_short(tmp_path: Path, change: str):
    said = refusal(
        tmp_path / "x.toml", DEMO_TEXT, f"{change.replace('LONG', 'a' * 50_000)}={'b' * 50_000}"
    )
    assert len(said) < 2 * LONGEST
    assert said.endswith(("correct it", "name a key of the study file"))


def test_a_statement_of_very_many_lines_takes_little_time():
    text = "list = [\n" + "1,\n" * 20_000 + "]\nlast = 2\n"
    start = time.process_time()
    assert line_of(text, ["last"], 2) in (None, 20_003)
    assert time.process_time() - start < 20
    assert line_of("list = [\n" + "1,\n" * 50 + "]\nlast = 2\n", ["last"], 2) == 53
