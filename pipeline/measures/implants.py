"""Stress in the implants, without the peaks that have no value, against published limits."""

from __future__ import annotations

from collections.abc import Iterator

from geometries.materials import Strength
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.field import Field, level_exceeded, percentile, von_mises

HOT_VOLUME_MM3 = 5.0


def implant_stress(
    name: str, field: Field, strength: Strength | None, load: Array
) -> Iterator[Measure]:
    """Percentiles by volume and the level exceeded in 5 mm³ of one implant part, and its factors."""
    stress = von_mises(field.values @ load)
    yield Measure("von_mises_p99", name, percentile(stress, field.weights, 0.99))
    yield Measure("von_mises_p99_9", name, percentile(stress, field.weights, 0.999))
    hot = level_exceeded(stress, field.weights, HOT_VOLUME_MM3)
    yield Measure("von_mises_5mm3", name, hot)
    if strength is not None and hot > 0:
        yield Measure("yield_factor", name, strength.yield_stress / hot)
        for case, limit in zip(("notched", "smooth"), strength.endurance, strict=True):
            yield Measure("endurance_factor", f"{name}/{case}", goodman(hot, limit, strength.ultimate))


def goodman(peak: float, endurance: float, ultimate: float) -> float:
    """Factor against fatigue of a stress that pulsates between zero and a peak, after Goodman.

    Amplitude and mean are half of the peak each; the factor's inverse is amplitude / endurance + mean /
    ultimate, all MPa (read on open pages on machine design).
    """
    return 1 / (peak / 2 / endurance + peak / 2 / ultimate)
