"""Where tissue takes over, from shares over its modulus."""

from __future__ import annotations

import pytest

from pipeline.run.takeover import half_carried


def test_half_is_where_the_share_passes_it_on_a_scale_of_powers():
    # Definition: half-way between 40 and 60 % on a logarithmic scale between 1 and 100 MPa is 10.
    assert half_carried([(0.1, 5.0), (1.0, 40.0), (100.0, 60.0)]) == pytest.approx(10.0)


def test_the_first_passing_counts_and_none_is_empty():
    assert half_carried([(1.0, 10.0), (10.0, 90.0), (100.0, 20.0), (1e3, 80.0)]) == pytest.approx(
        10**0.5
    )
    assert half_carried([(1.0, 10.0), (10.0, 49.0)]) == ""
    assert half_carried([(1.0, 70.0), (10.0, 80.0)]) == 1.0
