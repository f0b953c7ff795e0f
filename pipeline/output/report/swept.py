"""Charts of a design: the primary outcome over each factor, and how much of it each factor explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from statistics import median

from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.output.graphs import Cloud, Mark, Series, intervals, scatter
from pipeline.output.report.cells import Entry, shown
from pipeline.output.report.charts import OPEN_MARKS, Chart, mark_of, words_of
from pipeline.output.report.doubts import Doubts, doubts_in
from pipeline.output.report.run import ReportedRun
from pipeline.output.tables import number_in
from pipeline.study.units import unit_of_key

MOST_POINTS, MOST_FACTORS = 600, 12  # of a design: 2.5 MB, so that the page stays small
ONE_DECADE = 10.0
SOUND = 0.5  # Q², below which a surface misses more of the variance than it predicts
INDICES = {  # of each factor the one that tells most, and what a chart calls it
    "ST": "ST, share of the variance, alone and together with others",
    "mu_star": "mean size of the effect of the factor's whole range, {unit}",
    "swing": "swing over the factor's values, % of the value as written",
}


@dataclass(frozen=True)
class Swept:
    """What a design says of the primary outcome.

    Parameters
    ----------
    said : list of str
        Sentences: between what it runs, and what explains it or why that is not said.
    opening : list of Chart
        One or two charts that the page opens with.
    others : list of Chart
        All others.
    doubts : dict of str to Doubts
        What flags the outcome of each construct over all points.
    """

    said: list[str]
    opening: list[Chart]
    others: list[Chart]
    doubts: dict[str, Doubts]


def swept_of(run: ReportedRun) -> Swept | None:
    """Read what the run has of a design; None without one, or where no point has the outcome."""
    every = _asked(run) if run.design else []
    if not every:
        return None
    rows = _indices(run)
    clouds = _clouds(run, every)
    strength = {row["factor"]: abs(number_in(row["value"]) or 0.0) for row in reversed(rows)}
    keys = sorted(clouds, key=lambda key: -strength.get(key, 0.0))  # ties stay as in the study file
    blind = [row for row in rows if not _is_sound(row)]
    sensitivity = [] if blind or not rows else [_sensitivity(run, rows)]
    drawn = [*sensitivity, *(clouds[key] for key in keys)]
    why = _explained(rows, blind, run) if rows else _unexplained(run)
    said = [*_ranges(run, every), *why]
    return Swept(said, drawn[:2], drawn[2:], doubts_in(every, run.constructs, "points"))


def factor_words(key: str, label: str) -> str:
    """What a chart calls a factor, with its unit: that of the key's ending."""
    unit = unit_of_key(key)
    last = key.rpartition(".")[2]
    name = last.rpartition("_")[0] if unit and label in (last, "") else label or last
    return f"{name.replace('_', ' ')}, {unit}" if unit else name.replace("_", " ")


def _labels(run: ReportedRun) -> dict[str, str]:
    """Words of each factor of the design; two that would be called alike keep their keys."""
    factors = run.study.design.factors if run.study.design else ()
    words = {one.key: factor_words(one.key, one.label or "") for one in factors}
    taken = list(words.values())
    return {
        key: said if taken.count(said) == 1 else factor_words(key, key) for key, said in words.items()
    }


def _indices(run: ReportedRun) -> list[Entry]:
    """Of the primary outcome the index that tells most, a row for each construct and factor."""
    own = [row for row in run.answering(run.sensitivity) if number_in(row["value"]) is not None]
    held = next((name for name in INDICES if any(row["index"] == name for row in own)), "")
    return [row for row in own if row["index"] == held]


def _is_sound(row: Entry) -> bool:
    """Whether it is not of a response surface, or of one that predicts what it has not seen."""
    quality = number_in(row["q2"])
    return not row["method"].endswith("surface") or (quality is not None and quality >= SOUND)


def _ranges(run: ReportedRun, every: Sequence[Entry]) -> list[str]:
    asked, found = run.study.asked, []
    for name in dict.fromkeys(entry["construct"] for entry in every):
        own = sorted((e for e in every if e["construct"] == name), key=lambda e: e.result.number)
        low, high = own[0].cell("value").text, own[-1].cell("value").text
        found.append(f"from {low} to {high} {own[0]['unit']} with {name} ({len(own)} points)")
    what = f"{words_of(asked.quantity)}, {asked.location},"
    return [f"Over the {len(run.design)} points of the design, {what} runs {'; '.join(found)}."]


def _unexplained(run: ReportedRun) -> list[str]:
    """Why no index has a value, where the table says it."""
    notes = dict.fromkeys(row["note"] for row in run.answering(run.sensitivity) if row["note"])
    return [f"Which factor explains how much is not said: {'; '.join(notes)}."] if notes else []


