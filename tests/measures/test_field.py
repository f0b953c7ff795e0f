"""Principal values and equivalent stresses of tensors that are known by hand."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from pipeline.fem.space import Array
from pipeline.measures.cells import STRESS_OF_SHEAR
from pipeline.measures.field import octahedral, percentiles, principal, shear_numbers, von_mises

NEAR = 1e-14  # of the largest


def components(tensor: Array, shear: float) -> Array:
    """A symmetric tensor as xx, yy, zz, xy, yz, zx (1, 6), its shears times a factor."""
    (xx, xy, zx), (_, yy, yz), (_, _, zz) = tensor
    return np.array([[xx, yy, zz, shear * xy, shear * yz, shear * zx]])


@pytest.mark.parametrize("component", [3, 4, 5])
def test_a_shear_is_half_of_its_angle_either_way(component: int):
    # Mohr's circle (any text): the principal strains of a shear angle γ are ± γ / 2, and its
    # octahedral shear is 2/3 sqrt(1.5) γ.
    strain = np.zeros((1, 6))
    strain[0, component] = 0.03
    np.testing.assert_allclose(principal(strain), [[-0.015, 0, 0.015]], atol=1e-15)
    assert octahedral(principal(strain)) == pytest.approx(2 / 3 * sqrt(1.5) * 0.03)


def test_principal_strains_do_not_depend_on_the_frame():
    # Definition, for a turned frame from the QR factors of any matrix.
    turn = np.linalg.qr(np.array([[3.0, 1.0, -2.0], [0.5, 2.0, 1.0], [1.0, -1.0, 4.0]]))[0]
    tensor = turn @ np.diag([-0.02, 0.004, 0.011]) @ turn.T
    np.testing.assert_allclose(principal(components(tensor, 2.0)), [[-0.02, 0.004, 0.011]], atol=1e-15)


@pytest.mark.parametrize("apart", [1.0, 1e-3, 1e-9, 0.0])
def test_principal_strains_are_those_that_lapack_has(apart: float):
    # Values near each other and nil too, of any size; more tensors than are turned at once.
    chance = np.random.default_rng(8)
    turns = np.linalg.qr(chance.standard_normal((1500, 3, 3)))[0]
    middle = chance.standard_normal((1500, 1))
    values = middle + apart * chance.standard_normal((1500, 3)) * [1.0, 1.0, 0.0]
    values *= 10.0 ** chance.uniform(-9, 3, (1500, 1)) * (chance.random((1500, 1)) > 0.01)
    tensors = np.einsum("nij,nj,nkj->nik", turns, values, turns)
    strain = np.concatenate([components(tensor, 2.0) for tensor in tensors])
    expected = np.linalg.eigvalsh(tensors)
    assert (np.abs(principal(strain) - expected) <= NEAR * np.abs(values).max(axis=1)[:, None]).all()


@pytest.mark.parametrize("count", [1, 2, 5, 3000])
@pytest.mark.parametrize("steepness", [0.0, 1.0, 4.0])
def test_percentiles_are_those_of_all_values_in_order(count: int, steepness: float):
    # Definition; where a few values are far higher than all others, too.
    chance = np.random.default_rng(count)
    values = np.exp(steepness * chance.standard_normal(count))
    weights, shares = chance.uniform(0.01, 1.0, count), [0.0, 0.05, 0.5, 0.95, 0.999, 1.0]
    order = np.argsort(values)
    middles = (np.cumsum(weights[order]) - weights[order] / 2) / weights.sum()
    expected = np.interp(shares, middles, values[order])
    assert percentiles(values, weights, shares) == pytest.approx(expected, rel=1e-9)


def test_of_what_is_no_number_there_is_no_percentile():
    for odd in (np.nan, np.inf):
        found = percentiles(np.array([1.0, odd, 2.0]), np.ones(3), (0.5,))
        assert np.isnan(found).all()
    assert percentiles(np.full(4, 3.0), np.ones(4), (0.1, 0.9)) == [3.0, 3.0]


def test_von_mises_stress_is_that_of_a_pull_and_leaves_pressure_out():
    # Definition: |σ| of a uniaxial stress, √3 |τ| of a shear, in any frame and under any pressure.
    turn = np.linalg.qr(np.array([[3.0, 1.0, -2.0], [0.5, 2.0, 1.0], [1.0, -1.0, 4.0]]))[0]
    pull = turn @ np.diag([0.0, -240.0, 0.0]) @ turn.T + 70.0 * np.eye(3)
    assert von_mises(components(pull, 1.0)) == pytest.approx(240)
    for component in (3, 4, 5):
        stress = np.zeros((1, 6))
        stress[0, component] = -11.0
        assert von_mises(stress) == pytest.approx(11 * sqrt(3))


def test_five_numbers_are_as_long_as_the_octahedral_shear_strain():
    # Definition, for strains of any kind; of an isotropic material von Mises stress is 3 / √2 times the
    # octahedral shear stress, which is the shear modulus times the octahedral shear strain (any text).
    strains, shear_modulus = np.random.default_rng(4).normal(size=(30, 6)), 44_000.0
    found = np.linalg.norm(shear_numbers(strains[..., None]), axis=1)[:, 0]
    assert found == pytest.approx(octahedral(principal(strains)))
    elasticity = np.diag([2, 2, 2, 1, 1, 1]) * shear_modulus
    elasticity[:3, :3] += 57_000.0
    assert STRESS_OF_SHEAR * shear_modulus * found == pytest.approx(von_mises(strains @ elasticity))
