"""Inputs drawn at random: their distributions against closed forms, and refusals of bad ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, qmc

from geometries.errors import StudyError
from pipeline.study.config import parse_study
from pipeline.study.robustness import (
    ALLOWED,
    Cone,
    LogUniform,
    Normal,
    RangedInput,
    Robustness,
    Uniform,
)

MODULUS = {"name": "tissue_modulus_mpa", "distribution": "log_uniform", "low": 0.3, "high": 19.0}
WEIGHT = {"name": "weight_factor", "distribution": "uniform", "low": 0.7, "high": 1.9}
CORTEX = {"name": "cortical_factor", "distribution": "normal", "mean": 0.9, "sd": 0.13} | {
    "low": 0.6,
    "high": 1.1,
}
TILT = {"name": "load_direction", "distribution": "cone", "half_angle_deg": 17.0}
SHARES = np.linspace(0, 1, 41)


def _robustness(*inputs: dict[str, Any], **keys: Any) -> Robustness:
    given = inputs or (MODULUS, TILT, CORTEX, WEIGHT)
    return Robustness.model_validate(keys | {"inputs": [one | {"source": "assumed"} for one in given]})


def _refused(demo: dict[str, Any], *inputs: dict[str, Any], **keys: Any) -> str:
    named = [{"source": "assumed"} | one for one in inputs]
    with pytest.raises(StudyError) as caught:
        parse_study(demo | {"robustness": keys | {"inputs": named}}, "demo")
    (line,) = str(caught.value).splitlines()
    return line.removeprefix("demo: ")


# --- Distributions --------------------------------------------------------------------------------


def test_a_uniform_input_is_linear_in_its_share():
    (one,) = _robustness(WEIGHT).inputs
    assert one.at(np.array([0.0, 0.25, 1.0])) == pytest.approx([0.7, 1.0, 1.9])


def test_a_log_uniform_input_has_equal_ratios():
    """Closed form: the median is the geometric mean of the limits."""
    (one,) = _robustness(MODULUS).inputs
    found = one.at(SHARES)
    assert found[20] == pytest.approx((0.3 * 19.0) ** 0.5)
    assert found[1:] / found[:-1] == pytest.approx(np.full(40, (19.0 / 0.3) ** (1 / 40)))


def test_a_normal_input_is_cut_and_not_squeezed():
    """Definition: the share below a value is what the whole curve has between low and it."""
    (one,) = _robustness(CORTEX).inputs
    found = one.at(SHARES)
    below, value, above = (norm.cdf((x - 0.9) / 0.13) for x in (0.6, found, 1.1))
    assert (value - below) / (above - below) == pytest.approx(SHARES, abs=1e-9)


@pytest.mark.parametrize("sd", [1e-9, 20_000.0])
def test_a_normal_input_as_narrow_or_wide_as_can_be_stays_within(sd: float):
    found = _robustness(CORTEX | {"sd": sd, "mean": 0.6}).inputs[0].at(SHARES)
    assert np.all((found >= 0.6) & (found <= 1.1))
    assert np.all(np.diff(found) >= 0)
    assert found[20] == pytest.approx(0.6 if sd < 1 else 0.85, abs=1e-6)


def test_a_cone_is_even_over_the_sphere():
    """Archimedes: equal heights of a sphere have equal areas, so the cosine is uniform."""
    (one,) = _robustness(TILT).inputs
    found = one.at(np.column_stack([SHARES, SHARES]))
    height = (1 - np.cos(np.radians(found[:, 0]))) / (1 - np.cos(np.radians(17.0)))
    assert height == pytest.approx(SHARES)
    assert found[:, 1] == pytest.approx(np.linspace(-180, 180, 41))
    assert found[-1, 0] == pytest.approx(17.0)


def test_a_small_cone_keeps_its_digits():
    """Closed form: a small cap is flat, and radii in a disc go with the root of the share."""
    (one,) = _robustness(TILT | {"half_angle_deg": 1e-6}).inputs
    assert one.at(np.array([[0.25, 0.5]])) == pytest.approx(np.array([[5e-7, 0.0]]), rel=1e-9)


def test_every_distribution_ends_at_its_limits():
    for given in (MODULUS, WEIGHT, CORTEX):
        one = _robustness(given).inputs[0]
        assert isinstance(one, RangedInput)
        assert one.at(np.array([0.0, 1.0])) == pytest.approx([one.low, one.high], rel=1e-12)


# --- Points ---------------------------------------------------------------------------------------


def test_points_are_the_sobol_sequence_of_scipy():
    """Source: scipy.stats.qmc with the same seed, 256 points of it, cut at 200."""
    robustness = _robustness(samples=200, seed=7)
    drawn = qmc.Sobol(5, seed=np.random.default_rng(7)).random_base2(8)
    assert np.array_equal(robustness.shares(), drawn[:200])
    assert np.array_equal(robustness.shares(), robustness.shares())
    assert len(_robustness(samples=256).shares()) == 256


def test_a_direction_takes_two_columns():
    robustness = _robustness(samples=128)
    assert robustness.dimension == 5
    assert robustness.columns == {
        "tissue_modulus_mpa": (0,), "load_direction": (1, 2), "cortical_factor": (3,),
        "weight_factor": (4,),
    }  # fmt: skip
    shares = robustness.shares()
    values = robustness.values(shares)
    assert {name: found.shape for name, found in values.items()} == {
        "tissue_modulus_mpa": (128,), "load_direction": (128, 2), "cortical_factor": (128,),
        "weight_factor": (128,),
    }  # fmt: skip
    assert values["weight_factor"] == pytest.approx(0.7 + 1.2 * shares[:, 4])
    assert values["load_direction"][:, 1] == pytest.approx(360 * shares[:, 2] - 180)


def test_means_of_the_points_are_those_of_the_distributions():
    """Closed forms; of the normal distribution by quadrature. An even sequence errs far less."""
    robustness = _robustness(samples=4096)
    values = robustness.values(robustness.shares())
    assert values["weight_factor"].mean() == pytest.approx(1.3, rel=1e-3)
    expected = (19.0 - 0.3) / np.log(19.0 / 0.3)
    assert values["tissue_modulus_mpa"].mean() == pytest.approx(expected, rel=1e-3)
    mass, _ = quad(lambda x: norm.pdf(x, 0.9, 0.13), 0.6, 1.1)
    moment, _ = quad(lambda x: x * norm.pdf(x, 0.9, 0.13), 0.6, 1.1)
    assert values["cortical_factor"].mean() == pytest.approx(moment / mass, rel=1e-3)


def test_defaults_are_those_written_out():
    robustness = _robustness(WEIGHT)
    assert (robustness.samples, robustness.seed, robustness.quantities) == (10_000, 1, ())


# --- A study with the table, and refusals ---------------------------------------------------------


def test_a_study_may_have_the_table(demo: dict[str, Any]):
    assert parse_study(demo, "demo").robustness is None
    inputs = [one | {"source": "assumed"} for one in (MODULUS, WEIGHT, CORTEX, TILT)]
    found = parse_study(demo | {"robustness": {"inputs": inputs}}, "demo").robustness
    assert found is not None
    assert [type(one) for one in found.inputs] == [LogUniform, Uniform, Normal, Cone]


@pytest.mark.parametrize("name", ALLOWED)
def test_an_input_may_reach_its_limits_and_not_pass_them(demo: dict[str, Any], name: str):
    low, high = ALLOWED[name].low, ALLOWED[name].high
    whole = {"name": name, "distribution": "uniform", "low": low, "high": high}
    assert _robustness(whole).dimension == 1
    said = _refused(demo, whole | {"high": high * 1.01})
    assert said.startswith(f"robustness.input {name!r}: high = {high * 1.01}: allowed ")
    assert said.endswith("; correct it")


LINES = [
    (CORTEX | {"high": 30}, "high = 30: allowed 0.4 to 1.2 for cortical_factor; correct it"),
    (WEIGHT | {"low": 0.01}, "low = 0.01: allowed 0.05 to 3 for weight_factor; correct it"),
    (WEIGHT | {"low": 2.0}, "high = 1.9: allowed more than low = 2; correct one of them"),
    (WEIGHT | {"high": 0.7}, "high = 0.7: allowed more than low = 0.7; correct one of them"),
    (
        WEIGHT | {"high": 1e9},
        "high = 1000000000.0: allowed 0 to 20000; correct it",
    ),
    (
        MODULUS | {"low": 0.002},
        "low = 0.002: allowed 0.1 to 20000 for tissue_modulus_mpa; did you mean 2 MPa (0.002 GPa)?",
    ),
    (
        {"name": "play_factor", "distribution": "log_uniform", "low": 0, "high": 2.0},
        "low = 0: allowed above 0 with distribution = 'log_uniform'; correct it",
    ),
    (CORTEX | {"mean": 0.5}, "mean = 0.5: allowed low to high, 0.6 to 1.1; correct it"),
    (CORTEX | {"sd": 0}, "sd = 0: allowed above 0 to 20000; correct it"),
    (TILT | {"half_angle_deg": 31}, "half_angle_deg = 31: allowed above 0 to 30; correct it"),
    (
        TILT | {"half_angle_deg": 0.0},
        "half_angle_deg = 0.0: allowed above 0 to 30; correct it",
    ),
    (
        TILT | {"low": 3.0},
        "low = 3.0: unknown key; allowed source, name, distribution, half_angle_deg: correct or remove "
        "it",
    ),
    ({k: v for k, v in CORTEX.items() if k != "high"}, "high: missing; add it"),
]


@pytest.mark.parametrize(("given", "line"), LINES)
def test_an_input_is_refused_in_words(demo: dict[str, Any], given: dict[str, Any], line: str):
    assert _refused(demo, TILT if given["name"] != "load_direction" else WEIGHT, given) == (
        f"robustness.input {given['name']!r}: {line}"
    )


def test_kinds_of_tables_are_named_by_their_own_key(demo: dict[str, Any]):
    line = _refused(demo, WEIGHT | {"distribution": "beta"})
    assert line == (
        "robustness.input 'weight_factor': distribution = 'beta' is not known; allowed 'uniform', "
        "'log_uniform', 'normal', 'cone'; correct it"
    )
    line = _refused(demo, {"name": "weight_factor"})
    assert line == "robustness.input 'weight_factor': the key 'distribution' is missing; add it"
    with pytest.raises(StudyError, match="kind = 'push' is not known; allowed 'hip_force', 'torsion'"):
        parse_study(demo | {"loads": [{"kind": "push", "name": "a"}]}, "demo")
    with pytest.raises(StudyError, match=r"load 'a': the key 'kind' is missing; add it"):
        parse_study(demo | {"loads": [{"name": "a"}]}, "demo")


def test_a_direction_needs_a_cone_and_a_number_none(demo: dict[str, Any]):
    line = _refused(demo, WEIGHT | {"name": "load_direction"})
    assert line.startswith("robustness.inputs.0.name = 'load_direction'")
    assert "'tissue_modulus_mpa'" in line
    line = _refused(demo, TILT | {"name": "weight_factor"})
    assert line.startswith("robustness.inputs.0.name = 'weight_factor'")
    assert "'load_direction'" in line


def test_what_the_whole_table_refuses(demo: dict[str, Any]):
    line = _refused(demo, WEIGHT, TILT, WEIGHT)
    assert line == "robustness: inputs: 'weight_factor' occurs more than once; remove one"
    line = _refused(demo, WEIGHT, quantities=["gap_movement/far", "gap_movement/far"])
    assert line == "robustness: quantities: 'gap_movement/far' occurs more than once; remove one"
    line = _refused(demo, WEIGHT, quantities=["gap_movement/far", "gap_movment/far"])
    assert line.startswith("robustness.quantities.1 = 'gap_movment/far': no such quantity")
    assert "gap_movement" in line
    for text in ("gap_movement", "gap_movement/", "/far", "", "/"):
        line = _refused(demo, WEIGHT, quantities=[text])
        assert line == (
            f"robustness.quantities.0 = {text!r}: allowed is quantity/location, as in "
            "gap_movement/far; correct it"
        )
    assert "1 or more" in _refused(demo)
    assert _refused(demo, WEIGHT, samples=99).startswith("robustness.samples = 99: allowed 100 to 1000")
    assert _refused(demo, WEIGHT, seed=-1).startswith("robustness.seed = -1: allowed 0 to")
    line = _refused(demo, WEIGHT | {"source": "  "})
    assert line.startswith("robustness.input 'weight_factor': source = '  ': ")
