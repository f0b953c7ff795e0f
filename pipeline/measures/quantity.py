"""What the data dictionary says of a quantity."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Quantity:
    """A reported quantity.

    Parameters
    ----------
    unit : str
        Unit of the value.
    locations : str
        Where it is read.
    definition : str
        How it is computed.
    """

    unit: str
    locations: str
    definition: str
