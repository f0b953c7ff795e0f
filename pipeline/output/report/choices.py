"""Charts of each stage and load of a run, of which a reader chooses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from pipeline.output.report.charts import Chart, charts_of_load, charts_of_stage
from pipeline.output.report.growing import curve_charts
from pipeline.output.report.run import ReportedRun

MOST_CHOICES = 24  # stages under loads: 0.1 MB and half a second each


@dataclass(frozen=True)
class Offered:
    """Charts of one stage, under one load or, where that is empty, whatever the load."""

    stage: str
    load: str
    charts: list[Chart]


@dataclass(frozen=True)
class Choices:
    """What can be chosen, those first that are shown at first, and what found no room, in words."""

    of_load: list[Offered]
    of_stage: list[Offered]
    without: list[str]

    @property
    def stages(self) -> list[str]:
        """Names of all stages."""
        return list(dict.fromkeys(one.stage for one in (*self.of_load, *self.of_stage)))

    @property
    def loads(self) -> list[str]:
        """Names of all loads."""
        return list(dict.fromkeys(one.load for one in self.of_load))


def choices(run: ReportedRun) -> Choices:
    """Charts of all stages and loads that have results, the study's shown ones first."""
    study = run.study
    solved = {(entry["stage"], entry["load"]) for entry in run.first if entry["status"] == "ok"}
    every = [(stage.name, load.name) for stage in study.stages for load in study.loads]
    held = [one for one in every if one in solved] or [study.shown]  # of an intact bone alone
    wanted = sorted(held, key=lambda one: [a != b for a, b in zip(one, study.shown, strict=True)])
    of_load = [Offered(*one, _of_load(run, *one)) for one in wanted[:MOST_CHOICES]]
    stages = dict.fromkeys(one.stage for one in of_load)
    of_stage = [Offered(stage, "", _of_stage(run, stage)) for stage in stages]
    without = [f"{stage} under {load}" for stage, load in wanted[MOST_CHOICES:]]
    return Choices(of_load, of_stage, without)


def _of_load(run: ReportedRun, stage: str, load: str) -> list[Chart]:
    return _told(charts_of_load(run.showing(stage, load)), f"stage {stage}, load {load}")


def _of_stage(run: ReportedRun, stage: str) -> list[Chart]:
    own = run.showing(stage, run.study.shown[1])
    return _told((*charts_of_stage(own), *curve_charts(own)), f"stage {stage}")


def _told(charts: Iterable[Chart], what: str) -> list[Chart]:
    """Charts whose words for who can not see them begin with what was chosen."""
    return [replace(chart, words=f"At {what}. {chart.words}") for chart in charts]
