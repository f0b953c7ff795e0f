"""Numbers out of range: the limits of a key, and the units that it is likely mistaken in."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, inf
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pipeline.loading.loads import GRAVITY

# Ending of a key: its unit, and the factors to it from the units that it is mistaken in.
MISTAKEN: dict[str, tuple[str, dict[str, float]]] = {
    "_mm": (" mm", {" m": 1000.0, " cm": 10.0}),
    "_mpa": (" MPa", {" GPa": 1000.0, " Pa": 1e-6}),
    "_nm": (" N·m", {" N·mm": 1e-3}),
    "_kg": (" kg", {" N": 1 / GRAVITY, " g": 1e-3}),
    "_n": (" N", {" kN": 1000.0, " kg": GRAVITY}),
    "_percent": (" percent", {" as a fraction": 100.0}),
    "fraction": ("", {" percent": 0.01}),
    "_deg": (" degrees", {" radians": degrees(1.0)}),
}


LARGEST = 1e12  # beyond it no unit was mistaken
TAGS = ("kind", "distribution")
"""Keys that say which of several a table is; a table has one of them at most."""


@dataclass(frozen=True)
class Limits:
    """Where a number must lie.

    Parameters
    ----------
    low, high : float
        Lower and upper limit.
    above, below : bool
        Whether the lower, the upper limit itself is refused.
    """

    low: float = -inf
    high: float = inf
    above: bool = False
    below: bool = False

    def __contains__(self, value: float) -> bool:
        refused = (self.above and value == self.low) or (self.below and value == self.high)
        return self.low <= value <= self.high and not refused

    def __str__(self) -> str:
        above, below = "above " * self.above, "below " * self.below
        return f"{above}{self.low:g} to {below}{self.high:g}"


def unit_of_key(key: str) -> str:
    """The unit that a key's ending says; empty where it says none."""
    return next((MISTAKEN[end][0].strip() for end in MISTAKEN if key.endswith(end)), "")


def did_you_mean(key: str, value: float, limits: Limits) -> str | None:
    """A question that offers a value in the key's own unit.

    Parameters
    ----------
    key : str
        Key whose ending says the unit.
    value : float
        What was found.
    limits : Limits
        Where it must lie; of several offers within, the one nearest to their middle is made.

    Returns
    -------
    str or None
        None where no unit fits that it may have been mistaken in, or it lies only just outside.
    """
    if abs(value) > LARGEST:
        return None
    beside = Limits(limits.low - abs(limits.low) / 2, limits.high + abs(limits.high) / 2)
    if value in beside:
        return None  # rather too large than mistaken: a fraction of 1.5 is not 1.5 percent
    unit, factors = next((MISTAKEN[end] for end in MISTAKEN if key.endswith(end)), ("", {}))
    offers = {other: value * factor for other, factor in factors.items() if value * factor in limits}
    if " radians" in offers and value == int(value):
        return None  # nobody measures whole radians
    if not offers:
        return None
    middle = (limits.low + limits.high) / 2
    other = min(offers, key=lambda name: abs(offers[name] - middle))
    meant = float(f"{offers[other]:.3g}")
    return f"did you mean {meant:g}{unit} ({value:g}{other})?"


def limits_of(model: type[BaseModel], steps: tuple[str | int, ...]) -> Limits:
    """Limits declared for the number at a location, in the steps of a finding of pydantic."""
    kind: Any = model
    marks: list[Any] = []
    for step in steps:
        kind, *marks = _inside(kind, step)
    plain = [m for mark in marks for m in (mark.metadata if isinstance(mark, FieldInfo) else [mark])]
    sides = ("ge", "gt", "le", "lt")
    found = {side: getattr(m, side) for m in plain for side in sides if hasattr(m, side)}
    return Limits(
        found.get("gt", found.get("ge", -inf)),
        found.get("lt", found.get("le", inf)),
        above="gt" in found,
        below="lt" in found,
    )


def keys_at(model: type[BaseModel], steps: tuple[str | int, ...]) -> list[str]:
    """Keys of the table at a location, in the steps of a finding of pydantic."""
    kind: Any = model
    for step in steps:
        kind, *_ = _inside(kind, step)
    bare, *_ = _bare(kind)
    kinds = [c for c in get_args(bare) if c is not NoneType] or [bare]
    return [field.alias or name for name, field in kinds[0].model_fields.items()]


def _inside(kind: Any, step: str | int) -> tuple[Any, ...]:
    """Type of what lies one step inside a type, and its annotations."""
    bare, *_ = _bare(kind)
    union = get_origin(bare) in (Union, UnionType)
    first, *others = [c for c in get_args(bare) if c is not NoneType] if union else [bare]
    if others:  # the step is no key but the kind of one of them
        tag = next(key for key in TAGS if key in first.model_fields)
        tags = {get_args(c.model_fields[tag].annotation)[0]: c for c in (first, *others)}
        return (tags[step],)
    if get_origin(first) is Annotated:  # a union that may also be left out
        return _inside(first, step)
    if isinstance(step, int):
        return _bare(get_args(first)[0])
    field = first.model_fields[step]
    return field.annotation, field


def _bare(kind: Any) -> tuple[Any, ...]:
    """A type without its annotations, and these."""
    return get_args(kind) if get_origin(kind) is Annotated else (kind,)
