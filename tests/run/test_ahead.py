"""The time that a run says is left, against what then was left."""

from __future__ import annotations

import heapq
from dataclasses import replace
from typing import Any

import pytest

from pipeline.run.ahead import Ahead, Expected
from pipeline.run.jobs import Outcome
from pipeline.run.planning import cases, plan
from pipeline.study.config import parse_study

LONG_FIRST = [900.0, 700.0, 650.0, 300.0, *[60.0] * 30]
LIKE = [100.0] * 20


@pytest.fixture
def outcome(demo: dict[str, Any]) -> Outcome:
    return Outcome(cases(parse_study(demo, "demo"))[0], "", 0.0)


def named(outcome: Outcome, name: str, **other: Any) -> Outcome:
    construct = outcome.case.construct.model_copy(update={"name": name})
    return replace(outcome, case=replace(outcome.case, construct=construct), **other)


def followed(outcome: Outcome, takes: list[float], speed: float, workers: int) -> list[list[float]]:
    """What was said and what was true at each end, in a queue that workers take cases from."""
    ahead = Ahead({("coarse", f"c{k}"): Expected(s, 0.0) for k, s in enumerate(takes)}, workers)
    running: list[tuple[float, int]] = []
    ends, now = {}, 0.0
    for k, seconds in enumerate(takes):
        if len(running) == workers:
            now, _ = heapq.heappop(running)
        ends[k] = now + speed * seconds
        heapq.heappush(running, (ends[k], k))
    found = []
    for k in sorted(ends, key=ends.__getitem__):
        ahead.ended("coarse", named(outcome, f"c{k}", seconds=speed * takes[k]))
        found.append([ahead.left(ends[k]) or 0.0, max(ends.values()) - ends[k]])
    return found


@pytest.mark.parametrize("takes", [LONG_FIRST, LIKE], ids=["long first", "alike"])
@pytest.mark.parametrize("workers", [1, 2, 4])
@pytest.mark.parametrize("speed", [0.2, 1.0, 6.0])
def test_what_is_left_is_never_twice_the_truth(
    outcome: Outcome, takes: list[float], workers: int, speed: float
):
    for said, true in followed(outcome, takes, speed, workers)[: len(takes) // 2]:
        assert 0.5 * true <= said <= 2 * true


def test_nothing_is_said_before_a_case_tells_the_speed(outcome: Outcome):
    # Definition: a case that failed, or was finished before, tells nothing; nor do unknown workers.
    waiting = {("coarse", f"c{k}"): Expected(10.0, 0.0) for k in range(4)}
    ahead = Ahead(dict(waiting), 2)
    ahead.ended("coarse", named(outcome, "c0", reused=True))
    ahead.ended("coarse", named(outcome, "c1", failure="no mesh"))
    assert ahead.left(5.0) is None
    ahead.ended("coarse", named(outcome, "c2", seconds=20.0))
    assert ahead.left(20.0) == pytest.approx(0.0)  # by hand: the last has run as long on the other
    unknown = Ahead(dict(waiting), 0)
    unknown.ended("coarse", named(outcome, "c0", seconds=20.0))
    assert unknown.left(20.0) is None


def test_a_plan_s_meshes_and_cases_add_up_to_its_forecast(demo: dict[str, Any]):
    # Definition: what is expected of all cases is what the plan says that they take.
    planned = plan(parse_study(demo, "demo"))
    total = sum(one.whole for one in Ahead.of([planned], 2).waiting.values())
    assert total == pytest.approx(3600 * planned.forecast.hours)
