"""The command that plans a study without running it."""

from __future__ import annotations

from pipeline.cli.console import say
from pipeline.cli.options import Changes, StudyFile
from pipeline.cli.shown.plan import print_plan
from pipeline.run.planning import plan
from pipeline.storage.caution import CAUTION
from pipeline.study.config import load_study


def check(study: StudyFile, changes: Changes = None) -> None:
    """Read a study file, check every construct's clearances, and print the plan. Solves nothing."""
    config = load_study(study, tuple(changes or ()))
    print_plan(config, plan(config))
    say(f"The study file is sound.\n{CAUTION}")
