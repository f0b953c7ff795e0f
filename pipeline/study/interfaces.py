"""Interfaces that nobody knows: a construct at each of the bounds that a study file asks for."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from geometries.constructs import Construct


@dataclass(frozen=True)
class Interface:
    """A key of a study file that may say "bracket".

    Parameters
    ----------
    part, key : str
        Where it stands in a construct.
    words : str
        What tables call it.
    bounds : tuple of str
        All other values, the most compliant first.
    """

    part: str
    key: str
    words: str
    bounds: tuple[str, ...]


INTERFACES = (
    Interface("nail", "canal", "canal", ("void", "filler", "bonded")),
    Interface("plate", "on_bone", "plate", ("offset", "bonded")),
    Interface("second", "on_bone", "second plate", ("offset", "bonded")),
)


def variants(construct: Construct) -> tuple[tuple[Construct, str], ...]:
    """Make one construct for each combination of the bounds that are asked for.

    Returns
    -------
    tuple of (Construct, str)
        Each with its bounds in words; the construct itself, and no words, if it asks for no bracket.
    """
    asked = [
        one
        for one in INTERFACES
        if getattr(getattr(construct, one.part, None), one.key, None) == "bracket"
    ]
    if not asked:
        return ((construct, ""),)
    made = []
    for bounds in product(*(one.bounds for one in asked)):
        changes: dict[str, object] = {"name": "-".join((construct.name, *bounds))}
        for one, bound in zip(asked, bounds, strict=True):
            changes[one.part] = getattr(construct, one.part).model_copy(update={one.key: bound})
        words = [f"{one.words} {bound}" for one, bound in zip(asked, bounds, strict=True)]
        made.append((construct.model_copy(update=changes), ", ".join(words)))
    return tuple(made)
