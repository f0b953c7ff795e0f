"""Stops beside a state: what they answer to a little more, held against the states themselves."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fem.contact.tangent import answered, held
from tests.fem.contact.test_cones import NOTHING, cones, random_case

STEP = 1e-6


@pytest.mark.parametrize("seed", range(20))
def test_a_little_more_is_answered_as_states_beside_it_say(seed: int):
    # Definition of a derivative: states with a little more and a little less of another movement, where
    # the same stops bear in both.
    stops, free = random_case(seed)
    other = np.random.default_rng(seed + 1000).normal(0, 1, (len(free), 2))
    forces, _ = stops.bear(free, NOTHING)
    found = answered(stops, forces, other, np.zeros((0, 2)))
    for k in range(2):
        after, before = (stops.bear(free + way * STEP * other[:, k], NOTHING)[0] for way in (1.0, -1.0))
        bears = [forces.astype(bool), after.astype(bool), before.astype(bool)]
        assert (bears[0] == bears[1]).all()
        assert (bears[0] == bears[2]).all()
        change = (after - before) / (2 * STEP)
        assert found[:, k] == pytest.approx(change, rel=1e-4, abs=1e-5 * np.abs(change).max(initial=1))


def test_stops_that_hold_a_floating_body_take_what_acts_on_it():
    # Statics: two stops at x = 0 and 3 hold a body against a force of 6 at x = 1: they push with 4 and
    # 2. It sinks by their forces times their compliance: 4 / 10 at the one, 2 / 10 at the other.
    rigid = np.array([[1.0, 0.0], [1.0, 3.0]])  # a shift, and a turn about x = 0
    stops = cones([1, 1], [0.0, 0.0], np.diag([0.1, 0.1]), rigid=rigid)
    works = np.array([[6.0], [6.0]])  # of the force in the shift and in the turn
    forces, motion = np.split(answered(stops, np.array([-1.0, -1.0]), np.zeros((2, 1)), works)[:, 0], 2)
    assert forces == pytest.approx([-4.0, -2.0])
    assert rigid @ motion == pytest.approx([0.4, 0.2])


def test_a_motion_that_nothing_holds_stays_nil_and_a_case_without_stops_too():
    rigid = np.array([[1.0, 0.0]])
    stops = cones([1], [0.0], np.eye(1), rigid=rigid)
    found = answered(stops, np.array([-1.0]), np.zeros((1, 1)), np.array([[2.0], [0.0]]))
    assert found[:, 0] == pytest.approx([-2.0, 2.0, 0.0])
    nothing = cones([], [], np.zeros((0, 0)), rigid=np.zeros((0, 2)))
    assert not answered(nothing, NOTHING, np.zeros((0, 3)), np.zeros((2, 3))).any()


@pytest.mark.parametrize(("count", "is_held"), [(1, False), (2, True)])
def test_bodies_are_held_by_stops_that_bear(count: int, is_held: bool):
    # Statics: a body with a shift and a turn needs two stops; a ring holds along its force alone.
    rigid = np.array([[1.0, 0.0], [0.0, 0.0], [1.0, 3.0], [0.0, 0.0]])
    stops = cones([2, 2], [0.5, 0.5], np.eye(4), rigid=rigid)
    forces = np.array([-1.0, 0.0, -1.0, 0.0]) * (np.arange(4) < 2 * count)
    assert held(stops, forces) == is_held
    assert not held(stops, np.array([-1.0, 0.0, 0.0, -1.0]))
