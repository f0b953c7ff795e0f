"""Strain bands and the line that two load levels are judged by."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.measures.bands import SORTINGS, strain_bands
from pipeline.measures.implants import goodman
from pipeline.measures.literature import SCHEMES
from pipeline.study.config import StudyConfig


@pytest.mark.parametrize("scheme", list(SCHEMES))
def test_bands_sort_all_of_the_volume(scheme):
    # Definition: every point lies in exactly one band.
    rng = np.random.default_rng(5)
    e = np.sort(rng.normal(0, 0.6, (5000, 3)) * rng.uniform(0, 1, (5000, 1)) ** 3, axis=1)
    weights, pressure = rng.uniform(0.1, 1, 5000), rng.normal(0, 0.3, 5000)
    shares = [m.value for m in strain_bands(scheme, e, pressure, weights)]
    assert sum(shares) == pytest.approx(100)
    assert min(shares) > 0


@pytest.mark.parametrize(
    ("scheme", "e", "pressure", "band"),
    [
        ("classical", (-0.018, 0.0, 0.004), 0.0, "under_2"),  # Perren 1979, as quoted
        ("classical", (-0.09, 0.0, 0.01), 0.0, "2_to_10"),
        ("classical", (-0.01, 0.0, 1.2), 0.0, "over_100"),
        ("pressure", (-0.04, 0.0, 0.01), 0.10, "under_5_and_0.15MPa"),  # Claes et al. 1998
        ("pressure", (-0.14, 0.0, 0.01), 0.20, "under_15_over_0.15MPa"),
        ("pressure", (-0.14, 0.0, 0.01), -0.20, "rest"),
        # Prendergast et al. 1997 without fluid, as quoted: limits of 0.01, 1 and 3 at 3.75 %.
        ("deviatoric", (-0.0003, 0.0, 0.0001), 0.0, "under_0.0375"),
        ("deviatoric", (-0.02, 0.0, 0.02), 0.0, "0.0375_to_3.75"),
        ("deviatoric", (-0.05, 0.0, 0.05), 0.0, "3.75_to_11.25"),
        ("deviatoric", (-0.08, 0.0, 0.06), 0.0, "over_11.25"),
    ],
)
def test_bands_have_the_published_limits(scheme, e, pressure: float, band: str):
    found = strain_bands(scheme, np.array([e]), np.array([pressure]), np.ones(1))
    assert [m.location for m in found if m.value == 100] == [f"{scheme}/{band}"]


def test_study_offers_every_scheme():
    # Definition: the file format and the measures name the same schemes.
    (annotation, _) = StudyConfig.model_fields["strain_bands"].annotation.__args__
    assert annotation.__args__ == tuple(SCHEMES) == tuple(SORTINGS)


def test_goodman_meets_both_ends_of_its_line():
    # Goodman line (read on open pages on machine design): with a mean of nothing but amplitude it is
    # the endurance limit, with an endless endurance the ultimate stress.
    assert goodman(400.0, 200.0, 1e12) == pytest.approx(1.0)
    assert goodman(400.0, 1e12, 200.0) == pytest.approx(1.0)
    assert goodman(300.0, 450.0, 860.0) == pytest.approx(1 / (150 / 450 + 150 / 860))
