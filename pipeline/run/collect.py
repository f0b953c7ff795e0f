"""The tables of a study whose cases have ended.

Rows come variant by variant and are written as they come: no more than one variant is held.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from typing import Any

from geometries.bone import Defect
from geometries.constructs import IntactConstruct, NailConstruct, NailPlateConstruct
from pipeline.measures.columns import COLUMNS
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.exploring import EXPLORING
from pipeline.measures.quantity import Quantity
from pipeline.run.case import Case
from pipeline.run.curves import CurveEnds, curve_ends, write_curves
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan
from pipeline.storage.casebook import ROWS, folder_of, write_index
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import Cells, growing_table, write_table
from pipeline.sweeps.sensitivity import INDICES, SENSITIVITY_COLUMNS, sensitivity_rows
from pipeline.sweeps.variants import Variant
from pipeline.tables.added_plate import flag_added_plates
from pipeline.tables.brackets import BRACKET_COLUMNS, bracket_rows
from pipeline.tables.comparisons import COMPARISON_COLUMNS, comparison_rows, relate
from pipeline.tables.flagged import FOOTNOTE, MARK
from pipeline.tables.groups import grouped
from pipeline.tables.measured import PUBLISHED_COLUMNS, published_rows
from pipeline.tables.rows import FAILED, REQUIRED, Row, growing_results, read_results, write_results
from pipeline.tables.shaft import SHAFT_COLUMNS, shaft_rows

SAID = {
    "caution": Quantity("", "all tables", CAUTION),
    MARK: Quantity("", "what is printed or exported of the tables", FOOTNOTE),
}
"""What is said of all results, in ``dictionary.csv`` and in the metadata of ``results.parquet``."""
FLAGS = Quantity(
    "", "results.csv and tables made of it",
    "Why a value is in doubt: beyond the range in which the model means anything, or not plausible. Of "
    "two values in a row each has its name before it. curves.csv: of the results under the whole load, "
    "at factor 1 alone; takeover.csv: at that modulus, under the load as stated; robustness.csv: of "
    "the results at the inputs as the study has them; assumptions.csv: of the value as modelled. "
    "Results at other inputs or a part of the load are not looked through.",
)  # fmt: skip
"""The column of flags, in the same."""
ABOUT = {name: entry.definition for name, entry in SAID.items()}
AddAny = Callable[[Iterable[Cells]], None]


def rows_of(outcomes: Iterable[Outcome], out: Path) -> Iterator[Row]:
    """Rows of cases as they were stored, each with its construct and gap."""
    for outcome in outcomes:
        common = _common(outcome.case)
        if outcome.failure:
            yield Row(**common, status=FAILED, reason=outcome.failure)
            continue
        yield from read_results(folder_of(out, outcome.case.address) / ROWS, REQUIRED, common)


def _common(case: Case) -> dict[str, Any]:
    """What all rows of a case share."""
    gap = case.own_defect if case.has_site else None
    return {
        "case": case.address,
        "variant": case.variant,
        "construct": case.name,
        "interfaces": case.construct.interfaces,
        "site": gap.site if gap else "",
        "gap_mm": gap.gap_mm if gap else None,
        "gap_shape": gap.shape if gap else "",
    }


def related(rows: Iterable[Row], cases: Iterable[Case]) -> Iterator[Row]:
    """Rows with the columns of percentages within each variant, and the flags that follow from them."""
    listed = grouped(cases, attrgetter("variant"))
    for variant, own in groupby(rows, attrgetter("variant")):
        compared = references(listed.get(variant, []))
        plated = over_the_same_nail(listed.get(variant, []), compared["percent_of_nail_only"])
        yield from flag_added_plates(plated, relate(list(own), compared))


def write_tables(
    planned: Plan, outcomes: Sequence[Outcome], rows: Iterable[Row], out: Path
) -> list[Row]:
    """Write the tables of a study whose cases have ended; none of an earlier run stays.

    They are ``cases.csv``, ``results.csv`` and the same as Parquet, ``comparisons.csv``,
    ``dictionary.csv`` and, where there is anything for them, ``curves.csv``, ``design.csv``,
    ``sensitivity.csv``, ``shaft.csv``, ``brackets.csv`` and ``published.csv``.

    Parameters
    ----------
    planned : Plan
        The study.
    outcomes : sequence of Outcome
        How its cases ended.
    rows : iterable of Row
        All results, related to each other, in the order of the plan.
    out : Path
        Folder to write to.

    Returns
    -------
    list of Row
        Those of the first variant, which is shown.
    """
    write_index(out, [outcome.cells() for outcome in outcomes])
    listed = grouped(planned.cases, attrgetter("variant"))
    first: list[Row] = []
    swept: list[Row] = []
    ends: CurveEnds = {}
    with ExitStack() as open_tables:
        add_results = open_tables.enter_context(growing_results(out, ABOUT))
        table = growing_table(out / "comparisons.csv", COMPARISON_COLUMNS)
        add_comparisons = open_tables.enter_context(table)
        beside = _Beside.opened(planned, out, open_tables)
        for variant, own in _each(planned, rows):
            cases = listed.get(variant.name, [])
            groups = {case.name: case.own_defect if case.has_site else None for case in cases}
            add_results(own)
            add_comparisons(comparison_rows(own, groups))
            beside.add(variant, own)
            first = first or own
            swept += _swept(planned, own)
            ends |= curve_ends(own)
    write_curves(outcomes, out, ends)
    _write_design(planned, swept, out)
    _write_dictionary(planned, out)
    return first


def _write_dictionary(planned: Plan, out: Path) -> None:
    entries = SAID | {"flags": FLAGS} | QUANTITIES | COLUMNS | (INDICES if planned.has_design else {})
    entries |= EXPLORING if planned.study.asks_more else {}
    dictionary = [{"quantity": name, **asdict(entry)} for name, entry in entries.items()]
    write_table(out / "dictionary.csv", dictionary, ("quantity", "unit", "locations", "definition"))


def write_cases(outcomes: Iterable[Outcome], rows: Iterable[Row], out: Path) -> None:
    """Write how cases ended, and their rows."""
    write_index(out, [outcome.cells() for outcome in outcomes])
    write_results(out, rows, ABOUT)


def _each(planned: Plan, rows: Iterable[Row]) -> Iterator[tuple[Variant, list[Row]]]:
    """Every variant of a plan with its rows, which come in the same order."""
    waiting = groupby(rows, attrgetter("variant"))
    name, own = next(waiting, (None, iter(())))
    for variant in planned.variants:
        if variant.name != name:
            yield variant, []
            continue
        yield variant, list(own)
        name, own = next(waiting, (None, iter(())))
    if name is not None:
        raise ValueError(
            f"rows of variant {name!r} are not in the order of the plan; report this study"
        )


@dataclass(frozen=True)
class _Beside:
    """The tables that set results beside bounds, and results and bone beside measurements."""

    planned: Plan
    shafts: AddAny
    brackets: AddAny
    measured: AddAny

    @classmethod
    def opened(cls, planned: Plan, out: Path, open_tables: ExitStack) -> _Beside:
        def opened(name: str, columns: Sequence[str]) -> AddAny:
            table = growing_table(out / name, ("variant", *columns), may_be_empty=False)
            return open_tables.enter_context(table)

        return cls(
            planned,
            opened("shaft.csv", SHAFT_COLUMNS),
            opened("brackets.csv", BRACKET_COLUMNS),
            opened("published.csv", PUBLISHED_COLUMNS),
        )

    def add(self, variant: Variant, own: Sequence[Row]) -> None:
        if variant.study is None:
            return
        point: Cells = {"variant": variant.name}
        if any(one.has_femur for one in variant.study.constructs):
            self.shafts(point | cells for cells in shaft_rows(variant.study.femur))
        self.brackets(point | cells for cells in bracket_rows(variant.study.constructs, own))
        self.measured(point | cells for cells in published_rows(self.planned.study.published, own))


def write_beside(planned: Plan, rows: Iterable[Row], out: Path) -> None:
    """Write the tables that set results beside bounds, and results and bone beside measurements."""
    with ExitStack() as open_tables:
        beside = _Beside.opened(planned, out, open_tables)
        for variant, own in _each(planned, rows):
            beside.add(variant, own)


def _swept(planned: Plan, own: Iterable[Row]) -> list[Row]:
    """Those rows of a variant that a design is asked about, of the study's own constructs."""
    design = planned.study.design
    if design is None:
        return []
    names = {one.name for construct in planned.study.constructs for one, _ in construct.at_bounds()}
    return [row for row in own if row.quantity in design.outcomes and row.construct in names]


