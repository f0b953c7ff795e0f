"""Over which inputs the answer holds: what sampled inputs leave of it, in words, rows and charts."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.measures.exploring import DIRECTION_MAP, TISSUE_MAP
from pipeline.output.graphs import COLOURS, Mark, Series, stacks
from pipeline.output.report.cells import Entry, shown_percent
from pipeline.output.report.charts import MOST_ROWS, Chart, words_of
from pipeline.output.report.run import ReportedRun
from pipeline.output.spans import CellMap, Span, cell_maps, over_decades
from pipeline.output.tables import number_in

SHARES = {  # in the order in which they are drawn
    "a_lower_percent": "lower", "undecided_percent": "undecided", "a_higher_percent": "higher",
}  # fmt: skip
HUES = (COLOURS[0], "#a3a9ae", COLOURS[1])  # of the three; what is undecided steps back
MOST_SENTENCES, MOST_LISTED = 12, 40
PAIR = ("a", "b", "stage", "load", "quantity", "location")
MODULUS = "modulus of the gap tissue, MPa"
_CHANGE = re.compile(r"(\S+) -> ")


@dataclass(frozen=True)
class RobustnessSection:
    """What of the primary outcome holds over the inputs, in sentences and charts.

    Rows are all of the table, those of the primary outcome first, cut where they are too many; the
    counts say how many sentences and rows are left out.
    """

    sentences: list[str]
    more_sentences: int
    rows: list[Entry]
    more_rows: int
    charts: list[Chart]


def robustness_of(run: ReportedRun) -> RobustnessSection | None:
    """Read what a run has of it; None if it has nothing."""
    if not run.robustness:
        return None
    own = run.answering(run.robustness)
    places = {entry.number for entry in own}
    rows = [*own, *(entry for entry in run.robustness if entry.number not in places)]
    return RobustnessSection(
        [_sentence(entry) for entry in own[:MOST_SENTENCES]],
        max(0, len(own) - MOST_SENTENCES),
        rows[:MOST_LISTED],
        max(0, len(rows) - MOST_LISTED),
        list(_charts(run, own)),
    )


def over_inputs(run: ReportedRun, most: int) -> list[str]:
    """Over which share of the sampled inputs the order of each pair holds, in one sentence."""
    own = run.answering(run.robustness)
    if not own:
        return ["This is at the inputs as stated; over which others it holds was not computed."]
    said = "; ".join(
        f"{one['a']} is lower than {one['b']} in {lower}, higher in {higher}, undecided in {undecided}"
        for one in own[:most]
        for lower, undecided, higher in [tuple(_shares(one))]
    )
    more = f"; {len(own) - most} more pairs stand under Inputs" if len(own) > most else ""
    return [
        f"Over {own[0]['samples']} combinations of the stated ranges of inputs, {said}{more}. "
        "A share of combinations is not the chance of anything."
    ]


def change_in_words(flip: str) -> str:
    """A change of inputs as a sentence has it: ``a 1 -> 2; b 3 -> 4``, a from 1 to 2, b from 3 to 4."""
    return _CHANGE.sub(r"from \1 to ", flip).replace("; ", ", ")


def _sentence(entry: Entry) -> str:
    lower, undecided, higher = _shares(entry, "sampling_error_percent")
    a, b, what = entry["a"], entry["b"], f"{words_of(entry['quantity'])} ({entry['location']})"
    said = [
        f"Over {entry['samples']} combinations of the stated inputs, {what} of {a} is lower "
        f"than that of {b} in {lower}, higher in {higher}, undecided in {undecided}."
    ]
    if number_in(entry["uncovered"]):
        said.append(f"Combinations that the reduced model does not cover: {entry['uncovered']}.")
    if entry["turned_by"]:
        share = f", a share of {entry.cell('turned_by_share').text}" if entry["turned_by_share"] else ""
        said.append(f"Of all inputs, {entry['turned_by']} explains most of the difference{share}.")
    if entry["flip"]:
        said.append(f"Nearest change that turns the order: {change_in_words(entry['flip'])}.")
        said.append(_confirmed(entry["flip_confirmed"]))
    elif entry["flip_confirmed"]:  # the search was ended
        said.append(f"What turns the order was {entry['flip_confirmed'].rstrip('.')}.")
    elif not all(number_in(entry[column]) for column in ("a_lower_percent", "a_higher_percent")):
        said.append("No combination turns the order.")
    else:
        said.append("No change that turns the order was found.")
    return " ".join(filter(None, said))


def _confirmed(text: str) -> str:
    """What the full model says of a change, as a sentence."""
    return f"{text[0].upper()}{text[1:].rstrip('.')}." if text else ""


def _shares(entry: Entry, error: str = "") -> Iterator[str]:
    """The three shares as text; the largest with its error, if a column of that is given."""
    largest = max(SHARES, key=lambda column: number_in(entry[column]) or 0.0)
    for column in SHARES:
        half = entry[error] if error and column == largest else ""
        bound = f" ± {shown_percent(half)}" if half else ""
        yield f"{entry.cell(column).percent}{bound} %"


def _against(entry: Entry) -> str:
    return f"{entry['a']} against {entry['b']}"


def _charts(run: ReportedRun, own: Sequence[Entry]) -> Iterator[Chart]:
    drawn = own[:MOST_ROWS]
    if not drawn:
        return
    what = f"{words_of(drawn[0]['quantity'])}, {drawn[0]['location']}"
    title = f"How often the first of a pair is lower or higher: {what}"
    series = [
        Series(f"first {word}" if word != "undecided" else word, [_mark(one, column) for one in drawn])
        for column, word in SHARES.items()
    ]
    names = [f"{entry['a']}\nagainst {entry['b']}" for entry in drawn]
    svg = stacks(names, series, "share of the combinations of inputs, %", HUES)
    yield Chart(title, svg, f"{title}: {'; '.join(map(_told, drawn))}.", "Nothing is ranked.")
    first = [run_map for run_map in run.robustness_maps if _pair(run_map) == _pair(drawn[0])]
    yield from _over_tissue(drawn[0], [entry for entry in first if entry["map"] == TISSUE_MAP])
    yield from _over_directions(drawn[0], [entry for entry in first if entry["map"] == DIRECTION_MAP])


def _mark(entry: Entry, column: str) -> Mark | None:
    value = number_in(entry[column])
    return None if value is None else Mark(value)


def _pair(entry: Entry) -> tuple[str, ...]:
    return tuple(entry[name] for name in PAIR)


def _told(entry: Entry) -> str:
    return f"{_against(entry)} {_threefold(entry)}"


def _over_tissue(pair: Entry, rows: Sequence[Entry]) -> Iterator[Chart]:
    """The three shares over the modulus of the tissue."""
    held = {at: entry for entry in rows if (at := number_in(entry["x"])) is not None and at > 0}
    places = sorted(held)
    if len(places) < 2:
        return
    spans = []
    for column, word in SHARES.items():
        known = [(at, share) for at in places if (share := number_in(held[at][column])) is not None]
        across, up = [at for at, _ in known], [share for _, share in known]
        spans.append(Span(word, across, up, [None] * len(known)))
    title = f"By the stiffness of the tissue: {_against(pair)}"
    said = "; ".join(
        f"at {held[at].cell('x').text} MPa {_threefold(held[at])}"
        for at in (places[0], places[len(places) // 2], places[-1])
    )
    svg = over_decades(spans, MODULUS, "share of the combinations, %", hues=HUES)
    yield Chart(title, svg, f"{title}: {said}.", "All other inputs as they were drawn.")


def _over_directions(pair: Entry, rows: Sequence[Entry]) -> Iterator[Chart]:
    """A map of each of the three shares over the tilt of the load."""
    held = {
        (medial, forwards): entry
        for entry in rows
        if (medial := number_in(entry["x"])) is not None
        and (forwards := number_in(entry["y"])) is not None
    }
    if not held:
        return
    maps = [
        CellMap(word, {at: number_in(entry[column]) or 0.0 for at, entry in held.items()})
        for column, word in SHARES.items()
    ]
    title = f"By the direction of the load: {_against(pair)}"
    svg = cell_maps(maps, "tilt medially, deg", "tilt anteriorly, deg", "share of the combinations, %")
    ends = [pick(held.values(), key=_lower) for pick in (min, max)]
    said = "; ".join(f"{_tilt(entry)} {_threefold(entry)}" for entry in ends)
    words = f"{title}: where the first is lower least often, and most often, {said}."
    note = "Each cell holds the combinations whose load is tilted so far; empty ones had none."
    yield Chart(title, svg, words, note)


def _lower(entry: Entry) -> float:
    return number_in(entry["a_lower_percent"]) or 0.0


def _tilt(entry: Entry) -> str:
    return f"at {entry.cell('x').text} deg medially and {entry.cell('y').text} deg anteriorly"


def _threefold(entry: Entry) -> str:
    """The three shares of a row with their words."""
    shares = zip(SHARES.values(), _shares(entry), strict=True)
    return ", ".join(f"{word} {share}" for word, share in shares)
