"""Samples of the inputs in the words and numbers of a study."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.run.robust import Drawn
from pipeline.study.robustness import Robustness
from pipeline.study.stages import Stage
from pipeline.sweeps.flip import Flip

INPUTS = Robustness.model_validate(
    {
        "samples": 200,
        "inputs": [
            {"name": "tissue_modulus_mpa", "distribution": "log_uniform", "low": 0.1, "high": 10.0,
             "source": "assumed"},
            {"name": "weight_factor", "distribution": "uniform", "low": 0.5, "high": 1.5,
             "source": "assumed"},
            {"name": "load_direction", "distribution": "cone", "half_angle_deg": 10.0,
             "source": "assumed"},
        ],
    }
)  # fmt: skip
STAGE = Stage(name="t", modulus_mpa=1.0, poisson_ratio=0.2)
DRAWN = Drawn(INPUTS, STAGE)


def test_what_the_study_has_lies_where_its_distributions_say():
    # 1 MPa is half-way between 0.1 and 10 on a logarithmic scale, 1 between 0.5 and 1.5 on a plain one.
    assert DRAWN.written == pytest.approx([0.5, 0.5, 0.0, 0.5], abs=1e-6)
    (values,), tilts = DRAWN.split(DRAWN.written[None])
    assert values == pytest.approx({"tissue_modulus_mpa": 1.0, "weight_factor": 1.0}, rel=1e-3)
    assert tilts is not None
    assert tilts[0, 0] == pytest.approx(0.0)


def test_a_value_outside_its_distribution_is_taken_at_its_end():
    stiff = Drawn(INPUTS, Stage(name="s", modulus_mpa=500.0, poisson_ratio=0.2))
    assert stiff.written[0] == 1.0


def test_samples_come_one_by_one():
    values, tilts = DRAWN.split(DRAWN.shares)
    assert len(values) == 200
    assert tilts is not None
    assert tilts.shape == (200, 2)
    assert tilts[:, 0].max() <= 10.0
    moduli = np.array([one["tissue_modulus_mpa"] for one in values])
    assert 0.1 <= moduli.min() < moduli.max() <= 10.0


def test_a_flip_names_what_moves_and_from_where():
    said = DRAWN.told(Flip(np.array([1.0, 0.5, 0.0, 0.5]), 0.5, 10))
    assert said == "tissue_modulus_mpa 1 -> 10"
    said = DRAWN.told(Flip(np.array([0.5, 1.0, 1.0, 0.5]), 0.7, 10))
    assert said.startswith("weight_factor 1 -> 1.5; load tilted 10 deg towards azimuth ")
