"""What can be built and is rarely meant: sentences on a plan that a person should look at again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from geometries.constructs import ExchangeNailConstruct
from geometries.facts import thinnest_reamed
from geometries.parameters import ExchangeNail, Nail, Parameters
from pipeline.run.case import Case
from pipeline.run.planning import Plan
from pipeline.study.design import Grid, LatinHypercube, SobolSequence, least_points
from pipeline.tables.groups import grouped

THIN_CORTEX_MM = 3.0  # common practice, no source
NAMED = 3  # keys in one sentence


def unlikely(planned: Plan) -> list[str]:
    """Sentences about what is rarely meant, once each over all variants of a design."""
    found: dict[str, None] = {}
    at_gaps = grouped(planned.cases, lambda case: (case.variant, case.own_defect))
    for case in planned.cases:
        beside = at_gaps[case.variant, case.own_defect]
        found |= dict.fromkeys((*_thin(case), *_no_larger(case, beside), *_copies(case, beside)))
    return list(found)


def too_few(planned: Plan) -> str:
    """A sentence if a design has too few points for the indices that it is run for, else empty.

    Designs whose indices follow without a response surface have the points that these need, and one
    with words in place of numbers has no surface however many there are.
    """
    design = planned.study.design
    if not isinstance(design, Grid | LatinHypercube | SobolSequence):
        return ""
    if not all(factor.is_numeric for factor in design.factors):
        return ""
    points = {tuple(variant.point.values()) for variant in planned.variants if not variant.reason}
    count, least = len(design.factors), least_points(len(design.factors))
    if len(points) >= least:
        return ""
    return (
        f"{len(points)} different points that can be built are too few for indices over {count} "
        f"factor{'s' * (count > 1)}: sensitivity.csv will have none. The least is {least}; give more "
        "values or samples, or take the results of each point as they are."
    )


def _thin(case: Case) -> Iterator[str]:
    """Cortex that reaming leaves thin."""
    rod = case.construct.rod
    left = THIN_CORTEX_MM if rod is None else thinnest_reamed(case.femur, rod)
    if rod is not None and left < THIN_CORTEX_MM:
        yield (
            f"{case.name}: reaming leaves {left:.1f} mm of cortex at its thinnest, less than "
            f"{THIN_CORTEX_MM:g} mm (common practice, no source); if that is not meant, {rod.thinner}."
        )


def _no_larger(case: Case, beside: Sequence[Case]) -> Iterator[str]:
    """An exchange nail that is larger than no other nail of its study at the same gap.

    A study file does not say which nail is exchanged: it may be any of these.
    """
    own = case.construct
    if not isinstance(own, ExchangeNailConstruct):
        return
    others = {
        other.name: rod.diameter_mm
        for other in beside
        if isinstance(rod := other.construct.rod, Nail) and not isinstance(rod, ExchangeNail)
    }
    if others and min(others.values()) >= own.nail.diameter_mm:
        named = ", ".join(f"{name} ({diameter:g} mm)" for name, diameter in others.items())
        yield (
            f"{case.name}: the exchange nail of {own.nail.diameter_mm:g} mm is larger than none that "
            f"it may replace here, {named}; if that is not meant, change diameter_mm."
        )


def _copies(case: Case, beside: Sequence[Case]) -> Iterator[str]:
    """An implant of a construct that adds another one to it, and that no construct has alone.

    Nail alone and nail with plate compare the plate only if the nail is the same. Of several
    constructs that have such an implant, the one whose is most like it is named.
    """
    own = case.construct.implants
    for key, implant in own.items():
        alike = {
            other.name: list(_apart(key, implant, other.construct.implants[key]))
            for other in beside
            if key in other.construct.implants.keys() < own.keys()
            and type(other.construct.implants[key]) is type(implant)
        }
        if not alike or not all(alike.values()):
            continue
        name, apart = min(alike.items(), key=lambda item: len(item[1]))
        told = [f"{place} = {here} and {there}" for place, here, there in apart[:NAMED]]
        more = f" and {len(apart) - NAMED} more" if len(apart) > NAMED else ""
        yield (
            f"{case.name} and {name} have unlike copies of one {key}: {', '.join(told)}{more}; if it "
            f"is to be one, name it once in [implants.NAME] and give {key} = 'NAME' in both."
        )


def _apart(key: str, one: Parameters, other: Parameters) -> Iterator[tuple[str, object, object]]:
    """Keys in which two tables of a kind differ, with both values."""
    for name, here in one:
        there = getattr(other, name)
        if isinstance(here, Parameters) and isinstance(there, Parameters):
            yield from _apart(f"{key}.{name}", here, there)
        elif here != there:
            yield f"{key}.{name}", here, there
