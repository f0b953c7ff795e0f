"""What the results of a construct say at the question's stage and under its load."""

from __future__ import annotations

from math import inf
from pathlib import Path

import pytest

from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.run.explore import Request
from pipeline.run.planning import plan
from pipeline.study.config import load_study
from pipeline.tables.rows import Row

STUDY = load_study(Path("configs/which-inputs.toml"))


def asked_of(*rows: tuple[str, float, float | None]) -> Request:
    """Stresses of parts, with their errors in percent, at the question's stage and load."""
    case, outcome = plan(STUDY).cases[-1], STUDY.asked
    own = {"construct": case.name, "stage": outcome.stage, "load": outcome.load, "quantity": PEAK}
    found = (Row(**own, location=part, value=value, error=error) for part, value, error in rows)
    return Request(case, Path(), STUDY, tuple(found))


def test_the_highest_stress_has_the_error_of_the_part_that_has_it():
    # 200 +- 2 % lies above all of 100 +- 50 %.
    request = asked_of(("nail", 200.0, 2.0), ("plate", 100.0, 50.0))
    assert request.mesh_error((PEAK, HIGHEST)) == pytest.approx(0.02)
    assert request.mesh_error((PEAK, "plate")) == pytest.approx(0.5)


def test_what_nobody_knows_is_as_uncertain_as_can_be():
    request = asked_of(("nail", 200.0, None))
    assert request.mesh_error((PEAK, "nail")) == inf
    assert request.mesh_error(("gap_movement", "far")) == inf
