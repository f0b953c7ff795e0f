"""Tissue stages: a stage's own constants come before the ladder's, and none makes elements lock."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from geometries.materials import TISSUES
from pipeline.study.stages import Stage


@pytest.mark.parametrize(
    ("stage", "modulus", "poisson"),
    [
        (Stage(name="woven"), TISSUES["woven"].modulus, TISSUES["woven"].poisson),
        (Stage(name="woven", modulus_mpa=70.0), 70.0, TISSUES["woven"].poisson),
        (Stage(name="woven", poisson_ratio=0.41), TISSUES["woven"].modulus, 0.41),
        (Stage(name="mine", modulus_mpa=3.0, poisson_ratio=0.05), 3.0, 0.05),
    ],
    ids=["built in", "own modulus", "own Poisson's ratio", "own both"],
)
def test_own_constants_come_first(stage: Stage, modulus: float, poisson: float):
    # Definition.
    found = stage.material()
    assert (found.modulus, found.poisson) == (modulus, poisson)


def test_poisson_s_ratio_ends_where_quadratic_tetrahedra_still_bend():
    # At 0.45 they are sound; from there to 0.5 they lock (common practice, no source).
    assert Stage(name="mine", modulus_mpa=3.0, poisson_ratio=0.45).poisson_ratio == 0.45
    for ratio in (0.4501, -0.01):
        with pytest.raises(ValidationError, match="poisson_ratio"):
            Stage(name="mine", modulus_mpa=3.0, poisson_ratio=ratio)
