"""Grid-convergence index: published examples, and values whose error is known."""

from __future__ import annotations

from math import inf, isnan

import pytest

from pipeline.tables.convergence import estimate


def test_example_of_equal_ratios():
    # Roache's and NASA's tutorial example: f = 0.97050, 0.96854, 0.96178 at h = 1, 2, 4 gives
    # p = 1.786170, f_ext = 0.9713003, GCI12 = 0.10308 %, GCI23 = 0.35625 %; read on a page that quotes
    # the tutorial's program, whose single precision prints 1.786185 and 0.356244 %.
    found = estimate((0.97050, 0.96854, 0.96178), (1.0, 2.0, 4.0))
    assert found.verdict == "converging"
    assert found.order == pytest.approx(1.786170, abs=2e-6)
    assert found.extrapolated == pytest.approx(0.9713003, abs=2e-7)
    assert found.errors[0] == pytest.approx(0.0010308, abs=2e-7)
    assert found.errors[1] == pytest.approx(0.0035625, abs=2e-7)
    assert 2**found.order * found.errors[0] / found.errors[1] == pytest.approx(0.99798, abs=1e-5)


def test_example_of_unequal_ratios():
    # Celik et al. 2008, J Fluids Eng 130:078001, first column of their table: ratios 1.5 and 1.333,
    # f = 6.063, 5.972, 5.863, GCI = 2.2 %, read in the manual of an open program that has 2.17 %;
    # p = 1.53 and f_ext = 6.1685 recomputed.
    found = estimate((6.063, 5.972, 5.863), (1.0, 1.5, 2.0))
    assert found.order == pytest.approx(1.53, abs=0.01)
    assert found.extrapolated == pytest.approx(6.1685, abs=5e-4)
    assert found.errors[0] == pytest.approx(0.022, abs=5e-4)


@pytest.mark.parametrize("order", [0.7, 1.3, 2.9, 3.8])
@pytest.mark.parametrize("rise", [0.31, -0.31])
def test_an_error_of_pure_order_is_found_exactly(order: float, rise: float):
    # Definition of the order: f(h) = f0 + c h^p.
    sizes = (0.8, 1.1, 1.9)
    values = tuple(7.3 + rise * h**order for h in sizes)
    found = estimate(values, sizes)
    assert found.order == pytest.approx(order, rel=1e-9)
    assert found.extrapolated == pytest.approx(7.3, rel=1e-9)
    for value, error in zip(values, found.errors, strict=True):
        assert error == pytest.approx(1.25 * abs(value - 7.3) / abs(value), rel=1e-7)


def test_changes_that_do_not_shrink_are_not_quoted():
    # A stress that grows by the same amount at each halving, as at a re-entrant corner.
    found = estimate((409.0, 342.0, 275.0), (0.5, 1.0, 2.0))
    assert found.verdict == "singular"
    assert found.errors == (inf, inf, inf)
    assert isnan(found.extrapolated)


def test_small_changes_that_do_not_shrink_are_bounded_with_caution():
    # Stiffness on two coarse meshes that are nearly alike: no order can be seen, but nothing grows
    # either. Roache 2011, J Fluids Eng 133:115501: the formal order with factor 3 (read).
    found = estimate((17_789.0, 17_795.0, 17_795.5), (1.0, 1.38, 1.52))
    assert found.verdict == "unsettled"
    assert isnan(found.extrapolated)
    assert found.errors[0] == pytest.approx(3 * 6 / (1.38**2 - 1) / 17_789, rel=1e-9)


def test_growth_counts_by_halving():
    # A tenth at each halving is the limit, whatever the ratio of the sizes: 1.5 % at a ratio of 1.1.
    for ratio, growth in ((1.1, 1.012), (2.0, 1.09)):
        assert estimate((growth**2, growth, 1.0), (1, ratio, ratio**2)).verdict == "unsettled"
    for ratio, growth in ((1.1, 1.016), (2.0, 1.11)):
        assert estimate((growth**2, growth, 1.0), (1, ratio, ratio**2)).verdict == "singular"


def test_changes_of_unlike_sign_oscillate():
    found = estimate((2.0, 2.1, 1.9), (1.0, 2.0, 4.0))
    assert found.verdict == "oscillatory"
    assert isnan(found.order)
    assert found.errors[0] == pytest.approx(3 * 0.2 / 2.0)


def test_meshes_that_agree_to_round_off_are_exact():
    found = estimate((5.0, 5.0 + 1e-9, 5.0 - 1e-9), (1.0, 2.0, 4.0))
    assert (found.verdict, found.errors, found.extrapolated) == ("exact", (0.0, 0.0, 0.0), 5.0)


def test_an_order_too_good_to_be_true_is_taken_cautiously():
    # A fine pair that agrees by luck: order 10 counts as 4, with the larger factor.
    found = estimate((1.0, 1.001, 2.025), (1.0, 2.0, 4.0))
    assert found.order > 4
    assert found.errors[0] == pytest.approx(3 * 0.001 / (2**4 - 1), rel=1e-6)


def test_a_value_of_zero_has_no_share():
    assert estimate((0.0, 0.1, 0.5), (1.0, 2.0, 4.0)).errors[0] == inf


def test_sizes_must_rise():
    with pytest.raises(ValueError, match="do not rise"):
        estimate((1.0, 2.0, 3.0), (2.0, 2.0, 4.0))
