"""Things sorted into groups."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

One = TypeVar("One")
Of = TypeVar("Of")


def grouped(things: Iterable[One], of: Callable[[One], Of]) -> dict[Of, list[One]]:
    """Things by what a function makes of each, groups and things in the order in which they come."""
    found: dict[Of, list[One]] = {}
    for one in things:
        found.setdefault(of(one), []).append(one)
    return found
