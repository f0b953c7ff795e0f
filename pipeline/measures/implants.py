"""Stress in the implants, without the peaks that have no value."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.field import Field, level_exceeded, percentile, von_mises

HOT_VOLUME_MM3 = 5.0


def implant_stress(name: str, field: Field, load: Array) -> Iterator[Measure]:
    """P99 by volume and the level exceeded in 5 mm³ of one implant part, MPa."""
    stress = von_mises(field.values @ load)
    yield Measure("von_mises_p99", name, percentile(stress, field.weights, 0.99))
    hot = level_exceeded(stress, field.weights, HOT_VOLUME_MM3)
    yield Measure("von_mises_5mm3", name, hot)
