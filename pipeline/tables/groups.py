"""Things sorted into groups."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import TypeVar

One = TypeVar("One")
Of = TypeVar("Of")


def grouped(things: Iterable[One], of: Callable[[One], Of]) -> dict[Of, list[One]]:
    """Things by what a function makes of each, groups and things in the order in which they come."""
    found: dict[Of, list[One]] = {}
    for one in things:
        found.setdefault(of(one), []).append(one)
    return found


def in_batches(things: Iterable[One], size: int) -> Iterator[list[One]]:
    """Things in lists of so many, the last one shorter."""
    source = iter(things)
    while batch := list(islice(source, size)):
        yield batch
