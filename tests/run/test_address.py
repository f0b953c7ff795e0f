"""The address of a case: whatever changes a number changes it, and nothing else does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from geometries.bone import Defect, Femur
from pipeline.run import case as cases_of_a_run
from pipeline.run.case import Case
from pipeline.run.planning import cases
from pipeline.study.config import parse_study


@pytest.fixture
def case(demo: dict[str, Any]) -> Case:
    """A nail over the gap."""
    return next(one for one in cases(parse_study(demo, "demo")) if one.name == "nail-10")


def test_every_input_of_the_results_is_in_the_address(case: Case, monkeypatch: pytest.MonkeyPatch):
    # Definition: two cases with one address have the same results.
    nail = case.construct.nail.model_copy(update={"reaming_mm": 1.5})
    changed: list[Case] = [
        replace(case, femur=Femur(length_mm=431.0)),
        replace(case, femur=Femur(preset="osteoporotic")),
        replace(case, defect=Defect(gap_mm=3.5)),
        replace(case, construct=case.construct.model_copy(update={"nail": nail})),
        replace(case, level="fine"),
        replace(case, stages=case.stages[1:]),
        replace(case, loads=case.loads[1:]),
        replace(case, loads=(*case.loads[1:], case.loads[0].model_copy(update={"name": "other"}))),
        replace(case, strain_bands=()),
    ]
    addresses = {case.address, *(one.address for one in changed)}
    monkeypatch.setattr(cases_of_a_run, "fingerprint", lambda: "other code")
    addresses.add(replace(case).address)
    assert len(addresses) == 1 + len(changed) + 1


def test_names_of_construct_and_variant_are_not(case: Case):
    other = case.construct.model_copy(update={"name": "other", "defect": case.own_defect})
    assert replace(case, construct=other, variant="v007").address == case.address
