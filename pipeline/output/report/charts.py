"""The charts of the page, as papers print them, each with words for who can not see it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from math import isfinite

from pipeline.measures.dictionary import HIGHEST, PEAK, QUANTITIES
from pipeline.output.credibility import materials_of
from pipeline.output.graphs import Limit, Mark, Series, intervals, stacks
from pipeline.output.report.cells import Entry
from pipeline.output.report.run import NO_GAP, ReportedRun
from pipeline.output.tables import COLUMNS
from pipeline.tables.rows import INTACT_STAGE

STIFFNESSES = {c.quantity: c.location for c in COLUMNS if c.is_stiffness}
KINDS = {"nail": "nail", "stem": "stem", "plate": "plate", "bolt": "bolts", "screw": "screws"}
MOST_ROWS = 30  # constructs in one chart
PLACES = ("near", "far")
OPEN_MARKS = "Open marks are flagged."


@dataclass(frozen=True)
class Chart:
    """A chart in the page: its heading, its picture, what that shows, and how to read it.

    The words are for who can not see the picture; the note may be empty.
    """

    title: str
    svg: str
    words: str
    note: str = ""


def answers(run: ReportedRun) -> dict[str, Entry]:
    """The primary outcome of each construct that has it; a bone without a gap has none."""
    every = {name: run.found(*run.study.asked, construct=name) for name in run.constructs}
    return {name: one for name, one in every.items() if one and one["stage"] != INTACT_STAGE}


def answer_chart(run: ReportedRun) -> Chart | None:
    """The primary outcome of each construct; None if no construct has it."""
    asked, entries = run.study.asked, dict(list(answers(run).items())[:MOST_ROWS])
    if not entries:
        return None
    unit = QUANTITIES[asked.quantity].unit
    cells = [entry.cell("value") for entry in entries.values()]
    marks = [
        mark and replace(mark, text=cell.text, address=cell[:3])
        for mark, cell in zip(map(_mark, entries.values()), cells, strict=True)
    ]
    label = f"{words_of(asked.quantity)}, {asked.location}"
    title = label[0].upper() + label[1:]
    svg = intervals(_named(run, list(entries)), [Series("", marks)], f"{label}, {unit}")
    note = _note(entries.values(), f"Stage {asked.stage}, load {asked.load}.")
    return Chart(title, svg, _told(title, entries, unit), note)


def charts_of_load(run: ReportedRun) -> Iterator[Chart]:
    """Charts of the shown stage and load."""
    yield from _movements(run)
    yield from _stresses(run)
    yield from _bands(run)


def words_of(quantity: str) -> str:
    """Name of a quantity in words."""
    return "stress exceeded in 5 mm³" if quantity == PEAK else quantity.replace("_", " ")


def mark_of(entry: Entry) -> Mark:
    """A result as a chart shows it: with its error if that is known, open if it is flagged."""
    half = entry.result.half
    known = half if isfinite(half) else None
    return Mark(entry.result.number, known, is_flagged=bool(entry["flags"]))


def _mark(entry: Entry | None) -> Mark | None:
    return None if entry is None or entry.result.is_singular else mark_of(entry)


def _note(entries: Iterable[Entry | None], *words: str) -> str:
    """What stands below a chart, and whether any of its marks is open."""
    is_open = any(entry and entry["flags"] for entry in entries)
    return " ".join(filter(None, (*words, OPEN_MARKS if is_open else "")))


def _named(run: ReportedRun, names: list[str]) -> list[str]:
    """Names, with the site of the gap where these differ."""
    places = run.places(names)
    if len(set(places.values()) - {NO_GAP}) < 2:
        return names
    return [f"{name}\n{places[name].split(',')[0]}" for name in names]


def _told(title: str, entries: Mapping[str, Entry], unit: str) -> str:
    """What is drawn, number by number; a singular value is not, and must not be quoted."""
    said = "; ".join(
        f"{name} singular"
        if entry.result.is_singular
        else f"{name} {entry.cell('value').text} {unit}{', flagged' if entry['flags'] else ''}"
        for name, entry in entries.items()
    )
    return f"{title}: {said}."


def _movements(run: ReportedRun) -> Iterator[Chart]:
    stage, load = run.study.shown
    for quantity in ("gap_axial_movement", "gap_shear_movement"):
        table = {}
        for name in run.constructs[:MOST_ROWS]:
            own = {at: run.found(quantity, at, stage, load, name) for at in PLACES}
            if any(entry and entry["stage"] != INTACT_STAGE for entry in own.values()):
                table[name] = own
        if not table:
            continue
        series = [Series(at, [_mark(own[at]) for own in table.values()]) for at in PLACES]
        title = f"{words_of(quantity).capitalize()}, near and far"
        svg = intervals(_named(run, list(table)), series, f"{words_of(quantity)}, mm")
        fars = {name: entry for name, own in table.items() if (entry := own["far"])}
        closing = "Negative closes the gap." if quantity == "gap_axial_movement" else ""
        note = _note((entry for own in table.values() for entry in own.values()), closing)
        yield Chart(title, svg, _told(f"{title}; far", fars, "mm"), note)


def _stresses(run: ReportedRun) -> Iterator[Chart]:
    """Highest stress of each kind of implant, with the limits of its metals."""
    stage, load = run.study.shown
    groups: dict[str, dict[str, Entry]] = {}
    for entry in run.first:
        if entry["quantity"] == PEAK and entry["load"] == load and entry["stage"] == stage:
            kind = KINDS.get(entry["location"].rstrip("0123456789_").split("_")[0], "other implants")
            highest, name = groups.setdefault(kind, {}), entry["construct"]
            if name not in highest or highest[name].result.number < entry.result.number:
                highest[name] = entry
    names = [n for n in run.constructs if any(n in highest for highest in groups.values())][:MOST_ROWS]
    if not names:
        return
    series = [
        Series(kind, [_mark(highest.get(name)) for name in names]) for kind, highest in groups.items()
    ]
    svg = intervals(_named(run, names), series, "stress exceeded in 5 mm³, MPa", _limits(run))
    tops = {name: top for name in names if (top := run.found(PEAK, HIGHEST, stage, load, name))}
    note = _note(
        (entry for highest in groups.values() for entry in highest.values()),
        "Yield: least value of the metal's standard. Endurance: amplitude of a fully "
        "reversed stress, from notched to smooth; endurance_factor holds a pulsating one against it.",
    )
    title = "Implant stress, by kind of implant"
    yield Chart(title, svg, _told(title, tops, "MPa"), note)


def _limits(run: ReportedRun) -> list[Limit]:
    limits = []
    for name, material in materials_of(run.records.values()):
        if held := material.strength:
            limits.append(Limit(f"{name}: yield", held.yield_stress, held.yield_stress))
            limits.append(Limit(f"{name}: endurance", *held.endurance))
    return limits


def _bands(run: ReportedRun) -> Iterator[Chart]:
    for scheme in run.study.strain_bands:
        own = _shares(run, scheme)
        bands = list(dict.fromkeys(band for _, band in own))
        names = [name for name in run.constructs if any(key[0] == name for key in own)][:MOST_ROWS]
        if not names:
            continue
        series = [
            Series(_band(scheme, band), [_mark(own.get((name, band))) for name in names])
            for band in bands
        ]
        title = f"Tissue strain sorted into {scheme} bands"
        svg = stacks(_named(run, names), series, "share of the gap tissue's volume, %")
        said = (
            f"{name}, {_band(scheme, band)}: {entry.cell('value').text} % of the volume"
            for (name, band), entry in own.items()
            if name in names
        )
        note = "Published bands sort strain; they forecast nothing. Sources in dictionary.csv."
        yield Chart(title, svg, f"{title}: {'; '.join(said)}.", note)


def _shares(run: ReportedRun, scheme: str) -> dict[tuple[str, str], Entry]:
    """Shares of a scheme by construct and band, of the tissue between the bone ends."""
    return {
        (entry["construct"], entry["location"].split("/")[1]): entry
        for entry in run.first
        if entry["quantity"] == "strain_band" and entry["location"].startswith(f"{scheme}/")
        and (entry["stage"], entry["load"]) == run.study.shown and entry["status"] == "ok"
    }  # fmt: skip


def _band(scheme: str, band: str) -> str:
    words = band.replace("_", " ").replace("0.15MPa", "0.15 MPa")
    return words if scheme == "pressure" else f"{words} %"


def charts_of_stage(run: ReportedRun) -> Iterator[Chart]:
    """Stiffnesses at the shown stage, each under the first load that has it."""
    stage, _ = run.study.shown
    for quantity, location in STIFFNESSES.items():
        entries = {
            name: entry
            for name in run.constructs[:MOST_ROWS]
            if (entry := run.found(quantity, location, stage, None, name))
        }
        if entries:
            first = next(iter(entries.values()))
            title = f"{words_of(quantity).capitalize()}, load {first['load']}"
            marks = [_mark(entry) for entry in entries.values()]
            label = f"{words_of(quantity)}, {first['unit']}"
            svg = intervals(_named(run, list(entries)), [Series("", marks)], label)
            yield Chart(title, svg, _told(title, entries, first["unit"]), _note(entries.values()))
