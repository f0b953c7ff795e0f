"""A reduced model made up of numbers: which stops are expected to bear changes no answer."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.stops import Spot, Stop
from pipeline.fem.contact.rules import Rules
from pipeline.fem.space import Array
from pipeline.reduced.model import Answered, Reduced
from pipeline.reduced.ranges import Ranges

STOPS, SPACE, UNITS = 9, 30, 2
SPOT = Spot((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 1.0)


def stop(number: int, clearance: float, *, is_one_sided: bool) -> Stop:
    """A stop of one direction, or a disc of two."""
    count = 1 if is_one_sided else 2
    return Stop(
        touch=f"stop_{number}",
        parts=(("a",), ("b",)),
        windows=(SPOT, SPOT),
        points=((0.0, 0.0, float(number)),) * count,
        directions=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))[:count],
        clearance=clearance,
        rest=(0.0,) * count,
        is_one_sided=is_one_sided,
    )


def made_up(seed: int) -> Answered:
    """An elastic body of thirty coordinates with stops of both kinds."""
    chance = np.random.default_rng(seed)
    rules = Rules(
        tuple(stop(k, float(chance.uniform(0, 0.2)), is_one_sided=k % 2 == 0) for k in range(STOPS))
    )
    root = chance.standard_normal((SPACE, 2 * SPACE))
    forces = chance.standard_normal((SPACE, UNITS + int(rules.starts[-1])))
    model = Reduced(
        ranges=Ranges((), ()),
        stiffness=(root @ root.T)[None],
        forces=forces,
        inner=SPACE,
        quick=SPACE,
        stops=rules,
        chosen=tuple(range(STOPS)),
        moved=forces[:, UNITS:].T,
        works=np.zeros((0, UNITS)),
        worst=0.0,
    )
    return Answered(model, np.ones(1), rules, SPACE, model.chosen)


LOADS = [np.array(load) for load in ((3.0, 0.0), (0.0, -4.0), (-2.0, 5.0))]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("load", LOADS)
def test_whichever_stops_are_expected_the_state_is_that_of_all(seed: int, load: Array) -> None:
    answered = made_up(seed)
    wanted = answered.under(load)
    assert wanted.state.forces
    others = set(range(STOPS)) - wanted.state.forces.keys()
    for expected in ((), others, wanted.state.forces):
        found = answered.expecting(expected).under(load)
        assert found.state.forces.keys() == wanted.state.forces.keys()
        assert found.coordinates == pytest.approx(wanted.coordinates, rel=1e-9, abs=1e-9)


def test_those_that_are_taken_for_clear_would_be_overrun() -> None:
    # Without what is taken up besides, the states above would differ.
    answered = made_up(0)
    free = answered.expecting(()).bearing.under(LOADS[0])
    assert max(free.overlap) > 0.01
