"""Study files to start from: each can be built as it is, and nothing of anybody's is overwritten."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from geometries.errors import StudyError
from pipeline import cli
from pipeline.errors import OutputError
from pipeline.run.planning import Plan, plan
from pipeline.storage.caution import CAUTION
from pipeline.study.config import load_study
from pipeline.study.starting import questions, start

KEYS = ("gap-length", "plate-or-exchange", "stem", "working-length")
MOST_CASES = 10  # a first study is done within minutes on a small machine (choice, no source)


def started(key: str, folder: Path) -> Path:
    return start(key, "mine", folder / "mine.toml", caution=CAUTION)


def planned(key: str, folder: Path) -> Plan:
    return plan(load_study(started(key, folder)))


def test_the_questions_are_there_and_end_with_a_question_mark():
    assert {*KEYS} <= {*questions()}
    assert all(words.endswith("?") for words in questions().values())


@pytest.mark.parametrize("key", questions())
def test_every_template_can_be_run_at_once_and_is_small(key: str, tmp_path: Path):
    found = planned(key, tmp_path)
    assert not found.refused
    assert 3 <= len(found.distinct) <= MOST_CASES
    assert {item.case.level for item in found.items} == {"coarse"}


@pytest.mark.parametrize("key", questions())
def test_the_report_of_every_template_opens_with_its_question(key: str, tmp_path: Path):
    assert load_study(started(key, tmp_path)).question.text == questions()[key]


@pytest.mark.parametrize("key", questions())
def test_every_template_has_six_numbered_places_and_says_it_is_invented(key: str, tmp_path: Path):
    text = started(key, tmp_path).read_text(encoding="utf-8")
    assert re.findall(r"^# (\d) of 6: \S", text, re.M) == list("123456")
    assert "invented" in text.partition("schema_version")[0]


@pytest.mark.parametrize("key", questions())
def test_every_file_that_is_started_has_the_caution_in_its_comments(key: str, tmp_path: Path):
    before = started(key, tmp_path).read_text(encoding="utf-8").partition("schema_version")[0]
    comments = [line.removeprefix("#").strip() for line in before.splitlines()]
    assert CAUTION in " ".join(comments)


def test_the_comments_name_the_file_that_was_written(tmp_path: Path):
    text = start("stem", "mine", tmp_path / "hip-2.toml", caution=CAUTION).read_text(encoding="utf-8")
    assert "gapstrain run hip-2.toml" in text
    assert "STUDY.toml" not in text


def test_plates_round_a_stem_differ_in_overlap_alone(tmp_path: Path):
    """Upper end less the stem's tip, by hand: shift + holes / 2 * 18 mm pitch, less 290 - 215 mm."""
    facts = [
        item.facts for item in planned("stem", tmp_path).items if "plate_over_stem_mm" in item.facts
    ]
    expected = [36 + holes / 2 * 18 - (430 - 140 - 215) for holes in (10, 14, 18)]
    assert [one["plate_over_stem_mm"] for one in facts] == pytest.approx(expected)
    assert len({one["plate_working_length_mm"] for one in facts}) == 1


def test_a_screw_farther_from_the_gap_makes_the_working_length_longer(tmp_path: Path):
    """Two screws in hole n on either side are 2 (n - 1/2) pitches of 18 mm apart (definition)."""
    items = planned("working-length", tmp_path).items
    lengths = [i.facts["plate_working_length_mm"] for i in items if i.case.name == "plate"]
    assert lengths[:4] == pytest.approx([18 * (2 * hole - 1) for hole in (1, 2, 3, 4)])


def test_a_file_that_is_there_is_left_alone(tmp_path: Path):
    path = tmp_path / "mine.toml"
    path.write_text("mine")
    with pytest.raises(OutputError, match="is there already"):
        start("stem", "mine", path, caution=CAUTION)
    assert path.read_text() == "mine"


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path):
    with pytest.raises(OutputError, match="can not be written"):
        start("stem", "mine", tmp_path / "nowhere" / "mine.toml", caution=CAUTION)


@pytest.mark.parametrize(
    "name", ["", "../up", "a/b", "-x", ".hidden", "two words", "x\n", "y" * 61, "ä"]
)
def test_names_that_are_no_plain_file_names_are_refused(name: str, monkeypatch, tmp_path: Path):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(StudyError, match="can not name a study"):
        start("stem", name, caution=CAUTION)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("out", ["mine.txt", "mine", ".toml", "my study.toml"])
def test_files_that_are_no_study_files_are_refused(out: str, tmp_path: Path):
    with pytest.raises(StudyError, match=r"can not name a study|ends with \.toml"):
        start("stem", "mine", tmp_path / out, caution=CAUTION)


def test_the_command_lists_questions_and_writes_a_file(monkeypatch, tmp_path: Path):
    monkeypatch.chdir(tmp_path)
    listed = CliRunner().invoke(cli.app, ["new"])
    assert listed.exit_code == 2, "nothing was written"
    assert all(key in listed.output for key in KEYS)
    assert "allowed are the keys above, as in: gapstrain new my-study --question " in listed.stderr
    named = CliRunner().invoke(cli.app, ["new", "hip"])
    assert (named.exit_code, list(tmp_path.iterdir())) == (2, [])
    assert "gapstrain new hip --question " in named.stderr
    written = CliRunner().invoke(cli.app, ["new", "mine", "--question", "gap-length"])
    assert written.exit_code == 0, written.output
    assert load_study(tmp_path / "mine.toml").design is not None
    for words in (["new", "mine", "--question", "no-such"], ["new", "--question", "stem"]):
        assert isinstance(CliRunner().invoke(cli.app, words).exception, StudyError)
