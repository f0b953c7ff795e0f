"""Shares of the tissue's volume in published strain bands: a sorting of strains, never a forecast."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from pipeline.fem.space import Array, Flags
from pipeline.measures.dictionary import Measure, Scheme
from pipeline.measures.field import octahedral


def _classical(e: Array, pressure: Array) -> dict[str, Flags]:  # noqa: ARG001
    """Largest principal strain by size."""
    return _between(np.abs(e).max(axis=1), {"2": 0.02, "10": 0.10, "30": 0.30, "100": 1.0})


def _pressure(e: Array, pressure: Array) -> dict[str, Flags]:
    """Largest principal strain by size, and pressure of 0.15 MPa."""
    size = np.abs(e).max(axis=1)
    low = (size < 0.05) & (np.abs(pressure) < 0.15)
    pressed = ~low & (size < 0.15) & (pressure > 0.15)
    return {
        "under_5_and_0.15MPa": low,
        "under_15_over_0.15MPa": pressed,
        "rest": ~low & ~pressed,
    }


def _deviatoric(e: Array, pressure: Array) -> dict[str, Flags]:  # noqa: ARG001
    """Octahedral shear strain; the limits are 0.01, 1 and 3 times 3.75 %."""
    return _between(octahedral(e), {"0.0375": 0.000375, "3.75": 0.0375, "11.25": 0.1125})


def _between(size: Array, limits: dict[str, float]) -> dict[str, Flags]:
    """Bands between rising limits, named by them in percent."""
    names, values = list(limits), [0.0, *limits.values(), np.inf]
    labels = [f"under_{names[0]}"]
    labels += [f"{low}_to_{high}" for low, high in pairwise(names)]
    labels.append(f"over_{names[-1]}")
    return {label: (size >= values[k]) & (size < values[k + 1]) for k, label in enumerate(labels)}


SORTINGS: dict[Scheme, Callable[[Array, Array], dict[str, Flags]]] = {
    "classical": _classical,
    "pressure": _pressure,
    "deviatoric": _deviatoric,
}
"""From principal strains (points, 3) and pressure (points,), MPa, to the points in each band."""


def strain_bands(scheme: Scheme, e: Array, pressure: Array, weights: Array) -> Iterator[Measure]:
    """Share of the volume in each band of a scheme, percent.

    Parameters
    ----------
    scheme : str
        One of those in ``literature.py``, which names their sources.
    e : Array
        Principal strains (points, 3), rising.
    pressure : Array
        Hydrostatic pressure (points,), MPa, compression positive.
    weights : Array
        Volume of each point (points,), mm³.
    """
    for label, chosen in SORTINGS[scheme](e, pressure).items():
        share = 100 * float(weights[chosen].sum() / weights.sum())
        yield Measure("strain_band", f"{scheme}/{label}", share)