def _explained(rows: Sequence[Entry], blind: Sequence[Entry], run: ReportedRun) -> list[str]:
    """Which factor each construct's outcome follows most."""
    if blind:
        values = ", ".join(dict.fromkeys(shown(row["q2"]) for row in blind if row["q2"]))
        return [
            "Which factor explains how much is not said here: the surface that would tell predicts "
            f"points that it has not seen with Q² {values or 'unknown'}, where 1 is perfect and 0 no "
            "better than the mean. The charts show the points themselves."
        ]  # fmt: skip
    labels, said = _labels(run), []
    for name in dict.fromkeys(row["construct"] for row in rows):
        own = [row for row in rows if row["construct"] == name]
        top = max(own, key=lambda row: abs(number_in(row["value"]) or 0.0))
        factor = labels.get(top["factor"], top["factor"]).partition(",")[0]
        said.append(f"with {name} {factor} most ({top['index']} {top.cell('value').text})")
    return [f"Of all factors it follows {'; '.join(said)}."]


def _sensitivity(run: ReportedRun, rows: Sequence[Entry]) -> Chart:
    """The index of each factor, a dot for each construct."""
    labels = _labels(run)
    factors = list(dict.fromkeys(row["factor"] for row in rows))[:MOST_FACTORS]
    names = list(dict.fromkeys(row["construct"] for row in rows))
    held = {(row["construct"], row["factor"]): row for row in rows}
    series = [Series(name, [_index(held.get((name, key))) for key in factors]) for name in names]
    label = INDICES[rows[0]["index"]].format(unit=rows[0]["unit"])
    words = [labels.get(key, key) for key in factors]
    asked = run.study.asked
    title = f"Sensitivity of {words_of(asked.quantity)}, {asked.location}"
    told = "; ".join(
        f"{row['construct']}, {labels.get(row['factor'], row['factor'])}: {row.cell('value').text}"
        for row in rows if row["factor"] in factors
    )  # fmt: skip
    note = f"Stage {asked.stage}, load {asked.load}. {label[0].upper()}{label[1:]}."
    return Chart(title, intervals(words, series, label), f"{title}: {told}.", note)


def _index(row: Entry | None) -> Mark | None:
    value = None if row is None else number_in(row["value"])
    return None if row is None or value is None else Mark(value, number_in(row["confidence"]))


def _clouds(run: ReportedRun, every: Sequence[Entry]) -> dict[str, Chart]:
    """The primary outcome over each factor of a design that is a number."""
    asked, labels, found = run.study.asked, _labels(run), {}
    apart = -(-len(every) // MOST_POINTS)
    drawn = {row["variant"]: row for row in run.design[:: apart or 1]}  # all constructs of a variant
    held = [entry for entry in every if entry["variant"] in drawn]
    for key in list(run.design[0])[3:][:MOST_FACTORS] if held else ():
        series = _series(held, {name: number_in(row[key]) for name, row in drawn.items()})
        if series:
            unit, name = held[0]["unit"], labels.get(key, key)
            title = f"{words_of(asked.quantity).capitalize()} over {name.partition(',')[0]}"
            has_decades = spans_decades([at for cloud in series for at in cloud.across])
            y = f"{words_of(asked.quantity)}, {asked.location}, {unit}"
            svg = scatter(series, name, y, has_decades=has_decades)
            low, high = (shown(str(pick(entry.result.number for entry in held))) for pick in (min, max))
            words = f"{title}: {len(held)} points from {low} to {high} {unit}."
            thin = f" One of {apart} variants is drawn." if apart > 1 else ""
            axis = " Across on a logarithmic axis." if has_decades else ""
            open_ = f" {OPEN_MARKS}" if any(entry["flags"] for entry in held) else ""
            found[key] = Chart(
                title, svg, words, f"Stage {asked.stage}, load {asked.load}.{axis}{thin}{open_}"
            )
    return found


def spans_decades(values: Sequence[float]) -> bool:
    """Whether values span a decade and lie more evenly on a logarithmic axis than on a plain one.

    They do where their median is nearer to its middle; one that is drawn evenly from a range is not.
    """
    low, high = min(values), max(values)
    if low <= 0 or high / low < ONE_DECADE:
        return False
    middle = median(values)
    plain = abs((middle - low) / (high - low) - 0.5)
    return abs(log(middle / low) / log(high / low) - 0.5) < plain


def _asked(run: ReportedRun) -> list[Entry]:
    """The primary outcome in all variants; of the highest stress that of its part in each."""
    asked = run.study.asked
    of_any = (asked.quantity, asked.stage, asked.load)
    sound = (entry for entry in run.results if entry["status"] == "ok")
    own = [one for one in sound if (one["quantity"], one["stage"], one["load"]) == of_any]
    if (asked.quantity, asked.location) == (PEAK, HIGHEST):
        own.sort(key=lambda entry: entry.result.number)
        highest = {(entry["variant"], entry["construct"]): entry for entry in own}  # the last stays
        own = sorted(highest.values(), key=lambda entry: entry.number)
    else:
        own = [entry for entry in own if entry["location"] == asked.location]
    return [entry for entry in own if not entry.result.is_singular]


def _series(held: Sequence[Entry], across: dict[str, float | None]) -> list[Cloud]:
    """Name, factor and outcome of each construct; nothing if the factor is no number."""
    if None in across.values():
        return []
    found: dict[str, list[Entry]] = {}
    for entry in held:
        found.setdefault(entry["construct"], []).append(entry)
    return [
        Cloud(name, [across[one["variant"]] or 0.0 for one in own], [mark_of(one) for one in own])
        for name, own in found.items()
    ]
