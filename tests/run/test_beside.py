"""What is asked after the cases: limits, a row for each job, and what one without answer leaves."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.errors import OutputError, StoppedError
from pipeline.measures.exploring import ASKED, LIVE, ROBUSTNESS, TAKEOVER, TAKEOVER_COLUMNS
from pipeline.run import beside
from pipeline.run.answers import TwinAnswer, answer_limit
from pipeline.run.beside import write_answers
from pipeline.run.engine import Job, Lost, Place
from pipeline.run.execute import _answered
from pipeline.run.explore import Found, Request, Turned, filled
from pipeline.run.explored import Samples
from pipeline.run.planning import Plan, plan
from pipeline.run.watch import ASKED as STEP
from pipeline.run.watch import FLIP, REST, within
from pipeline.storage.casebook import TWIN, folder_of
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from tests.kills.commands import ROOT

NO_TIME = Lost("what its reduced model is asked for took longer than the 3 s that it may take")


@pytest.fixture(scope="module")
def planned() -> Plan:
    """Three plates at one gap, whose comparison is sampled."""
    text = (ROOT / "tests" / "kills" / "asked.toml").read_text(encoding="utf-8")
    study = tomllib.loads(text)
    study["stages"].append({"name": "empty"})
    study["constructs"].append({**study["constructs"][0], "name": "third"})
    study["constructs"][2]["plate"] = study["constructs"][0]["plate"] | {"hole_count": 6}
    return plan(parse_study(study, "asked"))


@pytest.fixture
def out(planned: Plan, tmp_path: Path) -> Path:
    """A folder in which all cases have ended."""
    for item in planned.first:
        folder = folder_of(tmp_path, item.case.address)
        folder.mkdir(parents=True)
        (folder / TWIN).write_text("a reduced model")
    return tmp_path


def answered(wanted: Request) -> Found:
    """What a construct answers, made up: larger the longer its name."""
    size = float(len(wanted.case.name))
    sample = Samples(np.linspace(size, size + 1, 100)[:, None], np.zeros(1))
    row = dict.fromkeys(TAKEOVER_COLUMNS, "") | {"construct": wanted.case.name}
    return Found(sample, (row,), (), {"name": wanted.case.name}, 1.5)


def turned(*_: Any) -> Turned:
    return Turned(None, "", "", 2.5)


@pytest.fixture
def within_this(monkeypatch: pytest.MonkeyPatch) -> Callable[[dict[str, object]], None]:
    """Do the jobs here, those that come last first, but for some that end otherwise."""
    monkeypatch.setattr(beside, "pool", lambda _: nullcontext())
    monkeypatch.setattr(beside, "explore_case", answered)
    monkeypatch.setattr(beside, "turn", turned)

    def but(ends: dict[str, object]) -> None:
        def results(_: None, __: Place, jobs: Iterable[Job]) -> Iterator[tuple[str, object]]:
            for job in reversed([*jobs]):
                yield job.key, ends[job.key] if job.key in ends else job.work(*job.arguments)

        monkeypatch.setattr(beside, "results", results)

    return but


def test_every_job_is_told_and_has_a_row_in_the_order_of_the_study(
    planned: Plan, out: Path, within_this: Callable[[dict[str, object]], None]
):
    within_this({})
    heard: list[TwinAnswer] = []
    write_answers(planned, [], out, Place(), heard.append)
    assert [(one.done, one.total) for one in heard] == [(k, 6) for k in range(1, 7)]
    assert [one.construct for one in heard[:3]] == ["third", "steel", "titanium"]  # as they ended
    names = ["titanium", "steel", "third"]
    rows = read_table(out / ASKED)
    assert [row["construct"] for row in rows if not row["against"]] == names
    assert [row["construct"] for row in read_table(out / TAKEOVER)] == names
    assert [(row["construct"], row["against"]) for row in rows[3:]] == [
        ("titanium", "steel"), ("titanium", "third"), ("steel", "third"),
    ]  # fmt: skip
    assert {row["status"] for row in rows} == {"ok"}
    assert (out / LIVE).exists()


def test_a_construct_that_has_no_answer_says_why_and_all_others_go_on(
    planned: Plan, out: Path, within_this: Callable[[dict[str, object]], None]
):
    within_this({"steel": NO_TIME})
    write_answers(planned, [], out, Place())
    rows = {(row["construct"], row["against"]): row for row in read_table(out / ASKED)}
    assert rows["steel", ""]["reason"] == NO_TIME.reason
    assert [row["construct"] for row in read_table(out / TAKEOVER)] == ["titanium", "third"]
    (row,) = read_table(out / ROBUSTNESS)
    assert (row["a"], row["b"]) == ("titanium", "third")
    assert rows["titanium", "steel"]["status"] == "failed"
    assert rows["titanium", "steel"]["reason"] == "steel has no answers"
    assert rows["titanium", "third"]["status"] == "ok"


def test_a_search_that_was_ended_is_told_from_one_that_found_nothing(
    planned: Plan, out: Path, within_this: Callable[[dict[str, object]], None]
):
    within_this({"titanium third": NO_TIME})
    answers = write_answers(planned, [], out, Place())
    said = {(row["a"], row["b"]): row["flip_confirmed"] for row in read_table(out / ROBUSTNESS)}
    assert said["titanium", "third"] == f"not looked for to its end: {NO_TIME.reason}"
    assert said["titanium", "steel"] == ""
    assert [one.failure for one in answers if one.failure] == [NO_TIME.reason]


def test_a_construct_without_a_reduced_model_is_told(
    planned: Plan, out: Path, within_this: Callable[[dict[str, object]], None]
):
    within_this({})
    (folder_of(out, planned.first[-1].case.address) / TWIN).unlink()
    missing = planned.first[-1].case.name
    rows = {row["construct"]: row for row in [*write_rows(planned, out)] if not row["against"]}
    assert rows[missing]["reason"].startswith("it has no reduced model; ")
    assert sum(row["status"] == "ok" for row in rows.values()) == 2


def write_rows(planned: Plan, out: Path) -> list[dict[str, str]]:
    write_answers(planned, [], out, Place())
    return list(read_table(out / ASKED))


def test_what_can_not_be_written_ends_the_run(
    planned: Plan, out: Path, within_this: Callable[[dict[str, object]], None]
):
    within_this({"steel": OutputError("disk: full; free disk space")})
    with pytest.raises(OutputError, match="disk: full"):
        write_answers(planned, [], out, Place())


def test_ctrl_c_meanwhile_says_what_is_kept(
    planned: Plan, out: Path, within_this: Callable[[dict[str, object]], None],
    monkeypatch: pytest.MonkeyPatch,
):  # fmt: skip
    def interrupted(*_: Any) -> None:
        raise KeyboardInterrupt

    within_this({})
    monkeypatch.setattr(beside, "explore_case", interrupted)
    with pytest.raises(StoppedError, match="all cases and their tables are kept: run the same"):
        _answered(planned, [], out, Place(), lambda _: None)


def test_steps_have_their_forecast_or_what_was_asked(planned: Plan, tmp_path: Path):
    """By hand: 20 times 0.05 s for each of 60,000 answers, and ten minutes at least."""
    item = planned.first[-1]
    limit = answer_limit(tmp_path, None, [item], 60_000)
    assert limit.of(STEP) == pytest.approx(60_000)
    assert limit.of(FLIP) == pytest.approx(5_000)
    assert limit.of("mesh") >= 600
    assert limit.of("solve") == limit.of(REST) >= 600
    assert set(answer_limit(tmp_path, 7.0, [item], 60_000).steps.values()) == {420.0}
    assert limit.note == tmp_path / "logs" / f"asked-{item.case.name}.hung.txt"


def test_reduced_models_are_asked_of_stages_with_tissue_alone(planned: Plan):
    assert [one.name for one in filled(planned.study)] == ["atrophic"]


def hang(wanted: Request) -> Found:
    """Answer for titanium, and never for another."""
    if wanted.case.name != "titanium":
        with within(STEP):
            time.sleep(10**6)
    return answered(wanted)


@pytest.mark.slow
def test_a_job_that_hangs_is_ended_and_the_others_have_their_rows(
    planned: Plan, out: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(beside, "explore_case", hang)
    write_answers(planned, [], out, Place(workers=2, minutes=0.05))
    rows = {(row["construct"], row["against"]): row for row in read_table(out / ASKED)}
    assert rows["titanium", ""]["status"] == "ok"
    for name in ("steel", "third"):
        reason = rows[name, ""]["reason"]
        assert "what its reduced model is asked for took longer than the 3 s that it may" in reason
        assert f"logs/asked-{name}.hung.txt says where it stood" in reason
        assert "allow more by --time-limit 2 (minutes, " in reason
    assert [row["construct"] for row in read_table(out / TAKEOVER)] == ["titanium"]
