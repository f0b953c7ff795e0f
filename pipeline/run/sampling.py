"""A few constructs that span a study, as unlike each other as its parameters allow."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.run.case import Case
from pipeline.run.planning import Plan

Array = NDArray[np.float64]


def spread(cases: Sequence[Case], count: int) -> tuple[str, ...]:
    """Choose so many cases, or all, that span the parameters of construct, defect and femur.

    Their labels are in the order of the study. Each kind of construct is among them if `count` allows.

    Notes
    -----
    The first is nearest the centre: its distances to all others have the least sum. The next is always
    the one farthest from its nearest chosen one, of a kind that is not chosen yet while there is such;
    the earlier of equals. A distance sums over all parameters: of numbers their difference over the
    range in the study; of words, or where only one case has the parameter, 0 if equal and 1 if not
    (Gower 1971 Biometrics 27:857, without its weights, as R's packages have it).
    """
    apart = _distances([dict(_parameters(case)) for case in cases])
    kinds = [case.construct.kind for case in cases]
    chosen = [int(apart.sum(axis=1).argmin())]
    while len(chosen) < min(count, len(cases)):
        left = [k for k in range(len(cases)) if k not in chosen]
        seen = {kinds[k] for k in chosen}
        new = [k for k in left if kinds[k] not in seen]
        chosen.append(max(new or left, key=lambda k: apart[k, chosen].min()))
    return tuple(cases[k].label for k in sorted(chosen))


def sample_of(planned: Plan, count: int | None) -> tuple[str, ...]:
    """Labels of the cases that run on three meshes: so many that span the study, or all."""
    return spread(planned.cases, count or len(planned.items))


def left_out(cases: Sequence[Case], chosen: Collection[str]) -> tuple[str, ...]:
    """Kinds of construct in a study of which none is chosen, in the order of the study."""
    there = {case.construct.kind for case in cases if case.label in chosen}
    return tuple(
        dict.fromkeys(case.construct.kind for case in cases if case.construct.kind not in there)
    )


def _parameters(case: Case) -> Iterator[tuple[str, object]]:
    """Every parameter of a case by its dotted key."""
    own = case.construct.model_dump(exclude={"name", "defect"})
    yield from _leaves("construct", own)
    yield from _leaves("defect", case.own_defect.model_dump())
    yield from _leaves("femur", case.femur.model_dump())


def _leaves(key: str, node: object) -> Iterator[tuple[str, object]]:
    if isinstance(node, list | tuple):
        node = dict(enumerate(node))
    if isinstance(node, dict):
        for name, child in node.items():
            yield from _leaves(f"{key}.{name}", child)
    else:
        yield key, node


def _distances(designs: Sequence[dict[str, object]]) -> Array:
    keys = dict.fromkeys(key for design in designs for key in design)
    total = np.zeros((len(designs), len(designs)))
    for key in keys:
        total += _apart([design.get(key) for design in designs])
    return total


def _apart(values: list[object]) -> Array:
    """Distances of the values of one parameter; one that a case does not have is None."""
    is_number = np.array([isinstance(value, int | float) for value in values])
    numbers = np.array([float(value) if isinstance(value, int | float) else 0.0 for value in values])
    width = float(np.ptp(numbers[is_number])) if is_number.any() else 0.0
    numeric = np.abs(numbers[:, None] - numbers) / (width or 1.0)
    words = np.array([str(value) for value in values])
    return np.where(is_number[:, None] & is_number, numeric, words[:, None] != words)
