"""Published measurements that a study is set beside."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from geometries.constructs import Named
from geometries.parameters import Real
from pipeline.measures.dictionary import QUANTITIES, known_quantity

LARGEST = 1e6  # no published stiffness of a long bone comes near, in any unit of the dictionary


class Published(Named):
    """A published measurement, and the result of this study that it is set beside."""

    of: str = Field(description="Construct that the measurement belongs to.")
    against: str | None = Field(None, description="Construct that it is compared with, if any.")
    form: Literal["value", "ratio", "change"] = Field(
        "value",
        description="value of the construct; ratio of it to the other one, or its change against "
        "that, percent.",
    )
    quantity: str = Field(description="A quantity of the data dictionary.")
    location: str = Field(description="Where it is read.")
    stage: str = Field(description="Tissue stage; constructs without a gap have none to choose.")
    load: str = Field(description="Load.")
    measured: Real | None = Field(
        None, ge=-LARGEST, le=LARGEST, description="What was measured, in the unit below."
    )
    spread: Real | None = Field(
        None,
        gt=0,
        le=LARGEST,
        description="Published spread either way, same unit: a standard deviation, or half of a "
        "range whose middle is given as measured. The source says which.",
    )
    direction: Literal["more", "less"] | None = Field(
        None,
        description="In place of a number where the source has none: whether the construct showed "
        "more or less than the other one, by size.",
    )
    unit: str = Field(description="The dictionary's for a value, 1 for a ratio, % for a change.")
    source: str = Field(min_length=20, max_length=400, description="Where it was published.")
    differs: str = Field(
        min_length=20, max_length=600, description="How the test differed from this model."
    )

    @field_validator("quantity")
    @classmethod
    def _in_the_dictionary(cls, quantity: str) -> str:
        return known_quantity(quantity)

    @field_validator("unit")
    @classmethod
    def _converted(cls, unit: str, info: ValidationInfo) -> str:
        form, quantity = info.data.get("form"), info.data.get("quantity")
        if form is None or quantity is None:
            return unit  # these have findings of their own
        expected = QUANTITIES[quantity].unit if form == "value" else "1" if form == "ratio" else "%"
        if unit != expected:
            raise ValueError(
                f"allowed {expected!r} for a {form} of {quantity}: give the measurement in it"
            )
        return unit

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if (self.form == "value") != (self.against is None):
            raise ValueError(
                f"form = {self.form!r} with against = {self.against!r}: allowed a value alone, or a "
                "ratio or change against another construct; add or remove against"
            )
        if self.against == self.of:
            raise ValueError(f"against = {self.against!r} is the construct itself; name another one")
        if (self.measured is None) == (self.direction is None):
            raise ValueError(
                "allowed is either measured, or direction where no number was published; give one"
            )
        if self.direction is not None and (self.form != "ratio" or self.spread is not None):
            raise ValueError(
                f"direction = {self.direction!r}: allowed with form = 'ratio' and without spread; "
                "correct these"
            )
        return self

    @property
    def what(self) -> str:
        """The compared result, in words."""
        whose = self.of
        if self.against is not None:
            whose += f" over {self.against}" if self.form == "ratio" else f" against {self.against}"
        return f"{self.quantity} at {self.location}, {whose}, stage {self.stage}, load {self.load}"
