"""Loads and supports of a study file in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.loading.activities import PEAKS
from pipeline.loading.loads import (
    Bending,
    EndForce,
    Forces,
    HipForce,
    Load,
    Stairs,
    Stance,
    Torsion,
    Walking,
    Weighted,
)
from pipeline.writing.words import Sources, amount, listed

TROCHANTER = "trochanter"
HELD = {
    "distal_end": "the distal end held",
    "hip_knee": "the distal end held and the head guided along the line from hip to knee, so that the "
    "knee carries no bending moment",
}


def loads_words(loads: Iterable[Load], sources: Sources) -> str:
    """All loads, a clause each, with their supports."""
    return "; ".join(
        f"{load.name}: {_load(load, sources)}, with {HELD[load.support]}" for load in loads
    )


def stem_words(loads: Iterable[Load], stems: Sequence[str]) -> str:
    """What pulls on a stem in place of the trochanter; empty without a stem, or such a pull."""
    pulling = [load.name for load in loads if _pulls_trochanter(load)]
    if not stems or not pulling:
        return ""
    return (
        f" Where a stem stands in the bone ({listed(stems)}), forces at the trochanter "
        f"({listed(pulling)}) enter through the stem's top like those at the head, not through the "
        "bone beside it: what passes from stem to bone near the top is not that of a femur whose "
        "trochanter is pulled."
    )


def _pulls_trochanter(load: Load) -> bool:
    """Whether a load has a force there, which goes through the rigid top."""
    if isinstance(load, Forces):
        return any(one.at == TROCHANTER for one in load.forces)
    if isinstance(load, Walking | Stairs):
        pulls = (pull for name in load.muscles for pull in PEAKS[load.kind].muscles[name])
        return any(pull.point == TROCHANTER for pull in pulls)
    return False


def _load(load: Load, sources: Sources) -> str:
    match load:
        case HipForce():
            direction = _direction(load.adduction_deg, load.flexion_deg)
            return f"{load.force_n:g} N on the head centre{direction}"
        case Torsion():
            return f"a torque of {load.moment_nm:g} N·m about the shaft"
        case Bending():
            return f"a bending moment of {load.moment_nm:g} N·m in the {load.plane} plane"
        case EndForce():
            parts = (load.medial_n, load.anterior_n, load.proximal_n)
            return f"{_vector(parts)} on the middle of the proximal end"
        case Forces():
            return listed(f"{_vector(one.force_n)} at {_place(one.at)}" for one in load.forces)
        case Stance():
            size = f"{load.times_body_weight:g} times body weight on the head centre"
            return f"{size}{_direction(load.adduction_deg, 0.0)}, {_weight(load)}"
        case Walking():
            return _peak(load, "walking", sources)
        case Stairs():
            return _peak(load, "climbing stairs", sources)


def _peak(load: Walking | Stairs, what: str, sources: Sources) -> str:
    muscles = listed(f"the {name.replace('_', ' ')}" for name in load.muscles)
    with_muscles = f"with the pull of {muscles}" if load.muscles else "without muscles"
    force = f"the peak hip contact force of {what} {with_muscles}"
    return f"{force}, {_weight(load)}{sources.cite(PEAKS[load.kind].source)}"


def _weight(load: Weighted) -> str:
    return f"at {100 * load.fraction:g} % of the weight of a body of {load.body_weight_kg:g} kg"


def _direction(adduction_deg: float, flexion_deg: float) -> str:
    flexion = f" and {flexion_deg:g}° in the sagittal one" if flexion_deg else ""
    return f" at {adduction_deg:g}° to the shaft in the frontal plane{flexion}"


def _vector(parts: Iterable[float]) -> str:
    return f"({', '.join(f'{part:g}' for part in parts)}) N (medial, anterior, proximal)"


def _place(at: object) -> str:
    return f"the {at.replace('_', ' ')}" if isinstance(at, str) else f"({amount(at)}) mm"
