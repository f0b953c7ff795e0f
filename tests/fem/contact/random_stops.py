"""Stops on elastic bodies, made up."""

from __future__ import annotations

import numpy as np

from pipeline.fem.contact.cones import Cones
from pipeline.fem.space import Array


def cones(
    sizes: list[int],
    clearance: list[float],
    compliance: Array,
    *,
    rigid: Array | None = None,
    one_sided: tuple[int, ...] = (),
) -> Cones:
    """Conditions of stops of these numbers of directions, at rest in the middle of their clearances."""
    count = sum(sizes)
    return Cones(
        starts=np.cumsum([0, *sizes]),
        clearance=np.array(clearance),
        rest=np.zeros(count),
        is_one_sided=np.isin(np.arange(len(sizes)), one_sided),
        compliance=np.asarray(compliance, dtype=float),
        rigid=np.zeros((count, 0)) if rigid is None else rigid,
    )


def random_case(seed: int) -> tuple[Cones, Array]:
    """Stops of all kinds on a random elastic body, some of which will bear."""
    random = np.random.default_rng(seed)
    sizes = random.choice([1, 2], random.integers(2, 9)).tolist()
    count = sum(sizes)
    root = random.standard_normal((count, count + 3)) * 10.0 ** random.uniform(-1, 0, (count, 1))
    one_sided = tuple(k for k, size in enumerate(sizes) if size == 1 and random.random() < 0.7)
    clearance = random.uniform(0, 1, len(sizes)).tolist()
    return cones(sizes, clearance, 1e-4 * root @ root.T, one_sided=one_sided), random.normal(
        0, 2, count
    )