def _write_design(planned: Plan, swept: Iterable[Row], out: Path) -> None:
    """Write the points of a design, and what moves the study's own constructs."""
    design: list[Cells] = [
        {"variant": one.name, "status": "refused" if one.reason else "ok", "reason": one.reason}
        | dict(one.point)
        for one in planned.variants
        if one.name
    ]
    keys = dict.fromkeys(key for cells in design for key in cells)
    _write_if_any(out / "design.csv", design, tuple(keys))
    found: list[Cells] = []
    if design:
        refused = {variant.name for variant in planned.refused}
        found = sensitivity_rows(planned.study, refused, swept)
    _write_if_any(out / "sensitivity.csv", found, SENSITIVITY_COLUMNS)


def _write_if_any(path: Path, rows: list[Cells], columns: tuple[str, ...]) -> None:
    """Write a table that not every study has, or remove that of an earlier run."""
    if rows:
        write_table(path, rows, columns)
    else:
        path.unlink(missing_ok=True)


def over_the_same_nail(cases: Sequence[Case], alone: Mapping[str, str]) -> dict[str, set[str]]:
    """Constructs with a plate over the very nail they are compared with, and their empty stages."""
    constructs = {case.name: case.construct for case in cases}
    return {
        case.name: {stage.name for stage in case.stages if not stage.material().modulus}
        for case in cases
        if isinstance(case.construct, NailPlateConstruct)
        and isinstance(nail := constructs.get(alone.get(case.name, "")), NailConstruct)
        and nail.nail == case.construct.nail
    }


def references(listed: Sequence[Case]) -> dict[str, dict[str, str]]:
    """What each construct is compared with, for each column of percentages.

    They are the first intact femur at its gap, whatever the gap's shape, and the first nail there
    that is whole.
    """
    own = {case.name: case.own_defect for case in listed if case.has_site}
    plain = {name: defect.plain for name, defect in own.items()}
    intact = [case.name for case in listed if isinstance(case.construct, IntactConstruct)]
    whole = [
        case.name
        for case in listed
        if isinstance(case.construct, NailConstruct) and case.construct.nail.break_mm is None
    ]
    return {"percent_of_intact": _first(intact, plain), "percent_of_nail_only": _first(whole, own)}


def _first(names: Sequence[str], gaps: Mapping[str, Defect]) -> dict[str, str]:
    """For each construct, the first of some that has the same gap."""
    first = {gaps[name]: name for name in reversed(names)}
    return {name: first[gap] for name, gap in gaps.items() if gap in first}
