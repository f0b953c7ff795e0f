"""Where tissue takes over: each construct's answer as the tissue in its gap gets stiffer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf, log

from pipeline.measures.dictionary import PEAK
from pipeline.measures.exploring import FORCE, HALF, SHARE, TISSUE, WEIGHT
from pipeline.output.credibility import materials_of
from pipeline.output.graphs import Limit
from pipeline.output.report.cells import Cell, Entry
from pipeline.output.report.charts import Chart, words_of
from pipeline.output.report.robust import MODULUS
from pipeline.output.report.run import ReportedRun
from pipeline.output.spans import Span, over_decades
from pipeline.output.tables import number_in
from pipeline.tables.groups import grouped

CURVED = ("gap_movement", "rim_strain")
DECADES = (0.1, 1.0, 10.0, 100.0, 1000.0, 10000.0)  # MPa, that tables show the nearest points of
MOST_CURVES, MOST_PARTS, MOST_LINES = 10, 5, 40  # constructs and parts in charts; lines of a table
CAUTION = (
    "Stress against a published endurance range in an idealised model; no statement about when anyone "
    "may bear weight."
)
MOST_LOADED = "Of each construct the most loaded implant is drawn."
ENDURANCE = f" Endurance: amplitude of a fully reversed stress, from notched to smooth. {CAUTION}"
Curve = list[Entry]


@dataclass(frozen=True)
class Ladder:
    """Values at some moduli of the tissue.

    Parameters
    ----------
    moduli : list of Cell
        Headings of the columns, MPa.
    lines : list of (tuple of str, list)
        What stands before each line and its entries, None where there is none.
    more : int
        Lines that are left out.
    """

    moduli: list[Cell]
    lines: list[tuple[tuple[str, ...], list[Entry | None]]]
    more: int


@dataclass(frozen=True)
class Takeover:
    """Charts under one load; where the tissue carries half; forces across the gap, shares of a load."""

    load: str
    charts: list[Chart]
    halves: list[Entry]
    more_halves: int
    forces: Ladder
    weights: Ladder
    has_errors: bool
    is_flagged: bool
    caution: str = CAUTION


def takeover_of(run: ReportedRun) -> Takeover | None:
    """Read what a run has of it; None if it has nothing."""
    rows = sorted(run.takeover, key=lambda entry: run.order(entry["construct"]))
    if not rows:
        return None
    asked = run.study.asked.load
    load = asked if any(entry["load"] == asked for entry in rows) else rows[0]["load"]
    own = [entry for entry in rows if entry["load"] == load]
    halves = [entry for entry in rows if entry["quantity"] == HALF]
    forces = (entry for entry in own if entry["quantity"] == FORCE)
    weights = (entry for entry in rows if entry["quantity"] == WEIGHT)
    return Takeover(
        load,
        [*_charts(run, own)],
        halves[:MOST_LINES],
        max(0, len(halves) - MOST_LINES),
        _ladder(grouped(forces, lambda one: (one["construct"], part_of(one["location"])))),
        _ladder(grouped(weights, lambda one: (one["construct"], one["load"], one["unit"]))),
        any(entry["error"] for entry in own),
        any(entry["flags"] for entry in rows),
    )


def part_of(location: str) -> str:
    """What a part that crosses the gap is called."""
    return "tissue" if location == TISSUE else location


def _modulus(entry: Entry) -> float:
    """Modulus of a row; nothing that has no place on the axis is among its kind."""
    return number_in(entry["tissue_modulus_mpa"]) or 0.0


def _curve(rows: Sequence[Entry]) -> Curve:
    """Rows that have a place in a chart, the softest tissue first."""
    sound = (one for one in rows if _modulus(one) > 0 and number_in(one["value"]) is not None)
    return sorted(sound, key=_modulus)


def _charts(run: ReportedRun, own: Sequence[Entry]) -> Iterator[Chart]:
    """One chart for each quantity and place, the shares of the parts and the highest stress."""
    for quantity in CURVED:
        for location, rows in _by_place(own, quantity).items():
            yield from _chart(f"{words_of(quantity)}, {location}", rows, _as_it_is)
    shares = _by_place(own, SHARE)
    for location in sorted(shares, key=lambda name: name != TISSUE)[:MOST_PARTS]:
        label = f"share of the axial force, {part_of(location)}"
        yield from _chart(label, shares[location], _as_it_is)
    stresses = [entry for entry in own if entry["quantity"] == PEAK]
    label = f"highest {words_of(PEAK)}"
    limits = _endurance(run)
    yield from _chart(label, stresses, _highest, limits, MOST_LOADED + (ENDURANCE if limits else ""))


def _by_place(own: Sequence[Entry], quantity: str) -> dict[str, list[Entry]]:
    return grouped((one for one in own if one["quantity"] == quantity), lambda one: one["location"])


def _chart(
    label: str, rows: Sequence[Entry], pick: Callable[[Curve], Curve],
    limits: Sequence[Limit] = (), note: str = "",
) -> Iterator[Chart]:  # fmt: skip
    """A chart of one quantity at one place, a curve for each construct; none without rows."""
    each = grouped(_curve(rows), lambda one: one["construct"])
    curves = {name: pick(found) for name, found in list(each.items())[:MOST_CURVES]}
    if not curves:
        return
    unit = rows[0]["unit"]
    title = label[0].upper() + label[1:]
    svg = over_decades([_span(*one) for one in curves.items()], MODULUS, f"{label}, {unit}", limits)
    said = "; ".join(_said(name, curve) for name, curve in curves.items())
    thin = "The first constructs alone are drawn." if len(each) > MOST_CURVES else ""
    yield Chart(title, svg, f"{title}: {said}.", " ".join(filter(None, (note, thin))))


def _as_it_is(curve: Curve) -> Curve:
    return curve


def _highest(curve: Curve) -> Curve:
    """Of several parts the one that has most, at each modulus."""
    each = grouped(curve, _modulus)
    return [max(rows, key=lambda one: number_in(one["value"]) or -inf) for rows in each.values()]


def _span(name: str, curve: Curve) -> Span:
    values = [number_in(one["value"]) or 0.0 for one in curve]
    errors = [number_in(one["error"]) for one in curve]
    halves = [
        None if error is None else abs(value) * error / 100
        for value, error in zip(values, errors, strict=True)
    ]
    flagged = [bool(one["flags"]) for one in curve]
    return Span(name, [_modulus(one) for one in curve], values, halves, flagged)


def _said(name: str, curve: Curve) -> str:
    """What a curve begins and ends with, each number a cell."""
    ends = (
        f"{one.cell('value').text} {one['unit']} at {one.cell('tissue_modulus_mpa').text} MPa"
        for one in (curve[0], curve[-1])
    )
    return f"{name} from {' to '.join(ends)}"


def _endurance(run: ReportedRun) -> list[Limit]:
    return [
        Limit(f"{name}: endurance", *material.strength.endurance)
        for name, material in materials_of(run.records.values())
        if material.strength
    ]


def _ladder(curves: dict[tuple[str, ...], list[Entry]]) -> Ladder:
    """Rows of each curve at the moduli nearest to powers of ten, and at the stiffest."""
    first = _curve(next(iter(curves.values()), []))
    chosen = {
        _modulus(near): near.cell("tissue_modulus_mpa")
        for decade in (*DECADES, inf)
        if (near := _nearest(first, decade))
    }
    lines = []
    for words, rows in curves.items():
        held = {_modulus(one): one for one in _curve(rows)}
        lines.append((words, [held.get(modulus) for modulus in chosen]))
    return Ladder(list(chosen.values()), lines[:MOST_LINES], max(0, len(lines) - MOST_LINES))


def _nearest(curve: Curve, modulus: float) -> Entry | None:
    """The row whose modulus is nearest by ratio; beyond all the last."""
    if not curve or modulus == inf:
        return curve[-1] if curve else None
    return min(curve, key=lambda one: abs(log(_modulus(one) / modulus)))
