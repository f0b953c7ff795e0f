"""Fields in factors: they give what was seen, and no more is kept than that needs."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.measures.factored import Factored, FactoredField, combined


def test_products_that_were_seen_come_back():
    # A field of rank three in forty columns, as three singular vectors say (singular value
    # decomposition: the best factors of a rank are the leading ones).
    chance = np.random.default_rng(3)
    values = np.tensordot(chance.normal(size=(50, 6, 3)), chance.normal(size=(3, 40)), axes=1)
    seen = chance.normal(size=(40, 8))
    found = Factored.of(values, seen)
    assert found.left.shape == (50, 6, 3)
    assert found @ seen == pytest.approx(values @ seen, rel=1e-5, abs=1e-5)
    assert combined(found, seen[:, 0]) == pytest.approx(combined(values, seen[:, 0]), abs=1e-5)


def test_what_was_never_seen_is_left_out():
    values = np.eye(4).reshape(2, 2, 4)
    found = Factored.of(values, np.array([[1.0], [0.0], [0.0], [0.0]]))
    assert found.left.shape == (2, 2, 1)
    assert found @ np.array([0.0, 1.0, 0.0, 0.0]) == pytest.approx(np.zeros((2, 2)))


def test_a_field_in_factors_reads_as_the_field():
    chance = np.random.default_rng(5)
    values, shares = chance.normal(size=(20, 6, 5)), chance.normal(size=5)
    factored = FactoredField(Factored.of(values, np.eye(5)), np.ones(20))
    assert factored.under(shares) == pytest.approx(values @ shares, rel=1e-5, abs=1e-5)
