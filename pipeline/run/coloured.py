"""Colours of implants and tissue that follow any inputs, in bytes: for pictures, never for a number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.fem.space import Array, Ints
from pipeline.measures.cells import PERCENT, STRAIN, STRESS, STRESS_OF_SHEAR
from pipeline.reduced.readout import Readout

STEPS = 127  # either way, of a byte with a sign
MOST_PERCENT = 99.0  # of the cells: they stay under the upper end of the colours
LOST = 1e-2  # of the largest of what states differ in
SHEAR = 3, 3  # where the shear modulus stands in stress over strain


@dataclass(frozen=True)
class Coloured:
    """Von Mises stress of implants' cells, MPa, or octahedral shear strain of the tissue's, %.

    Parameters
    ----------
    cells : Ints
        Their numbers in the mesh (m,).
    values : array of int8
        (m, 5, k).
    rows : Array
        From all coordinates to what the values are multiplied by (k, coordinates).
    top : float
        Where colours end: of the cells one in a hundred has more with the inputs of the study.
    """

    cells: Ints
    values: NDArray[np.int8]
    rows: Array
    top: float

    def at(self, coordinates: Array) -> Array:
        """Values (m,) in a state, with the metals as the study has them."""
        shares = (self.rows @ coordinates).astype(np.float32)
        return np.linalg.norm(self.values.astype(np.float32) @ shares, axis=1).astype(float)

    def away(self, whole: Array, values: Array) -> float:
        """How far colours are off in 99 of 100 cells; what lies above the range has one colour."""
        apart = np.abs(np.minimum(values, self.top) - np.minimum(whole, self.top))
        return float(np.percentile(apart, MOST_PERCENT))


def coloured(readout: Readout, weights: Array, states: Array) -> dict[str, Coloured]:
    """What a page colours cells from.

    Parameters
    ----------
    readout : Readout
        Of the reduced model.
    weights : Array
        Numbers of the terms (terms,) as the study has them.
    states : Array
        States (coordinates, states) that are told apart, the first with the inputs of the study.
    """
    return {name: _rounded(readout, name, weights, states) for name in readout.cells}


def levels(readout: Readout, weights: Array, coordinates: Array) -> Iterator[tuple[str, Array]]:
    """Values (m,) of the cells of each field in a state, at numbers of the terms (terms,)."""
    for name, one in readout.cells.items():
        yield name, _factors(readout, name, weights) * one.under(coordinates)


def off(
    readout: Readout,
    weights: Array,
    states: Sequence[Array],
    colours: Mapping[str, Coloured],
    metal: float,
) -> Iterator[tuple[str, float]]:
    """How far the colours of the first of two states are off the other's, in the unit of each field.

    The metals' moduli are changed by a factor; the numbers of the terms (terms,) are those with it.
    """
    for name, whole in levels(readout, weights, states[1]):
        values = colours[name].at(states[0]) * (metal if name == STRESS else 1.0)
        yield name, colours[name].away(whole, values)


def _rounded(readout: Readout, name: str, weights: Array, states: Array) -> Coloured:
    one = readout.cells[name]
    factors = _factors(readout, name, weights)[:, None, None]
    flat = (factors * one.shear.left).reshape(-1, one.shear.left.shape[2])
    seen = flat @ (one.shear.right @ states)
    own = np.linalg.norm(seen[:, 0].reshape(len(one.cells), -1), axis=1)
    ways, sizes, _ = np.linalg.svd(seen, full_matrices=False)
    ways = ways[:, sizes > LOST * sizes.max(initial=0.0)]
    steps = np.abs(ways).max(axis=0) / STEPS
    values = np.round(ways / steps).astype(np.int8).reshape(len(one.cells), -1, len(steps))
    rows = steps[:, None] * (ways.T @ flat @ one.shear.right)
    return Coloured(one.cells, values, rows, float(np.percentile(own, MOST_PERCENT)))


def _factors(readout: Readout, name: str, weights: Array) -> Array:
    """What octahedral shear strain is multiplied by in each cell (m,)."""
    one = readout.cells[name]
    if name == STRAIN:
        return np.full(len(one.cells), PERCENT)
    assert name == STRESS
    shear = readout.terms.elasticity(weights)[:, *SHEAR]
    return np.asarray(STRESS_OF_SHEAR * shear[one.parts])
