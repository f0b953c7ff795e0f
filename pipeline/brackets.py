"""Interfaces that nobody knows: a construct at each of their bounds, and how far results lie apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import product
from math import isfinite
from operator import itemgetter

from geometries.constructs import Construct
from pipeline.comparisons import error_of

KEY_COLUMNS = ("stage", "load", "quantity", "location", "unit")
BRACKET_COLUMNS = (
    "construct", *KEY_COLUMNS, "lowest", "lowest_with", "lowest_error", "highest",
    "highest_with", "highest_error", "span",
)  # fmt: skip


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


def bracket_rows(
    constructs: Iterable[Construct], table: Iterable[Mapping[str, object]]
) -> list[dict[str, object]]:
    """Lowest and highest sound value of each result over the variants of a construct.

    A result that fewer than two variants have is left out. Errors are those of the meshes, in the
    unit of the result, where they are known.

    Parameters
    ----------
    constructs : iterable of Construct
        Those of the study file.
    table : iterable of mapping
        Rows of all their variants.
    """
    names = {
        variant.name: (construct.name, words)
        for construct in constructs
        for variant, words in variants(construct)
        if words
    }
    found: dict[tuple[object, ...], list[tuple[float, str, object]]] = {}
    for row in table:
        if row["construct"] in names and row["status"] == "ok":
            name, words = names[str(row["construct"])]
            key = (name, *(row[column] for column in KEY_COLUMNS))
            error = error_of(row)
            end = float(str(row["value"])), words, error if isfinite(error) else ""
            found.setdefault(key, []).append(end)
    rows = []
    for key, values in found.items():
        if len(values) > 1:
            low, high = min(values, key=itemgetter(0)), max(values, key=itemgetter(0))
            cells = (*key, *low, *high, high[0] - low[0])
            rows.append(dict(zip(BRACKET_COLUMNS, cells, strict=True)))
    return rows
