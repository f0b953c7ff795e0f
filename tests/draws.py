"""Random tables of a study file, from the models that read them: by a seed or by hypothesis."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import inf
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, NoReturn, Protocol, TypeVar, Union, get_args, get_origin

import numpy as np
from hypothesis import reject
from hypothesis import strategies as st
from pydantic import ValidationError

from geometries.bone import Defect, Femur
from geometries.parameters import Bolts, Nail, Parameters, Stem
from geometries.plating import Plate, Screws, SecondPlate
from pipeline.study.units import Limits, limits_of

T = TypeVar("T")
Values = dict[str, Any]
Steps = tuple[str | int, ...]

TRIES = 500  # draws of one table until its model takes it
SHARES = {"must": 1.0, "table": 0.9, "ordinary": 0.7, "off": 0.15}  # of keys that are given
ANYWHERE = 0.1  # share of tables whose numbers lie anywhere within the limits, usual or not
ENTRIES = 4  # of a list, at most
USUAL: dict[type[Parameters], dict[str, tuple[tuple[float, float], ...]]] = {  # any of several
    Femur: {"bow_radius_mm": ((700, 1400),)},
    Defect: {
        "site_percent": ((25, 35), (45, 55), (68, 80)), "gap_mm": ((0.5, 2), (2, 8), (8, 60)),
        "oblique_deg": ((5, 40),), "wedge_mm": ((1, 6),), "rough_mm": ((0.2, 0.8),),
        "bridge_percent": ((5, 90),), "cuff_mm": ((1, 8),), "cuff_length_mm": ((5, 40),),
    },
    Nail: {
        "diameter_mm": ((9, 12), (9, 15)), "cannulation_mm": ((0, 0), (4, 5.5), (4, 5.5), (4, 5.5)),
        "distal_end_mm": ((15, 60),), "reaming_mm": ((0.5, 1.5), (0.5, 1.5), (1.5, 5)),
        "distal_offset_mm": ((-4, 4),), "proximal_offset_mm": ((-4, 4),),
        "slot_mm": ((3, 6),), "slot_percent": ((60, 100),),
    },
    Bolts: {"diameter_mm": ((4.5, 6),), "first_mm": ((10, 25),), "spacing_mm": ((12, 30),)},
    Plate: {
        "pitch_mm": ((13, 20),), "width_mm": ((13.5, 17.5),), "thickness_mm": ((4.6, 6),),
        "azimuth_deg": ((0, 0), (45, 45), (90, 90), (180, 180), (-180, 180)), "shift_mm": ((-40, 40),),
    },
    SecondPlate: {"width_mm": ((11, 13.5),), "thickness_mm": ((3.5, 4.6),)},
    Screws: {"diameter_mm": ((3.5, 5),), "holes": ((1, 6),)},
    Stem: {"tip_diameter_mm": ((8, 12),), "top_diameter_mm": ((14, 18),), "length_mm": ((100, 200),)},
}  # fmt: skip


class Chance(Protocol):
    """What tables are drawn by."""

    def number(self, within: Limits) -> float: ...
    def whole(self, low: int, high: int) -> int: ...
    def one_of(self, options: Sequence[T]) -> T: ...
    def happens(self, share: float) -> bool: ...
    def give_up(self, model: type[Parameters]) -> NoReturn: ...


@dataclass(frozen=True)
class Seeded:
    """By a generator of NumPy: the same for the same seed, one number in five an end of its range."""

    random: np.random.Generator

    def number(self, within: Limits) -> float:
        between = round(self.random.uniform(within.low, within.high), 2)
        drawn = self.random.choice([within.low, within.high, between], p=[0.1, 0.1, 0.8])
        return float(drawn) if drawn in within else self.number(within)

    def whole(self, low: int, high: int) -> int:
        return int(self.random.integers(low, high, endpoint=True))

    def one_of(self, options: Sequence[T]) -> T:
        return options[self.whole(0, len(options) - 1)]

    def happens(self, share: float) -> bool:
        return bool(self.random.random() < share)

    def give_up(self, model: type[Parameters]) -> NoReturn:
        raise RuntimeError(f"{model.__name__} took none of {TRIES} tables: narrow what is usual")


@cache
def _numbers(within: Limits) -> st.SearchStrategy[float]:
    """Made once for each range, which takes longer than a draw."""
    ends = [end for end in (within.low, within.high) if end in within]
    between = st.floats(within.low, within.high, exclude_min=within.above, exclude_max=within.below)
    return between | st.sampled_from(ends) if ends else between


@dataclass(frozen=True)
class Searched:
    """By hypothesis, which looks for what fails and makes it small: few keys, plain numbers."""

    draw: Callable[[st.SearchStrategy[Any]], Any]

    def number(self, within: Limits) -> float:
        return float(self.draw(_numbers(within)))

    def whole(self, low: int, high: int) -> int:
        return int(self.draw(st.integers(low, high)))

    def one_of(self, options: Sequence[T]) -> T:
        return self.draw(st.sampled_from(options))

    def happens(self, share: float) -> bool:
        return bool(self.draw(st.integers(0, 99)) >= 100 * (1 - share))

    def give_up(self, model: type[Parameters]) -> NoReturn:
        del model
        reject()


@dataclass(frozen=True)
class Draw:
    """Draws tables that their models take; limits that depend on other keys are tried out.

    Parameters
    ----------
    chance : Chance
        What decides.
    is_usual : bool
        Whether numbers are of a usual size, or else anywhere within the limits of their models.
    """

    chance: Chance
    is_usual: bool = True

    def table(self, model: type[Parameters], **given: Any) -> Values:
        """Values of a model's keys; those `given` as they are, some of the others left out."""
        inside = replace(self, is_usual=False) if self.chance.happens(ANYWHERE) else self
        return self.taken(model, lambda: inside._keys(model, given))

    def taken(self, model: type[Parameters], drawn: Callable[[], Values]) -> Values:
        """The first of the drawn tables that the model takes."""
        for _ in range(TRIES):
            found = drawn()
            try:
                model.model_validate(found)
            except ValidationError:
                continue
            return found
        return self.chance.give_up(model)

    def _keys(self, model: type[Parameters], given: Values) -> Values:
        drawn = {
            key: self._value(model, (key,), field.annotation)
            for key, field in model.model_fields.items()
            if key not in given and self.chance.happens(self._share(model, key))
        }
        return {**given, **drawn}

    def _share(self, model: type[Parameters], key: str) -> float:
        """How often a key is given: always if it must be there, seldom if it is off by default."""
        field = model.model_fields[key]
        default = field.get_default()
        if field.is_required() or isinstance(default, Parameters):
            return SHARES["must" if field.is_required() else "table"]
        lowest = limits_of(model, (key,)).low if isinstance(default, float) else None
        is_off = default in (None, (0.0, 0.0)) or default == 0.0 == lowest
        return SHARES["off" if is_off else "ordinary"]

    def _value(self, model: type[Parameters], steps: Steps, kind: Any) -> Any:
        """A value of a key, or of an entry of the list there."""
        if get_origin(kind) is Annotated:
            kind = get_args(kind)[0]
        match get_origin(kind):
            case origin if origin in (Union, UnionType):
                options = [one for one in get_args(kind) if one is not NoneType]
                return self._value(model, steps, self.chance.one_of(options))
            case origin if origin is Literal:
                return self.chance.one_of(get_args(kind))
            case origin if origin is tuple:
                return self._entries(model, steps, get_args(kind))
        if issubclass(kind, Parameters):
            return self.table(kind)
        return self._number(model, steps, is_whole=kind is int)

    def _entries(self, model: type[Parameters], steps: Steps, kinds: tuple[Any, ...]) -> list[Any]:
        """As many as there are kinds, or some different ones of one kind."""
        if Ellipsis not in kinds:
            return [self._value(model, (*steps, n), kind) for n, kind in enumerate(kinds)]
        count = self.chance.whole(1, ENTRIES)
        drawn = [self._value(model, (*steps, 0), kinds[0]) for _ in range(count)]
        return [one for n, one in enumerate(drawn) if one not in drawn[:n]]

    def _number(self, model: type[Parameters], steps: Steps, *, is_whole: bool) -> float:
        within = self._range(model, steps)
        if not is_whole:
            return self.chance.number(within)
        marks = model.model_fields[str(steps[0])].metadata
        step = next((mark.multiple_of for mark in marks if hasattr(mark, "multiple_of")), 1)
        return step * self.chance.whole(int(-(-within.low // step)), int(within.high // step))

    def _range(self, model: type[Parameters], steps: Steps) -> Limits:
        limits = limits_of(model, steps)
        own = [USUAL[one] for one in model.__mro__ if one in USUAL]
        ranges = next((usual[str(steps[0])] for usual in own if steps[0] in usual), ())
        if ranges and (self.is_usual or inf in (-limits.low, limits.high)):
            return Limits(*self.chance.one_of(ranges))
        return limits
