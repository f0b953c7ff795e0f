"""What a run says while it goes on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pipeline.cli.application import app, command
from pipeline.cli.shown.progress import Reporter, Voice
from pipeline.cli.shown.results import verdict
from pipeline.run.ahead import Ahead
from pipeline.run.answers import TwinAnswer
from pipeline.run.jobs import Outcome
from pipeline.run.planning import cases
from pipeline.storage.caution import CAUTION
from pipeline.study.config import parse_study


@pytest.fixture
def outcomes(demo: dict[str, Any]) -> list[Outcome]:
    sound, failed, *_ = cases(parse_study(demo, "demo"), "v007")
    return [
        Outcome(sound, "", 12.34, ("empty",)),
        Outcome(failed, 'no "mesh" after 6 attempts [bold]', 1.0),
        Outcome(sound, "", 0.0, reused=True),
    ]


def said(voice: Voice, outcomes: list[Outcome], capsys: pytest.CaptureFixture[str]) -> str:
    reporter = Reporter(voice, len(outcomes), has_levels=False, ahead=Ahead({}, 2))
    with reporter.running():
        for outcome in outcomes:
            reporter.ended("coarse", outcome)
    reporter.finished(Path("results/mine"))
    return capsys.readouterr().out


def test_json_is_a_line_for_each_case(outcomes: list[Outcome], capsys: pytest.CaptureFixture[str]):
    # Definition: every line is JSON whatever a reason holds, and counts up.
    lines = [json.loads(line) for line in said("json", outcomes, capsys).splitlines()]
    first, *lines = lines
    assert (first["event"], first["total"]) == ("start", 3)
    assert [line["event"] for line in lines] == ["case", "case", "case", "end"]
    assert [line.get("done") for line in lines] == [1, 2, 3, 3]
    assert (lines[0]["variant"], lines[0]["failed_stages"]) == ("v007", ["empty"])
    assert (lines[1]["status"], lines[1]["reason"]) == ("failed", outcomes[1].failure)
    assert lines[2]["reused"]
    assert (lines[3]["failed"], lines[3]["folder"]) == (1, "results/mine")
    assert first["caution"] == lines[3]["caution"] == CAUTION


ANSWERS = [
    TwinAnswer("plate", "", "", 12.34, 1, 3),
    TwinAnswer("nail", "", "it took [too] long", 0.0, 2, 3),
    TwinAnswer("plate", "nail", "", 3.0, 3, 3),
]


def heard(voice: Voice, capsys: pytest.CaptureFixture[str]) -> str:
    reporter = Reporter(voice, 0, has_levels=False, ahead=Ahead({}, 2))
    with reporter.running():
        for answer in ANSWERS:
            reporter.answered(answer)
    return capsys.readouterr().out


def test_what_is_asked_after_the_cases_has_a_line_for_each_job(capsys: pytest.CaptureFixture[str]):
    _, *lines = (json.loads(line) for line in heard("json", capsys).splitlines())
    assert [(line["event"], line["done"], line["total"]) for line in lines] == [
        ("asked", 1, 3), ("asked", 2, 3), ("asked", 3, 3),
    ]  # fmt: skip
    assert (lines[1]["status"], lines[1]["reason"]) == ("failed", "it took [too] long")
    assert heard("quiet", capsys) == "nail, over other inputs: it took [too] long\n"
    words = heard("bar", capsys)
    assert "plate, over other inputs: 12 s" in words
    assert "plate against nail, what turns their order: 3 s" in words
    assert "asking reduced models" in words
    assert "1 failed" in words


@pytest.mark.parametrize("asks", [True, False])
def test_the_bar_says_what_goes_on_after_the_last_case(
    outcomes: list[Outcome], capsys: pytest.CaptureFixture[str], asks: bool
):
    reporter = Reporter("bar", 1, has_levels=False, ahead=Ahead({}, 2), asks=asks)
    with reporter.running():
        reporter.ended("coarse", outcomes[0])
    assert ("asking reduced models" in capsys.readouterr().out) == asks


def test_the_end_of_a_run_counts_what_has_no_answer(outcomes: list[Outcome]):
    assert verdict(outcomes[2:], ANSWERS) == (
        "1 of 3 questions to reduced models without answer; asked.csv says why."
    )
    assert verdict(outcomes[2:], ANSWERS[:1]) == ""
    assert verdict(outcomes[1:], ANSWERS).startswith("1 of 2 cases failed; results.csv says why. 1 of")


def test_quiet_says_only_what_failed(outcomes: list[Outcome], capsys: pytest.CaptureFixture[str]):
    name = outcomes[1].case.name
    assert said("quiet", outcomes, capsys) == f"v007-{name}: {outcomes[1].failure}\n"


def test_the_help_of_quiet_says_where_the_caution_stands():
    """What it names has it, which other tests tell of a run's files."""
    (help_,) = [one.help for one in command("run").params if "--quiet" in one.opts]
    assert "no caution: that stands in report.html, inputs.json and dictionary.csv" in help_
    assert CAUTION in " ".join(CliRunner().invoke(app, ["--help"]).output.split())


def test_the_bar_names_every_case(outcomes: list[Outcome], capsys: pytest.CaptureFixture[str]):
    words = said("bar", outcomes, capsys)
    assert f"v007-{outcomes[0].case.name}: 12 s, failed at empty" in words
    assert f"v007-{outcomes[2].case.name}: finished before" in words
    assert "1 failed" in words
