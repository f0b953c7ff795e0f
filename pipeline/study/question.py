"""The question that a study is asked, and the one result that answers it first."""

from __future__ import annotations

from typing import NamedTuple

from pydantic import Field, field_validator

from geometries.parameters import Parameters
from pipeline.measures.dictionary import known_quantity


class Question(Parameters):
    """What the study is asked; what is left out is taken from the study."""

    text: str | None = Field(
        None, min_length=1, max_length=300, description="The question; the title by default."
    )
    quantity: str = Field(
        "gap_movement", description="Quantity of the data dictionary that answers it first."
    )
    location: str = Field("far", description="Where it is read.")
    stage: str | None = Field(None, description="Tissue stage; the shown one by default.")
    load: str | None = Field(None, description="Load; the shown one by default.")

    @field_validator("quantity")
    @classmethod
    def _in_the_dictionary(cls, quantity: str) -> str:
        return known_quantity(quantity)


class PrimaryOutcome(NamedTuple):
    """The primary outcome: which result of each construct."""

    quantity: str
    location: str
    stage: str
    load: str
