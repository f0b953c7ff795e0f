"""Factors of a design: the keys of a study file that vary, and the values that they take."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import BeforeValidator, Field, Strict, model_validator

from geometries.parameters import Parameters, Real

LARGEST = 1e6  # no key of a study file takes a larger number


def _plain(value: object) -> object:
    """Let numbers, words and truth values pass."""
    is_number = isinstance(value, int | float) and abs(value) <= LARGEST  # no NaN is
    if is_number or isinstance(value, str):
        return value
    raise ValueError(
        f"allowed a number from -{LARGEST:g} to {LARGEST:g}, a word, true or false; correct it"
    )


Value = Annotated[bool | int | float | str, BeforeValidator(_plain)]


class Factor(Parameters):
    """A key of the study file that varies, by a list of values or between two limits."""

    key: str = Field(
        min_length=1,
        max_length=200,
        description="Dotted key of the study file, as --set takes it; entries of lists by number, from "
        "0, or by name.",
    )
    also: tuple[str, ...] = Field(
        (), max_length=50, description="Keys that get the same value, moved together with this one."
    )
    label: str | None = Field(
        None, min_length=1, max_length=40, description="What figures call it; the key by default."
    )
    values: tuple[Value, ...] | None = Field(
        None,
        min_length=1,
        max_length=1000,
        description="Values that it takes: numbers, words, true or false.",
    )
    low: Real | None = Field(
        None, ge=-LARGEST, le=LARGEST, description="Lower limit, in the unit of the key."
    )
    high: Real | None = Field(
        None, ge=-LARGEST, le=LARGEST, description="Upper limit, in the unit of the key."
    )
    step: Real | None = Field(
        None,
        gt=0,
        le=LARGEST,
        description="Between the limits, only multiples of this are taken, so that points share "
        "meshes; in the unit of the key.",
    )
    whole: Annotated[bool, Strict()] = Field(False, description="Whether only whole numbers are taken.")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        limits = (self.low, self.high)
        if (self.values is None) == (None in limits) or (self.values and limits != (None, None)):
            raise ValueError(
                f"key = {self.key!r}: allowed is either values, or low and high; give one of them"
            )
        if self.values is not None and (self.step is not None or self.whole):
            raise ValueError(f"key = {self.key!r}: step and whole go with low and high; remove them")
        if self.values is not None and len({repr(v) for v in self.values}) < len(self.values):
            raise ValueError(f"key = {self.key!r}: a value occurs more than once; remove one")
        return self

    @model_validator(mode="after")
    def _limits_fit(self) -> Self:
        if self.low is None or self.high is None:
            return self
        if not self.low < self.high:
            raise ValueError(
                f"low = {self.low:g}: allowed less than high = {self.high:g}; correct them"
            )
        for name, limit in (("low", self.low), ("high", self.high)):
            if abs(self._rounded(limit) - limit) > 1e-9 * max(1.0, abs(limit)):
                raise ValueError(
                    f"{name} = {limit:g} is no multiple of the step {self._grain:g}; make it "
                    f"{self._rounded(limit):g} or change the step"
                )
        if self.whole and self.step is not None and self.step != int(self.step):
            raise ValueError(f"step = {self.step:g}: allowed whole numbers beside whole; correct it")
        return self

    @property
    def name(self) -> str:
        """What figures call it: its label, or the last part of its key."""
        return self.label or self.key.rpartition(".")[2]

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys that it moves."""
        return (self.key, *self.also)

    @property
    def is_numeric(self) -> bool:
        """Whether all its values are numbers, of which a response surface can be made."""
        return all(isinstance(v, int | float) and not isinstance(v, bool) for v in self.values or ())

    @property
    def range(self) -> tuple[float, float]:
        """Least and greatest value of a numeric factor, in the unit of its key."""
        if self.low is not None and self.high is not None:
            return self.low, self.high
        numbers = [float(value) for value in self.values or ()]
        return min(numbers), max(numbers)

    @property
    def ends(self) -> tuple[Value, ...]:
        """Its values, or its two limits."""
        return self.values or tuple(self.at(share) for share in (0.0, 1.0))

    def at(self, share: float) -> Value:
        """Value at a share of its range, 0 to 1; listed values have equal shares."""
        if self.values is not None:
            return self.values[min(int(share * len(self.values)), len(self.values) - 1)]
        low, high = self.range
        value = self._rounded(low + share * (high - low))
        return int(value) if self.whole else value

    @property
    def _grain(self) -> float:
        return self.step or (1.0 if self.whole else 0.0)

    def _rounded(self, value: float) -> float:
        if not self._grain:
            return value
        return float(f"{round(value / self._grain) * self._grain:.12g}")  # 3 * 0.1 is not quite 0.3
