"""Samples of the inputs in the words and numbers of a study."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.run.explored import Samples
from pipeline.run.robust import ComparedPair, Drawn
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


def test_a_row_has_the_flags_of_both_results_as_the_study_has_the_inputs():
    values = np.linspace(1.0, 2.0, 200)[:, None]
    samples = (Samples(values, np.zeros(1)), Samples(values + 1.0, np.zeros(1)))
    pair = ComparedPair(("p", "n"), samples, ("gap_movement", "far"), 0, (0.0, 0.0), "hip", "a: pulled")
    assert pair.row(DRAWN)["flags"] == "a: pulled"
    assert not [cells for cells in pair.maps(DRAWN) if "flags" in cells]


def test_a_flip_names_what_moves_and_from_where():
    said = DRAWN.told(Flip(np.array([1.0, 0.5, 0.0, 0.5]), 0.5, 10))
    assert said == "tissue_modulus_mpa 1 -> 10"
    said = DRAWN.told(Flip(np.array([0.5, 1.0, 1.0, 0.5]), 0.7, 10))
    assert said.startswith("weight_factor 1 -> 1.5; load tilted 10 deg towards azimuth ")


def test_a_flip_leaves_out_what_does_not_move_and_has_no_minus_0():
    # By hand: 1.036 and 1.0445 MPa both read 1.04, although 0.8 % lie between; azimuths are 360 deg
    # times their share less 180 deg.
    near = Drawn(INPUTS, Stage(name="t", modulus_mpa=1.036, poisson_ratio=0.2))
    said = near.told(Flip(np.array([0.50945, 0.5, 1.0, 0.499]), 0.1, 10))
    assert said == "load tilted 10 deg towards azimuth 0 deg"
    said = DRAWN.told(Flip(np.array([0.5, 0.5, 1.0, 0.25]), 0.1, 10))
    assert said == "load tilted 10 deg towards azimuth -90 deg"
    assert DRAWN.told(Flip(np.array([0.5, 0.5, 0.0, 0.5]), 0.0, 10)) == (
        "less than half a percent of any input"
    )


def test_a_pair_is_counted_as_its_values_and_errors_say():
    # Definition: b - a decides where it exceeds the sum of both errors. Here b = 2 a but in the softest
    # fifth of the samples, which are equal, and errors are 10 % each.
    moduli = DRAWN.inputs.values(DRAWN.shares)["tissue_modulus_mpa"]
    a = np.ones((200, 1))
    b = np.where(moduli[:, None] < np.quantile(moduli, 0.2), 1.0, 2.0)
    samples = (Samples(a, np.zeros(1)), Samples(b, np.zeros(1)))
    pair = ComparedPair(("a", "b"), samples, ("gap_movement", "far"), 0, (0.1, 0.1), "hip")
    row = pair.row(DRAWN)
    assert row["a_lower_percent"] == pytest.approx(80.0)
    assert row["undecided_percent"] == pytest.approx(20.0)
    assert row["a_higher_percent"] == 0
    assert row["turned_by"] == "tissue_modulus_mpa"
    maps = list(pair.maps(DRAWN))
    tissue = [cells for cells in maps if cells["map"] == "tissue"]
    assert tissue[0]["undecided_percent"] == 100
    assert tissue[-1]["a_lower_percent"] == 100
    for cells in maps:
        shares = [cells[f"{way}_percent"] for way in ("a_lower", "a_higher", "undecided")]
        assert sum(map(float, shares)) == pytest.approx(100.0)
