"""Morris and Sobol: the points that each method needs, and the indices that follow from them.

All points lie in the unit cube, so an effect is that of a factor's whole range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SEED = 20_260  # of the bootstrap and of the points on a response surface; any number but 0 does
RESAMPLES = 200  # of the bootstrap; half-widths settle to a few percent
ON_A_SURFACE = 1024  # base points on a response surface, whose values cost nothing
NO_BOOTSTRAP = 2  # the fewest resamples there can be


@dataclass(frozen=True)
class Index:
    """An index of every factor.

    Parameters
    ----------
    name : str
        mu, mu_star, sigma, S1 or ST.
    values : Array
        One for each factor (d,).
    confidence : Array or None
        Half-width of the 95 % interval (d,), where the method gives one.
    """

    name: str
    values: Array
    confidence: Array | None = None


def _problem(factors: int) -> dict[str, Any]:
    names = [str(number) for number in range(factors)]
    return {"num_vars": factors, "names": names, "bounds": [[0.0, 1.0]] * factors}


def morris_points(factors: int, trajectories: int, levels: int, seed: int) -> Array:
    """Points of Morris' trajectories, ``trajectories * (factors + 1)`` rows (n, d)."""
    from SALib.sample import morris as sample_morris  # a second to import, and most studies need none

    return sample_morris.sample(_problem(factors), trajectories, num_levels=levels, seed=seed)


def sobol_points(factors: int, samples: int, seed: int) -> Array:
    """Points for direct Sobol indices, ``samples * (factors + 2)`` rows (n, d)."""
    from SALib.sample import sobol as sample_sobol

    return sample_sobol.sample(_problem(factors), samples, calc_second_order=False, seed=seed)


def morris_indices(points: Array, values: Array, levels: int) -> tuple[Index, ...]:
    """Mean, mean size and spread of the elementary effects, in the outcome's unit.

    The values (n,) are of the outcome at points (n, d) as from `morris_points`, with its levels.

    Notes
    -----
    Effects are taken for the whole range of a factor. mu_star as Campolongo, Cariboni & Saltelli
    2007, Environ Model Softw 22:1509, as SALib and R's package sensitivity have it.
    """
    from SALib.analyze import morris as analyze_morris

    found = analyze_morris.analyze(
        _problem(points.shape[1]), points, values, num_levels=levels, num_resamples=RESAMPLES, seed=SEED
    )
    return (
        Index("mu", np.asarray(found["mu"])),
        Index("mu_star", np.asarray(found["mu_star"]), np.asarray(found["mu_star_conf"])),
        Index("sigma", np.asarray(found["sigma"])),
    )


def sobol_indices(values: Array, factors: int, resamples: int = RESAMPLES) -> tuple[Index, ...]:
    """First-order and total share of each factor in the variance of an outcome.

    The values (n,) are of the outcome at `sobol_points`; the bootstrap's resamples give the confidence.
    """
    from SALib.analyze import sobol as analyze_sobol

    found = analyze_sobol.analyze(
        _problem(factors), values, calc_second_order=False, num_resamples=resamples, seed=SEED
    )
    return tuple(Index(name, found[name], found[f"{name}_conf"]) for name in ("S1", "ST"))


def surface_indices(predict: Callable[[Array], Array], factors: int) -> list[tuple[Index, ...]]:
    """Sobol indices of each of m response surfaces over the unit cube; none where one is flat.

    `predict` makes their values (n, m) at points (n, d). The indices have no confidence: that of the
    points says nothing of the surface's own error.
    """
    values = predict(sobol_points(factors, ON_A_SURFACE, SEED))
    found = []
    for column in values.T:
        flat = np.ptp(column) <= 1e-9 * np.abs(column).max()
        indices = () if flat else sobol_indices(column, factors, NO_BOOTSTRAP)
        found.append(tuple(Index(index.name, index.values) for index in indices))
    return found
