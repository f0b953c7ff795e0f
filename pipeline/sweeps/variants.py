"""Variants of a study: one for each point of its design."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from geometries.errors import StudyError
from pipeline.study.config import StudyConfig, parse_study
from pipeline.study.constraints import parse_constraint
from pipeline.study.design import Design
from pipeline.study.keys import locate, set_at
from pipeline.sweeps.points import Moved, moves

DIGITS = 3  # of a variant's number, at least


@dataclass(frozen=True)
class Point:
    """A point of a design that passes its constraints.

    Parameters
    ----------
    name : str
        v001, v002 and so on, wide enough to sort.
    moved : mapping of str to Value
        What it changes of the study as written, by the factors' keys.
    values : mapping of str to object
        Value of every factor, by their keys; None where the study as written has none.
    """

    name: str
    moved: Moved
    values: Mapping[str, object]


@dataclass(frozen=True)
class Variant:
    """The study of one point.

    Parameters
    ----------
    name : str
        Name of the point; empty in a study without design.
    point : mapping of str to object
        Value of every factor, by their keys.
    study : StudyConfig or None
        The study there, without design; None if that is not valid.
    reason : str
        Why it is not, else empty.
    """

    name: str
    point: Mapping[str, object]
    study: StudyConfig | None
    reason: str


def variants_of(study: StudyConfig) -> tuple[Variant, ...]:
    """Make the study of every point of a design; without one, the study itself.

    Points that break a constraint are left out; those that are not valid stay, with the reason.

    Raises
    ------
    StudyError
        If no point passes the constraints.
    """
    if study.design is None:
        return (Variant("", {}, study, ""),)
    written = study.model_dump(mode="json", exclude_unset=True, exclude={"design"})
    keys = {factor.key: factor.keys for factor in study.design.factors}
    return tuple(_variant(point, written, keys) for point in points_of(study))


def _variant(point: Point, written: dict[str, Any], keys: Mapping[str, tuple[str, ...]]) -> Variant:
    data = copy.deepcopy(written)
    try:
        for first, value in point.moved.items():
            for key in keys[first]:
                set_at(data, key, value)
        return Variant(point.name, point.values, parse_study(data, point.name), "")
    except StudyError as error:
        lines = [line.removeprefix(f"{point.name}: ") for line in str(error).splitlines()]
        return Variant(point.name, point.values, None, "; ".join(lines))


def points_of(study: StudyConfig) -> tuple[Point, ...]:
    """Name the points of a study's design that pass its constraints; none without a design.

    Raises
    ------
    StudyError
        If no point passes.
    """
    if study.design is None:
        return ()
    design = study.design
    base = {factor.key: locate(study, factor.key)[1] for factor in design.factors}
    every, passes = moves(design, base), _passes(study, design)
    kept = [moved for moved in every if passes(moved)]
    if not kept:
        raise StudyError(
            f"design.constraints: none of {len(every)} points passes them all; allowed at least one: "
            "correct a constraint or choose other values"
        )
    width = max(DIGITS, len(str(len(kept))))
    return tuple(
        Point(f"v{number:0{width}d}", moved, base | moved) for number, moved in enumerate(kept, 1)
    )


def _passes(study: StudyConfig, design: Design) -> Callable[[Moved], bool]:
    """Whether a point passes all constraints; keys that it does not move are as written."""
    constraints = [parse_constraint(text) for text in design.constraints]
    owners = {locate(study, key)[0]: factor.key for factor in design.factors for key in factor.keys}
    found = {key: locate(study, key) for constraint in constraints for key in constraint.keys}

    def passes(moved: Moved) -> bool:
        values = {
            key: float(str(moved.get(owners.get(steps, ""), written)))
            for key, (steps, written) in found.items()
        }
        return all(constraint.holds(values) for constraint in constraints)

    return passes
