"""Points of a design: which value each factor has at each of them."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np

from pipeline.study.design import (
    Design,
    Grid,
    LatinHypercube,
    Morris,
    OneAtATime,
    Paired,
    Sampled,
    SobolSequence,
)
from pipeline.study.factors import Value
from pipeline.sweeps.effects import Array, morris_points, sobol_points

Moved = dict[str, Value]


def moves(design: Design, base: Mapping[str, object]) -> list[Moved]:
    """What each point of a design changes of the study as written, before constraints.

    `base` has the value of each factor's key there. Points have the values of the factors that they
    move, by their keys; nothing is moved at the first point of one_at_a_time.
    """
    keys = [factor.key for factor in design.factors]
    ends = [factor.ends for factor in design.factors]
    if isinstance(design, Grid):
        return [dict(zip(keys, row, strict=True)) for row in product(*ends)]
    if isinstance(design, Paired):
        return [dict(zip(keys, row, strict=True)) for row in zip(*ends, strict=True)]
    if isinstance(design, OneAtATime):
        others = [{k: v} for k, values in zip(keys, ends, strict=True) for v in values if v != base[k]]
        return [{}, *others]
    return [
        {f.key: f.at(float(share)) for f, share in zip(design.factors, row, strict=True)}
        for row in shares(design)
    ]


def shares(design: Sampled) -> Array:
    """Points of a sampled design as shares of the factors' ranges (n, d), as drawn, not rounded."""
    from scipy.stats import qmc  # slow to import, and most studies have no design

    count = len(design.factors)
    if isinstance(design, Morris):
        return morris_points(count, design.trajectories, design.levels, design.seed)
    if isinstance(design, LatinHypercube):
        return qmc.LatinHypercube(count, seed=np.random.default_rng(design.seed)).random(design.samples)
    if isinstance(design, SobolSequence):
        return qmc.Sobol(count, seed=np.random.default_rng(design.seed)).random(design.samples)
    return sobol_points(count, design.samples, design.seed)
