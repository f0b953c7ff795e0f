"""What all parameter models share: frozen values with limits, and implants with bounds."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Strict

Real = Annotated[float, Strict()]
Whole = Annotated[int, Strict()]
Metal = Literal["titanium", "steel", "cobalt"]
BRACKET = "bracket"  # the value of a key that asks for all its others, as bounds


class Parameters(BaseModel):
    """Base of all models: frozen, no unknown keys, no NaN or infinity."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Implant(Parameters):
    """What is put into or onto the bone; a key, its most compliant value first, says how they meet."""

    surface: ClassVar[tuple[str, str]]  # what tables call it, and the key

    @property
    def interface(self) -> str:
        """How it meets the bone, in words for every table."""
        return f"{self.surface[0]} {getattr(self, self.surface[1])}"

    @property
    def interfaces(self) -> tuple[str, ...]:
        """The same of all its surfaces, and what sets them apart."""
        return (self.interface,)

    def at_bounds(self) -> dict[str, Self]:
        """Copies at each bound, the most compliant first; none unless it asks for a bracket."""
        _, key = self.surface
        if getattr(self, key) != BRACKET:
            return {}
        values = get_args(type(self).model_fields[key].annotation)
        return {one: self.model_copy(update={key: one}) for one in values if one != BRACKET}
