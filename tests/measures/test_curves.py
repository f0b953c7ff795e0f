"""Answers to a growing load: kinks where they are known to be, stress as it is read elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.materials import isotropic
from geometries.solids import IMPLANT_ROLES
from pipeline.fem.contact.cones import Cones, NotHeldError
from pipeline.fem.contact.states import State
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import fine_rule, strains
from pipeline.measures import curves
from pipeline.measures.curves import KNOWN, STEPS, traced
from pipeline.measures.field import level_exceeded, von_mises
from pipeline.measures.implants import hottest, implants
from pipeline.measures.stiffness import is_pure_moment
from tests.models import own_constants

FREE = np.array([1.0, 0.8])  # mm that two stops move under the whole load while both are clear
COMPLIANCE = 1e-3 * np.array([[2.0, 1.0], [1.0, 2.0]])
CLEARANCE = np.array([0.3, 0.4])
# The first closes at 0.3 / 1.0 of the load. Its force takes (f - 0.3) / 2 off the second's movement,
# which is then 0.3 f + 0.15 and reaches 0.4 at f = 0.25 / 0.3: by hand.
KINKS = (0.3, 0.25 / 0.3)


def answer(is_one_sided: bool = False) -> curves.Answer:
    """Two stops in a row on one springy body."""
    cones = Cones(
        np.array([0, 1, 2]), CLEARANCE, np.zeros(2), np.full(2, is_one_sided), COMPLIANCE,
        np.zeros((2, 0)),
    )  # fmt: skip

    def under(factor: float) -> State:
        free = factor * FREE
        forces, _ = cones.bear(free, np.zeros(0))
        moved = free + COMPLIANCE @ forces
        bearing = {k: forces[[k]] for k in range(2) if forces[k]}
        return State(np.array([factor, *forces]), bearing, moved, np.abs(moved) - CLEARANCE)

    return under


def kinks(found: list[curves.Traced]) -> list[float]:
    return [one.factor for one in found if one.is_kink]


def test_a_kink_stands_where_its_stop_closes():
    found = traced(answer(), is_reversible=False)
    assert kinks(found) == pytest.approx(KINKS, abs=KNOWN)
    assert all(found_at >= place for found_at, place in zip(kinks(found), KINKS, strict=True))
    assert [len(one.state.forces) for one in found if one.is_kink] == [1, 2]


def test_even_steps_stand_beside_the_kinks():
    found = traced(answer(), is_reversible=True)
    factors = [one.factor for one in found]
    assert factors == sorted(set(factors))
    assert {k / STEPS for k in range(-STEPS, STEPS + 1)} <= set(factors)
    assert len(factors) == 2 * STEPS + 1 + 2 * len(KINKS)


def test_straight_lines_between_the_rows_are_the_whole_answer():
    """An answer that is straight between kinks: at most what half a percent of the load moves."""
    found, under = traced(answer(), is_reversible=True), answer()
    factors = np.array([one.factor for one in found])
    moved = np.array([one.state.moved for one in found])
    for factor in np.linspace(-1, 1, 173):
        between = [np.interp(factor, factors, moved[:, k]) for k in range(2)]
        assert between == pytest.approx(under(factor).moved, abs=KNOWN * FREE.max())


def test_a_load_turned_round_meets_two_sided_stops_as_well():
    found = traced(answer(), is_reversible=True)
    assert kinks(found) == pytest.approx([-KINKS[1], -KINKS[0], *KINKS], abs=KNOWN)
    one_sided = kinks(traced(answer(is_one_sided=True), is_reversible=True))
    assert max(one_sided) < 0  # they bear only where bodies come closer


@pytest.mark.parametrize("closes", [0.125, 0.5, 0.1249, 0.7501, 0.999])
def test_a_kink_is_found_wherever_it_lies_between_steps(closes: float):
    def under(factor: float) -> State:
        bearing = {0: np.ones(1)} if factor >= closes else {}
        return State(np.array([factor]), bearing, np.zeros(1), np.zeros(1))

    (found,) = kinks(traced(under, is_reversible=False))
    assert 0 <= found - closes <= KNOWN


@pytest.mark.parametrize("lost", [(0.56, 0.57), (0.6, 0.6126), (0.5, 0.5), (0.53, 0.555)])
def test_a_factor_without_balance_hides_nothing_beyond_it(lost: tuple[float, float]):
    """A stop that closes at 0.5613 of the load, and factors at which no balance is found."""

    def under(factor: float) -> State:
        if lost[0] <= factor <= lost[1]:
            raise NotHeldError(np.zeros(6))
        bearing = {0: np.ones(1)} if factor >= 0.5613 else {}
        return State(np.array([factor]), bearing, np.zeros(1), np.zeros(1))

    found = traced(under, is_reversible=False)
    (kink,) = kinks(found)
    assert 0 <= kink - 0.5613 <= max(KNOWN, lost[1] - lost[0] + KNOWN)
    assert found[-1].factor == 1.0


def test_a_sense_that_nothing_holds_ends_the_curve():
    """A loose body against one stop on one side: pushed it rests, pulled it goes."""
    cones = Cones(
        np.array([0, 1]), np.array([0.2]), np.zeros(1), np.ones(1, bool), np.array([[1e-3]]),
        np.ones((1, 1)),
    )  # fmt: skip

    def under(factor: float) -> State:
        forces, motion = cones.bear(np.zeros(1), np.array([-100.0 * factor]))
        bearing = {0: forces} if forces.any() else {}
        return State(np.array([factor, *forces, *motion]), bearing, motion, -motion - 0.2)

    with pytest.raises(NotHeldError):
        under(-0.5)
    factors = [one.factor for one in traced(under, is_reversible=True)]
    assert (min(factors), max(factors)) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("shares", "expected"),
    [
        ([0, 0, 0, 0, 0, 1e4], True),
        ([0, 0, 0, 7e3, -2e3, 0], True),
        ([0, 0, 0, 0, 0, 1e4, 0, 0], True),
        ([0, 0, -700, 0, 0, 1e4], False),
        ([3.0, 0, -700, 0, 0, 0], False),
        ([0, 0, 0, 0, 0, 1e4, 50.0], False),
    ],
)
def test_only_moments_are_turned_round(shares: list[float], expected: bool):
    assert is_pure_moment(np.array(shares, dtype=float)) is expected


def test_the_highest_stress_is_that_of_the_part_that_has_it(small: Mesh):
    """Against each implant, whole, at 2048 points to a cell: known to 1 % (definition)."""
    rng = np.random.default_rng(5)
    displacement = 1e-3 * rng.standard_normal((*small.nodes.shape, 3))
    shares = rng.standard_normal((3, 4))
    elasticity = np.stack([isotropic(*pair) for pair in own_constants(small)])
    found = hottest(implants(small, elasticity, displacement), shares, np.ones(4, dtype=bool))
    points, rule = fine_rule(3)
    for step in range(4):
        u = displacement @ shares[:, [step]]
        levels = {}
        for index, part in enumerate(small.parts):
            if part.role in IMPLANT_ROLES:
                cells = small.cells[small.part_of == index]
                strain, det = strains(small.nodes, cells, u, points)
                stress = von_mises(strain[..., 0] @ elasticity[index])
                levels[part.name] = level_exceeded(stress.ravel(), (det * rule).ravel(), 5.0)
        part = max(levels, key=lambda name: levels[name])
        assert found[step] == (pytest.approx(levels[part], rel=0.01), part)


def test_a_mesh_without_implants_has_no_stress():
    assert hottest((), np.zeros((1, 2)), np.ones(2, dtype=bool)) == [(None, ""), (None, "")]


def test_between_turns_a_straight_answer_needs_no_finer_reading(small: Mesh):
    """Definition: stress that grows in proportion does so in every cell, and so does its level."""
    rng = np.random.default_rng(6)
    parts = implants(
        small, np.stack([isotropic(*pair) for pair in own_constants(small)]),
        1e-3 * rng.standard_normal((*small.nodes.shape, 2)),
    )  # fmt: skip
    shares = np.outer(rng.standard_normal(2), np.linspace(0, 1, 9))
    turns = np.arange(9) % 8 == 0
    found = [level for level, _ in hottest(parts, shares, turns)]
    whole = [level for level, _ in hottest(parts, shares, ~np.zeros(9, dtype=bool))]
    assert found == pytest.approx(whole, rel=1e-9)
